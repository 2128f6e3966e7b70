"""Next steps on the kiln: fire it, weigh trays, raise and lower the air, and heat off when it is dry."""

from __future__ import annotations

from datetime import timedelta

from app.judgement.facts.shapes import Action, Reading, Weighing
from app.judgement.forecasts.forecast import KilnForecast
from app.judgement.grain.moisture_samples import MoistureSample
from app.judgement.history.history import hours_between
from app.judgement.history.kiln_runs import AS_LOADED, HeatBreak, run_at
from app.judgement.malt.dry_enough import Dryness, dryness
from app.judgement.steps.air import (
    DRYING,
    IN_TIME,
    QUARTER,
    RECENT,
    Phase,
    change_of_air,
    phase_now,
    phases_of,
)
from app.judgement.steps.step import (
    InPlan,
    NextStep,
    look,
    step,
    while_it_lasts,
)

LOOK_EVERY_H, ROAST_EVERY_H = 2.0, 0.25
TRAY_EVERY_H = (1.0, 3.0)
FIRED_WITHIN_H = 2.0
"""Looks at the kiln, trays weighed, and how long green malt waits for its heat: common practice."""

FIRST_TRAY_WITHIN = timedelta(hours=1, minutes=30)
TEST_BEFORE_H = 1.0
"""Weighed for the first time any later, a tray no longer tells its loading; without trays it is tested in time."""

PULL_AT = frozenset({"there", "darker"})
"""What is said of a roast's colour when it is done: by then it is late, for it darkens while it is hot."""
PULL = "It darkens on while it is hot: heat off, then thin and moving."

STOP_AT = "moisture.gross_to_stop_at_kg"


def kiln_steps(plan: InPlan) -> list[NextStep]:
    if not _is_fired(plan):
        return [_fire(plan), *_first_tray(plan)]
    if plan.programme.is_roast:
        return _roast_steps(plan)
    run = run_at(plan.batch.history, plan.batch.now)
    gap = run.gap_at(plan.batch.now) if run is not None else None
    if gap is not None:
        return [_heat_back(plan, gap), _temperature(plan, LOOK_EVERY_H)]
    if plan.batch.forecast.kiln is None:
        return while_it_lasts(_by_hours(plan), [_temperature(plan, LOOK_EVERY_H)], plan.batch.now)
    kiln, phases = plan.batch.forecast.kiln, phases_of(plan)
    current = phase_now(plan, kiln, phases)
    off = _heat_off(plan, kiln, phases, current)
    change = change_of_air(plan, kiln, phases, current)
    changes = [change] if change is not None else []
    is_told = off is not None and (off.kind == "tray" or off.basis == "facts")
    weigh = None if is_told else _tray(plan, kiln, [*changes, off])
    looks = [each for each in (weigh, _temperature(plan, LOOK_EVERY_H)) if each is not None]
    return [*changes, *while_it_lasts(off, looks, plan.batch.now)]


def _roast_steps(plan: InPlan) -> list[NextStep]:
    """Pulled by its colour; until somebody says that it is there, by the plan's hours."""
    seen = plan.last("roast_colour", since=plan.stage.starts_at)
    if isinstance(seen, Action) and seen.what in PULL_AT:
        return [step("heat_off", "Pull the roast: heat off", seen.at, None, seen.at, PULL, "facts")]
    last = plan.last_at("roast_colour", since=plan.stage.starts_at) or plan.stage.starts_at
    due = last + timedelta(hours=ROAST_EVERY_H)
    colour = look("roast_colour", "Cut kernels: how dark?", due, ROAST_EVERY_H / 2, "Colour ends a roast.", 0.1)
    return while_it_lasts(_by_hours(plan), [_temperature(plan, ROAST_EVERY_H), colour], plan.batch.now)


def stew_steps(plan: InPlan) -> list[NextStep]:
    return while_it_lasts(_by_hours(plan), [_temperature(plan, 1.0)], plan.batch.now)


def _is_fired(plan: InPlan) -> bool:
    """Anything tells of heat: or it was never said that it was only loaded."""
    start = plan.batch.history.by_id(plan.stage.fact_id)
    if start is None or start.kind != "loaded":
        return True
    since = plan.stage.starts_at
    if plan.last("heat_on", "set_point", "air_off_temperature", since=since) is not None:
        return True
    hot = plan.last("air_on_temperature", since=since)
    return isinstance(hot, Reading) and (hot.value or 0.0) >= 30.0


def _fire(plan: InPlan) -> NextStep:
    start = plan.stage.starts_at
    why = "Green malt heaped and without air heats by itself and sours."
    return step("heat_on", "Heat on", start + QUARTER, start, start + timedelta(hours=FIRED_WITHIN_H), why, "facts")


def _heat_back(plan: InPlan, gap: HeatBreak) -> NextStep:
    within = gap.starts_at + timedelta(hours=FIRED_WITHIN_H)
    due = gap.ends_at or min(plan.batch.now, within)
    late = max(due, within)
    why = f"The heat stands still since {plan.words.clock(gap.starts_at)}: until it is back, nothing dries."
    order = "batch" if gap.ends_at is None else ""
    return step("heat_on", "Fan, then heat on again, and say so", due, gap.starts_at, late, why, "facts", order=order)


def _first_tray(plan: InPlan, within: timedelta = FIRST_TRAY_WITHIN) -> list[NextStep]:
    """While its first weight still tells how heavy it was when it was loaded."""
    is_weighed = plan.last("tray", since=plan.stage.starts_at - RECENT) is not None
    if is_weighed or plan.batch.now > plan.stage.starts_at + within:
        return []
    why = "Its first weight tells what to stop at."
    return [look("tray", "Weigh each tray as it goes in", plan.stage.starts_at, 1.0, why, 0.0, "facts")]


def _by_hours(plan: InPlan) -> NextStep | None:
    if plan.ending is None:
        return None
    kind, what, due, low, high, planned = plan.ending
    why = f"Planned after {planned.hours_low:g}–{planned.hours_high:g} h {plan.stage.word}."
    if kind == "heat_off" and not plan.programme.is_roast:
        why += " Only a weighing or a test tells that it is dry."
    return step(kind, what, due, low, high, why)


def _heat_off(plan: InPlan, kiln: KilnForecast, phases: list[Phase], current: int) -> NextStep | None:
    """When the wettest tray is dry, with the same interval as on the card.

    None where nothing tells how far it has dried: the thing to do is to weigh it.
    """
    plain = _by_hours(plan)
    kind, what = ("heat_off", "Heat off, cool") if plain is None else (plain.kind, plain.what)
    dry = kiln.dry
    if plan.batch.moisture is not None and not plan.batch.moisture.is_told:
        return None
    run = run_at(plan.batch.history, plan.batch.now)
    told = dryness(plan.batch.history, run.stage if run else plan.stage, plan.programme)
    if told.sample is not None and told.state != "open":
        return _is_dry(plan, kind, what, told, told.sample)
    if dry.central is not None and dry.is_past(plan.batch.now):
        why = "Foreseen to be dry enough by now: only a weighing or a test tells."
        weigh = f"Weigh {_tray_name(plan, kiln)}, or test its moisture"
        return step("tray", weigh, dry.central, None, dry.central + IN_TIME, why, "forecast", DRYING)
    if dry.central is not None:
        goal = plan.words.percent(kiln.target_wb, decimals=1)
        wettest = f" in {kiln.wettest}, the wettest" if kiln.wettest else ""
        air = ", if the air is raised as planned" if phases[current + 1 :] else ""
        why = f"Dry enough about then: {goal}{wettest}{air}. {_stop_words(plan, kiln)}".strip()
        return step(kind, what, dry.central, dry.low, dry.high or dry.central + IN_TIME, why, "forecast", DRYING)
    if plain is None:
        return None
    why = f"{plain.why} {dry.reason}".strip()
    return step(kind, what, plain.due_at, plain.earliest_at, plain.latest_at, why)


def _is_dry(plan: InPlan, kind: str, what: str, told: Dryness, sample: MoistureSample) -> NextStep:
    """Heat off; first a crushed kernel or a test, once, where its loading is hardly known: no weighing tells that."""
    figure = plan.words.percent(sample.moisture_wb, sample.half_width)
    if told.state == "dry":
        why = f"Dry enough: {figure} in {sample.place or 'the wettest sample'}."
        return step(kind, what, sample.at, None, sample.at + IN_TIME, why, "facts", order="batch")
    why = f"Perhaps dry enough: {figure}, for its loading is hardly known. A dry kernel crushes brittle: then heat off."
    return step("moisture_test", "Crush a kernel, or test its moisture", sample.at, None, sample.at + IN_TIME, why,
                "facts")  # fmt: skip


def _stop_words(plan: InPlan, kiln: KilnForecast) -> str:
    """What the scale is to show; of several trays, with the wettest."""
    if not kiln.stop_at:
        return ""
    last = max(kiln.stop_at, key=lambda each: (each.tray == kiln.wettest, each.still_to_go_kg, each.tray))
    gross = plan.words.mass(last.gross_kg, last.half_width_kg)
    return f"Stop at gross {gross} on this scale with {last.tray or 'the tray'}."


def _tray(plan: InPlan, kiln: KilnForecast, others: list[NextStep | None]) -> NextStep | None:
    """Every few hours, each hour as it nears its end, and where the air is to be changed."""
    weighed = plan.last_at("tray", since=plan.stage.starts_at - RECENT)
    if weighed is None:
        start = plan.batch.history.by_id(plan.stage.fact_id)
        is_just_in = start is not None and start.kind == "heat_on"
        return next(iter(_first_tray(plan, AS_LOADED) if is_just_in else []), None) or _test(plan)
    least, most = TRAY_EVERY_H
    ahead = [other.due_at for other in others if other is not None and other.due_at > weighed]
    hours = min([most, *(hours_between(weighed, at) / 2.0 for at in ahead)])
    due = weighed + timedelta(hours=max(hours, least))
    stop = _stop_words(plan, kiln)
    late = 0.5 if hours < most else 2.0
    made = look("tray", f"Weigh {_tray_name(plan, kiln)}", due, late, stop or "Its weight tells the moisture.", 0.5)
    return made if not stop else step(
        made.kind, made.what, made.due_at, made.earliest_at, made.latest_at, made.why, "forecast", STOP_AT
    )  # fmt: skip


def _test(plan: InPlan) -> NextStep | None:
    """Where nothing is weighed, a sample tells whether it is dry: in time for what the plan has as its end."""
    ends, last = _by_hours(plan), plan.last_at("moisture_test", since=plan.stage.starts_at)
    if ends is None:
        return None
    due = ends.earliest_at - timedelta(hours=TEST_BEFORE_H)
    due = due if last is None else max(due, last + timedelta(hours=TRAY_EVERY_H[1]))
    return look("moisture_test", "Crush a kernel, or test its moisture", due, 2.0, "No tray tells how dry it is.", 0.5)


def _tray_name(plan: InPlan, kiln: KilnForecast) -> str:
    if kiln.wettest:
        return kiln.wettest
    names = {
        weighing.vessel
        for weighing in plan.batch.history.of_shape(Weighing, "tray")
        if weighing.at >= plan.stage.starts_at - RECENT
    }
    return names.pop() or "a tray" if len(names) == 1 else "a tray"


def _temperature(plan: InPlan, every_h: float) -> NextStep:
    last = plan.last_at("grain_temperature", since=plan.stage.starts_at) or plan.stage.starts_at
    due = last + timedelta(hours=every_h)
    return look("grain_temperature", "Take the grain’s temperature", due, every_h / 2, "Routine check.", every_h / 2)
