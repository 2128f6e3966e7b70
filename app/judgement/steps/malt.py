"""Next steps once the heat is off: cool, strip, dress the same day, weigh, bag, finish."""

from __future__ import annotations

from datetime import datetime, timedelta

from app.judgement.facts.shapes import Reading
from app.judgement.malt.dryness import TooWet, last_known, too_wet
from app.judgement.steps.step import InPlan, NextStep, step

DRY_ON_H = 2.0
"""As long as green malt may wait for its heat: from memory."""

SAME_DAY_H, NEXT_DAY_H = 12.0, 24.0
"""Culms draw water: they come off the same day, and the malt is weighed and bagged by the next: common practice."""


def malt_steps(plan: InPlan) -> list[NextStep]:
    """What is left to do, in the order in which it is done."""
    wet = too_wet(plan.batch.history, plan.batch.now)
    if wet is not None:
        return [_dry_on(plan, wet)]
    planned, since = plan.planned, plan.stage.starts_at
    low, due, high = (
        (planned.hours_low, planned.end_h - planned.start_h, planned.hours_high) if planned else (1.0, 2.0, 3.0)
    )
    done = [fact.kind for fact in plan.batch.history.facts if fact.at >= since]
    start = plan.batch.history.by_id(plan.stage.fact_id)
    is_stripped = "stripped" in done or "culms" in done or "outturn" in done
    cool_by = plan.after_start(due)
    steps: list[NextStep | None] = [
        None if is_stripped else _cool(plan, cool_by, low, high),
        None
        if is_stripped or (start is not None and start.kind == "stripped")
        else step(
            "stripped", "Strip the kiln", cool_by, plan.after_start(low), plan.after_start(high), "Cool, it comes off."
        ),
        *_dressing(plan, cool_by, low, done),
    ]
    return [each for each in steps if each is not None]


def _dry_on(plan: InPlan, wet: TooWet) -> NextStep:
    """In place of all that is done with malt."""
    start, moisture = plan.stage.starts_at, wet.estimate
    figure = plan.words.percent(moisture.moisture_wb, moisture.half_width)
    why = (
        f"Too wet to keep: {figure}, above {plan.words.percent(wet.bound)}. Or spread it thin and use it green, today. "
        "If a crushed kernel is brittle, test its moisture and write that down."
    )
    late = start + timedelta(hours=DRY_ON_H)
    return step("heat_on", "Dry on: heat on again", start, start, late, why, "facts", order="food")


def _cool(plan: InPlan, due: datetime, low: float, high: float) -> NextStep | None:
    """A look whether it is cool enough to be put into anything."""
    limit = plan.limit("grain_temperature.bagging")
    warmest = limit.target_high if limit is not None else None
    last = plan.last("grain_temperature", since=plan.stage.starts_at)
    if warmest is None:
        return None
    if isinstance(last, Reading) and last.value is not None and last.value <= warmest:
        return None
    why = f"Heaped warm it goes on darkening: below {plan.words.temperature(warmest)} before it goes into anything."
    early, late = plan.after_start(low), plan.after_start(high)
    return step("grain_temperature", "Cool it, thin and moving", due, early, late, why, does="cool")


def _dressing(plan: InPlan, cool_by: datetime, low: float, done: list[str]) -> list[NextStep]:
    """By the end of the day or the next: nobody gets up at night for culms."""
    early = plan.after_start(low)
    same_day, next_day = plan.after_start(SAME_DAY_H), plan.after_start(NEXT_DAY_H)
    has_culms = not plan.programme.is_roast
    steps: list[NextStep] = []
    if has_culms and "culms" not in done and "outturn" not in done:
        why = "Dressed the same day, while they are brittle and before they draw water."
        steps.append(step("culms", "Rub off the culms", same_day, early, same_day, why))
    if "outturn" not in done:
        why = "It closes the account of the dry matter."
        steps.append(step("outturn", "Weigh the malt", next_day, early, next_day, why))
    if has_culms and not _is_known(plan):
        why = "Nothing tells how dry it is, and too wet it sours and moulds: only brittle malt is dry."
        steps.append(step("moisture_test", "Crush a kernel, or test its moisture", cool_by, early, same_day, why))
    if not _is_packed(plan):
        why = "Cool and dry, and closed: malt draws water from the air."
        steps.append(step("pack", "Bag it", next_day, early, next_day, why))
    why = "Weighed and bagged, the batch is done."
    steps.append(step("finished", "Finish the batch", next_day, early, next_day, why))
    return steps


def _is_known(plan: InPlan) -> bool:
    """Anything was determined of the malt since it was heated."""
    return last_known(plan.batch.history, plan.batch.now, plan.batch.now) is not None


def _is_packed(plan: InPlan) -> bool:
    return any(part.kind == "pack" for part in plan.batch.history.departures)
