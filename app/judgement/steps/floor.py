"""Next steps on the floor: turn, sprinkle, count, rub out, and stop when the acrospire has come to its target."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from app.judgement.facts.shapes import Reading, Remark
from app.judgement.forecasts.forecast import is_sure_of
from app.judgement.grain.counts import GrowthCount, growth_counts
from app.judgement.history.history import hours_between
from app.judgement.programmes.programme import Limit
from app.judgement.steps.step import (
    InPlan,
    NextStep,
    earliest_of,
    latest_of,
    look,
    step,
    while_it_lasts,
    within,
)
from app.judgement.watch.bed_ahead import beds_ahead, is_cold_and_thin, next_to_turn
from app.science.moisture import water_to_reach_kg

LOOK_EVERY_H = 8.0
FIRST_COUNT_H = 36.0
COUNT_EVERY_H = (6.0, 24.0)
"""The floor is looked at every 8 h; acrospires are counted once a day, and sooner as they near the target, from the
second morning on: common practice."""

AGAIN_H = 1.0
"""A place that stood too warm is measured again so soon after it, or after it was turned: common practice."""

RUB_OUT_EVERY_H = 12.0
TURN_EVERY_H = (8.0, 10.0)
"""Where the programme doesn't say it, the bed is turned as often, and at the latest then: common practice."""

TURN_SOONER_H = {"strands": 6.0, "felted": 0.0}
"""Rootlets that knit are broken up by then at the latest, hours after the last turn; from memory."""

TOO_FAST = timedelta(minutes=30)
WITHERS_H = 24.0
"""In its last day the bed is left to wither, and no longer sprinkled: common practice."""

DRY_AHEAD_H = 24.0
GROWN = "growth.thermal_time_c_d"


def floor_steps(plan: InPlan) -> list[NextStep]:
    stop = _stop(plan)
    until = stop.due_at if stop is not None else None
    steps = [_turn(plan), _sprinkle(plan, until), _count(plan, stop), _rub_out(plan, stop), _temperature(plan)]
    return while_it_lasts(stop, (each for each in steps if each is not None), plan.batch.now)


def _stop(plan: InPlan) -> NextStep | None:
    """Load the kiln, or stew: when the acrospire has come to its target; without one, by the plan's hours."""
    if plan.ending is None:
        return None
    kind, what, due, early, late, planned = plan.ending
    span = f"{planned.hours_low / 24:g} to {planned.hours_high / 24:g} days"
    grown, now = plan.batch.forecast.grown, plan.batch.forecast.acrospire
    if grown is None or now is None:
        return step(kind, what, due, early, late, f"Planned after {span} on the floor.")
    why = _grown_words(plan)
    if grown.central is None:
        why = f"{why} {grown.reason} By the plan after {span}."
        return step(kind, what, due, early, late, why)
    least, most = (_comes_to(plan, edge) for edge in ("target_low", "target_high"))
    late = latest_of(grown.high, most) or grown.central + timedelta(hours=24)
    return step(kind, what, grown.central, earliest_of(grown.low, least), late, why, "forecast", GROWN)


def _comes_to(plan: InPlan, edge: str) -> datetime | None:
    """When the mean acrospire comes to the edge of what is wanted."""
    length = getattr(plan.limit("acrospire"), edge, None)
    return None if length is None else plan.comes_to(length).central


def _grown_words(plan: InPlan) -> str:
    limit, value = plan.limit("acrospire"), plan.batch.forecast.acrospire
    grown = is_sure_of(value) if value is not None else None
    assert limit is not None
    wanted = f"{limit.target_low:g}–{limit.target_high:g}"
    counted = plan.batch.fitted.growth.counts if plan.batch.fitted.growth else 0
    by = f"by {counted} count{'s' if counted > 1 else ''}" if counted else "no count yet: by its warmth alone"
    if grown is None:
        return f"Target: mean acrospire {wanted}."
    return f"Mean acrospire about {grown[0]:.2f} by now ({by}); target {wanted}. The rub-out decides."


def _turn(plan: InPlan) -> NextStep | None:
    """By the plan's hours; sooner where the bed comes to its limit, or knits; none where it lies cold and thin."""
    limit, (usual_h, late_h) = plan.limit("turning_h"), TURN_EVERY_H
    bed = next_to_turn(plan.batch.history, plan.stage, plan.batch.now)
    if is_cold_and_thin(plan.batch.history, plan.batch.now, bed.key):
        return None
    what, hour = f"Turn {bed.name or 'the bed'}", timedelta(hours=1)
    latest = bed.since + ((limit.high_caution if limit is not None else None) or late_h) * hour
    due = min(bed.since + ((limit.target_high if limit is not None else None) or usual_h) * hour, latest)
    plain = step("turned", what, due, due - 2 * hour, latest, "It vents, cools and keeps it loose.")
    knit = _knit(plan, bed.since, plain)
    warm = _too_warm(plan, plain)
    sooner = [each for each in (knit, warm) if each is not None and each.due_at < due]
    return min(sooner, key=lambda each: each.due_at, default=plain)


def _knit(plan: InPlan, since: datetime, plain: NextStep) -> NextStep | None:
    """By the last look since then that said anything of rootlets: one that is silent of them takes nothing back."""
    looks = plan.batch.history.of_shape(Remark, "inspection")
    seen = next((each for each in reversed(looks) if each.at >= since and "matting" in each.findings), None)
    matting = seen.findings["matting"] if seen is not None else None
    if seen is None or matting not in TURN_SOONER_H:
        return None
    due = max(since + timedelta(hours=TURN_SOONER_H[matting]), seen.at)
    late = min(due + timedelta(hours=2), max(plain.latest_at, due))
    why = "The rootlets are felted: break them up." if matting == "felted" else "The rootlets begin to knit."
    return step("turned", "Turn the bed", due, seen.at, late, why, "facts")


def _too_warm(plan: InPlan, plain: NextStep) -> NextStep | None:
    """Before the first of its places comes to the limit, as each has warmed since the last turn."""
    limit = plan.limit("grain_temperature.germination")
    high_c = limit.high_caution if limit is not None else None
    if high_c is None:
        return None
    steps = []
    for bed in beds_ahead(plan.batch):
        comes = bed.reaches(high_c)
        if comes is None and bed.line.level_c >= high_c:
            comes = bed.last_at
        if comes is not None:
            steps.append((comes, bed))
    if not steps:
        return None
    comes, bed = min(steps, key=lambda each: each[0])
    due = max(comes - TOO_FAST, bed.last_at)
    soonest = within(bed.soonest(high_c) or due, bed.last_at, due)
    where = f" ({bed.place})" if bed.place else ""
    rise = plan.words.difference(bed.line.per_h)
    why = f"It warms by {rise} an hour{where}: at this pace it comes to {plan.words.temperature(high_c)} soon after."
    if bed.line.level_c >= high_c:
        why = f"It stands at {plan.words.temperature(bed.line.level_c)}{where}, too warm."
    return step("turned", "Turn the bed", due, soonest, max(comes, due), why, "forecast", "left_alone.hours_to_limit")


def _sprinkle(plan: InPlan, until: datetime | None) -> NextStep | None:
    """When the bed falls below what is wanted of it, by what was weighed or by its drift; not in its last day.

    Where nothing was weighed or tested since it was first under water, or on too coarse a scale, nobody knows that it
    is dry.
    """
    limit, story = plan.limit("cast_moisture"), plan.batch.fitted.story
    if limit is None or limit.target_low is None or story is None or plan.batch.moisture is None:
        return None
    sample, soaked = plan.batch.moisture.sample, plan.batch.stages_named("immersion")
    if soaked and (sample is None or sample.at <= soaked[0].starts_at):
        return None
    if not limit.is_told_by(plan.batch.moisture.moisture_wb, plan.batch.moisture.half_width):
        return None
    now_h = plan.batch.history.hour(plan.batch.now)
    hours = now_h + np.linspace(0.0, DRY_AHEAD_H, 25)
    central, low, _ = story.band(hours)
    below = np.flatnonzero(central < limit.target_low)
    if not len(below):
        return None
    due = plan.batch.now + timedelta(hours=float(hours[below[0]] - now_h))
    if until is not None and hours_between(due, until) < WITHERS_H:
        return None
    sooner = hours[np.flatnonzero(low < limit.target_low)[0]] - now_h
    is_now = below[0] == 0
    if is_now:
        due = max(sample.at if sample is not None else plan.stage.starts_at, plan.stage.starts_at)
    early = due if is_now else plan.batch.now + timedelta(hours=float(sooner))
    return step(
        "sprinkled", "Sprinkle, and turn it in", due, early, due + timedelta(hours=6), _dry_words(plan),
        "facts" if is_now and not plan.batch.moisture.is_estimate else "forecast", "moisture.water_to_reach_kg",
    )  # fmt: skip


def _dry_words(plan: InPlan) -> str:
    limit, moisture, dry_kg = plan.limit("cast_moisture"), plan.batch.moisture, plan.batch.fitted.dry_kg
    assert limit is not None
    assert limit.target_low is not None
    assert moisture is not None
    about = "about " if moisture.is_estimate else ""
    figure = plan.words.percent(moisture.moisture_wb, moisture.half_width)
    why = f"Moisture {about}{figure}; no less than {plan.words.percent(limit.target_low, decimals=0)} while it grows."
    target = plan.batch.fitted.target("cast_moisture")
    if dry_kg is None or target is None or not 0.0 <= moisture.moisture_wb < target:
        return why
    water_kg = float(water_to_reach_kg(dry_kg / (1.0 - moisture.moisture_wb), moisture.moisture_wb, target))
    goal = plan.words.percent(target, decimals=0)
    return f"{why} {plan.words.water(water_kg)} of water lifts it to {goal}, in two goes."


def _count(plan: InPlan, stop: NextStep | None) -> NextStep:
    """Once a day, and sooner as the forecast nears the target: half of what is left, and no less than six hours."""
    counted = plan.last_at("growth_count", since=plan.stage.starts_at)
    least, most = COUNT_EVERY_H
    base = counted or plan.after_start(FIRST_COUNT_H - most)
    hours = most
    if stop is not None and stop.basis == "forecast" and counted is not None:
        hours = min(max(hours_between(counted, stop.earliest_at) / 2.0, least), most)
    is_near = hours < most
    due = base + timedelta(hours=hours)
    why = "It nears its target: it tells when to stop." if is_near else "It tells when to stop."
    late, early = (2.0, 1.0) if is_near else (12.0, 4.0)
    return look("growth_count", "Count the growth", due, late, why, early, "forecast" if is_near else "plan")


def _rub_out(plan: InPlan, stop: NextStep | None) -> NextStep | None:
    """From when the acrospire may have come to what is wanted; then again, until it is to be stopped at once."""
    limit, counts = plan.limit("acrospire"), growth_counts(plan.batch.history)
    if stop is not None and (stop.is_overdue(plan.batch.now) or _is_past(limit, counts)):
        return None
    if (
        plan.programme.purpose == "chit"
        or limit is None
        or limit.target_low is None
        or plan.batch.fitted.growth is None
    ):
        return None
    comes = _comes_to(plan, "target_low")
    if comes is None or not counts:
        return None
    rubbed = plan.last_at("rub_out", since=plan.stage.starts_at)
    due = comes if rubbed is None else max(comes, rubbed + timedelta(hours=RUB_OUT_EVERY_H))
    why = "The acrospire comes to its range: the endosperm decides."
    return look("rub_out", "Rub kernels out", due, 6.0, why, 4.0, "forecast")


def _is_past(limit: Limit | None, counts: Sequence[GrowthCount]) -> bool:
    """Counted past what is wanted: the answer to such a count is to stop it now."""
    most = limit.target_high if limit is not None else None
    return bool(counts) and most is not None and counts[-1].mean > most


def _temperature(plan: InPlan) -> NextStep:
    last = plan.last_at("grain_temperature", since=plan.stage.starts_at) or plan.stage.starts_at
    warm = _too_warm_last(plan)
    what, hour = "Take the grain’s temperature", timedelta(hours=1)
    if warm is not None and warm.at + AGAIN_H * hour < last + LOOK_EVERY_H * hour:
        turned = plan.last_at("turned", since=warm.at)
        where, was = f" ({warm.place})" if warm.place else "", plan.words.temperature(warm.value or 0.0)
        due = (turned or warm.at) + AGAIN_H * hour
        return look("grain_temperature", f"{what}{where}", due, AGAIN_H, f"It stood at {was}, too warm.", AGAIN_H)
    return look("grain_temperature", what, last + LOOK_EVERY_H * hour, LOOK_EVERY_H / 2, "Routine check.")


def _too_warm_last(plan: InPlan) -> Reading | None:
    """The hottest of the places whose last reading was too warm."""
    limit = plan.limit("grain_temperature.germination")
    read = [each for each in plan.batch.history.readings("grain_temperature") if each.at >= plan.stage.starts_at]
    too_warm = []
    for each in {reading.place: reading for reading in read}.values():
        verdict = limit.judge(each.value) if limit is not None and each.value is not None else None
        if verdict is not None and verdict.position == "high" and verdict.severity in ("caution", "act"):
            too_warm.append(each)
    return max(too_warm, key=lambda each: each.value or 0.0, default=None)
