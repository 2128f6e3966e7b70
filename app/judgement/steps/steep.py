"""Next steps of a steep: drain, steep on, cast; and the looks that decide between them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement.facts.shapes import Reading, Remark, StageChange, Tally
from app.judgement.forecasts.forecast import When
from app.judgement.history.history import hours_between
from app.judgement.steps.step import (
    BEGINS,
    Basis,
    InPlan,
    NextStep,
    earliest_of,
    latest_of,
    look,
    step,
    while_it_lasts,
    within,
)

LOOK_EVERY_H = 6.0
BAG_EVERY_H = {"immersion": 6.0, "air_rest": 12.0}
JUST_BEFORE_H, JUST_BEFORE = 2.0, timedelta(minutes=30)
CHITS_FROM_H, CHITS_EVERY_H = 16.0, 8.0
"""How long after the last look the next is due, and from when on chits are looked for: common practice."""

STALE_WATER_H = 8.0
"""Still water is changed after a working day at the latest: common practice."""

ENOUGH_CHITS = 0.95
UPTAKE = "uptake.weibull_gain"
FOUL = (("steep", ("foaming", "gassy")), ("smell", ("sour", "off", "musty")), ("slime", ("slimy",)))


@dataclass(frozen=True)
class _Span:
    """How long this stretch of the steep may last, and why it ends when it does."""

    due: datetime
    early: datetime
    late: datetime
    why: str
    basis: Basis = "plan"
    method: str | None = None


def steep_steps(plan: InPlan) -> list[NextStep]:
    main = _end_of_immersion(plan) if plan.stage.name == "immersion" else _end_of_rest(plan)
    main = main and _told_moist(plan, main)
    due = main.due_at if main is not None else None
    steps = [_water_change(plan, due), _bag(plan, due), _chits(plan, due), _temperature(plan)]
    return while_it_lasts(main, (each for each in steps if each is not None), plan.batch.now)


def _end_of_immersion(plan: InPlan) -> NextStep | None:
    if plan.planned is None or plan.following is None:
        return None
    span = _by_uptake(plan, _by_hours(plan))
    kind, what = BEGINS[plan.following]
    if kind == "cast" and (short := _falls_short(plan, span.late)):
        kind, what, span = "drained", "Drain", _Span(span.due, span.early, span.late, short, span.basis, span.method)
    return step(kind, what, span.due, span.early, span.late, span.why, span.basis, span.method)


def _by_hours(plan: InPlan) -> _Span:
    """By the plan's hours; sooner in warm water, and once it has chitted."""
    planned = plan.planned
    assert planned is not None
    hours, high = planned.end_h - planned.start_h, planned.hours_high
    chitted, water_c = _last_share(plan), _water_c(plan)
    limit = plan.programme.immersion_limit(water_c, chitted, _is_blown(plan))
    longest = limit.target_high if limit is not None else None
    why = f"Planned after {planned.hours_low:g}–{planned.hours_high:g} h under water."
    if longest is None or longest >= high - 1e-9:
        return _Span(plan.after_start(hours), plan.after_start(planned.hours_low), plan.after_start(high), why)
    due = plan.after_start(min(hours, longest))
    is_sooner = longest < hours
    has_chitted = chitted is not None and chitted >= (plan.programme.setting("immersion_chitted_from") or 1.0)
    reason = "Chitted grain drowns" if has_chitted else "The water is warm"
    why = f"{reason}: no more than {plan.words.span(longest)} under water." if is_sooner else why
    early = min(plan.after_start(planned.hours_low), due)
    return _Span(due, early, plan.after_start(longest), why, "facts" if is_sooner else "plan")


def _by_uptake(plan: InPlan, hours: _Span) -> _Span:
    """Sooner, or where it is cast next later too, by the moisture that this batch's weighings lead to."""
    planned, target = plan.planned, _wanted_wb(plan)
    uptake = plan.batch.fitted.story.uptake if plan.batch.fitted.story else None
    if planned is None or target is None or uptake is None or not uptake.weighings:
        return hours
    when = plan.comes_to(target)
    latest = hours.late
    is_last = plan.following == "germination"
    if when.central is None or (when.central >= hours.due and not is_last):
        return hours
    due = within(when.central, plan.stage.starts_at, latest)
    least, most = (_comes_to(plan, edge) if is_last else None for edge in ("target_low", "target_high"))
    late = within(latest_of(when.high, most, None if is_last else hours.due) or latest, due, latest)
    early = within(earliest_of(when.low, least) or due, plan.stage.starts_at, due)
    figure = plan.words.percent(target, decimals=0)
    if when.central > latest:
        why = f"Long enough under water by then; {figure} would take longer."
    else:
        then = "" if when.is_past(plan.batch.now) else " about then"
        why = f"{figure} is reached{then}, by its own weighings."
    return _Span(due, early, late, why, "forecast", UPTAKE)


def _comes_to(plan: InPlan, edge: str) -> datetime | None:
    """When the moisture comes to the edge of what is wanted at the cast."""
    moisture_wb = getattr(plan.limit("cast_moisture"), edge, None)
    return None if moisture_wb is None else plan.comes_to(moisture_wb).central


def _wanted_wb(plan: InPlan) -> float | None:
    """At the end of this immersion; before the cast, the middle of what is wanted at the cast."""
    if plan.following == "germination":
        return plan.batch.fitted.target("cast_moisture")
    planned = plan.planned
    return dict(plan.programme.planned_curve("moisture_wb")).get(planned.end_h) if planned else None


def _falls_short(plan: InPlan, late: datetime) -> str | None:
    """Why it can't be cast out of this water: too dry by then even so, or hardly any chits."""
    wanted, moisture = plan.limit("cast_moisture"), plan.batch.forecast.moisture
    story, chits, enough = plan.batch.fitted.story, _last_share(plan), plan.limit("cast_chits")
    if wanted is not None and wanted.target_low is not None and story is not None and moisture.is_known:
        by_then = plan.comes_to(wanted.target_low)
        if story.uptake is not None and story.uptake.weighings and (by_then.low is None or by_then.low > late):
            low = plan.words.percent(wanted.target_low, decimals=0)
            return f"{low} won’t be there by then: let it rest, and steep it once more."
    if chits is not None and enough is not None and enough.low_caution is not None and chits < enough.low_caution:
        return f"Only {plan.words.percent(chits, decimals=0)} chitted: let it rest until they come."
    return None


def _end_of_rest(plan: InPlan) -> NextStep | None:
    if plan.ending is None:
        return None
    kind, what, due, early, late, planned = plan.ending
    why = f"Planned after {planned.hours_low:g}–{planned.hours_high:g} h air rest."
    ready = _ready_to_cast(plan)
    if ready is not None:
        since, why = ready
        return step("cast", "Cast", min(due, since), min(early, since), late, why, "facts", UPTAKE)
    wanted, moisture = plan.limit("cast_moisture"), plan.batch.moisture
    highest = wanted.target_high if wanted is not None else None
    uptake = plan.batch.fitted.story.uptake if plan.batch.fitted.story else None
    is_weighed = uptake is not None and uptake.weighings > 0
    is_wet = moisture is not None and highest is not None and moisture.moisture_wb >= highest
    if kind == "steep_on" and is_weighed and is_wet:
        why = "It is wet enough without more water: cast it once it chits."
        return step("chit_count", "Leave it, and count the chits", due, early, late, why, "facts", UPTAKE)
    if plan.following == "germination":
        target = plan.batch.fitted.target("cast_moisture")
        when: When | None = plan.comes_to(target) if target is not None else None
        if when is not None and when.central is not None:
            due = within(when.central, early, late)
            return step(kind, what, due, within(when.low or due, early, due), late, why, "forecast", UPTAKE)
    return step(kind, what, due, early, late, why)


def _ready_to_cast(plan: InPlan) -> tuple[datetime, str] | None:
    """Since when, and why, it may be cast before the plan says so: moisture and chits are where they are wanted."""
    wanted, enough = plan.limit("cast_moisture"), plan.limit("cast_chits")
    moisture, count = plan.batch.moisture, plan.last("chit_count")
    chits = _last_share(plan)
    if wanted is None or wanted.target_low is None or moisture is None or chits is None or count is None:
        return None
    is_enough = enough is None or enough.target_low is None or chits >= enough.target_low
    if moisture.moisture_wb < wanted.target_low or not is_enough:
        return None
    reached = plan.comes_to(wanted.target_low).central
    since = within(reached or count.at, max(count.at, plan.stage.starts_at), plan.batch.now)
    return since, f"Chits {plan.words.percent(chits, decimals=0)}, and the moisture is there."


def _told_moist(plan: InPlan, main: NextStep) -> NextStep:
    """The reason, with the moisture now beside the one that is wanted at the cast."""
    moisture, wanted = plan.batch.moisture, plan.limit("cast_moisture")
    if moisture is None or wanted is None or wanted.target_low is None or wanted.target_high is None:
        return main
    about = "about " if moisture.is_estimate else ""
    figure = plan.words.percent(moisture.moisture_wb, moisture.half_width)
    goal = f"{100 * wanted.target_low:g}–{100 * wanted.target_high:g} %"
    why = f"{main.why} Moisture {about}{figure}; target at cast {goal}."
    return step(main.kind, main.what, main.due_at, main.earliest_at, main.latest_at, why, main.basis, main.method)


def _water_change(plan: InPlan, due: datetime | None) -> NextStep | None:
    """Out of foul water; fresh water where it is too warm, or would stand still longer than a working day."""
    if plan.stage.name != "immersion":
        return None
    since = plan.last_at("water_changed", since=plan.stage.starts_at) or plan.stage.starts_at
    foul, limit = _foul_since(plan, since), plan.limit("water_temperature.immersion")
    if foul is not None:
        what, why = "Drain, rinse, and let it breathe", "It was foul at the last look."
        return look("drained", what, foul, 0.5, why, 0.0, "facts")
    if due is not None and due <= plan.batch.now + timedelta(hours=1):
        return None
    warm = plan.last("water_temperature", since=since)
    warm_c = warm.value if isinstance(warm, Reading) else None
    if warm is not None and warm_c is not None and limit is not None and warm_c > (limit.high_caution or 99.0):
        why = f"It stood at {plan.words.temperature(warm_c)}: cooler water holds more air."
        return look("water_changed", "Change the water", warm.at, 1.0, why, 0.0, "facts")
    stale = since + timedelta(hours=STALE_WATER_H)
    if due is None or due - stale < timedelta(hours=1) or _is_blown(plan):
        return None
    return look("water_changed", "Change the water", stale, 2.0, "Still water has little air left by then.")


def _foul_since(plan: InPlan, since: datetime) -> datetime | None:
    seen = plan.last("inspection", since=since)
    if not isinstance(seen, Remark):
        return None
    is_foul = any(seen.findings.get(aspect) in words for aspect, words in FOUL)
    return seen.at if is_foul else None


def _bag(plan: InPlan, due: datetime | None) -> NextStep | None:
    """In time for what it decides; not again where it has just been weighed."""
    if not plan.batch.history.of_kind("test_bag_start"):
        return None
    weighed = (
        plan.last_at("test_bag", "charge_weighing", since=plan.batch.history.first_water_at) or plan.stage.starts_at
    )
    at = _in_time(plan, weighed, BAG_EVERY_H[plan.stage.name], due)
    if at is None:
        return None
    if at <= plan.stage.starts_at:
        # What was left out before is asked for out of the water: in the rest now, in the steep just before it ends.
        at = plan.stage.starts_at
        at = max(at, due - JUST_BEFORE) if due is not None and plan.stage.name == "immersion" else at
    ends = f"whether to {BEGINS[plan.following][1].lower()}" if plan.following else "what comes next"
    return look("test_bag", "Weigh the test bag", at, 2.0, f"Its weight tells the uptake, and {ends}.")


def _in_time(plan: InPlan, last: datetime, every_h: float, due: datetime | None) -> datetime | None:
    """When to look again: so long after the last look, and before what it decides; None where that was just done."""
    again = last + timedelta(hours=every_h)
    if due is None:
        return again
    if hours_between(last, due) < JUST_BEFORE_H:
        return None if plan.batch.now <= due else again
    return min(again, due - JUST_BEFORE)


def _chits(plan: InPlan, due: datetime | None) -> NextStep | None:
    """From when they may be there until all but a few are; in time for the cast."""
    share, following = _last_share(plan), plan.following
    if plan.stage.name != "air_rest" and following != "germination":
        return None
    if plan.batch.history.hour(plan.batch.now) < CHITS_FROM_H or (share is not None and share >= ENOUGH_CHITS):
        return None
    if following != "germination" and due is not None and due <= plan.batch.now:
        return None
    counted = plan.last_at("chit_count")
    since = max(counted or plan.stage.starts_at, plan.after_start(-CHITS_EVERY_H))
    at = _in_time(plan, since, CHITS_EVERY_H, due)
    if at is None:
        return None
    at += timedelta(hours=max(CHITS_FROM_H - plan.batch.history.hour(at), 0.0))
    return look("chit_count", "Count the chits", at, 4.0, "Chits decide the cast.")


def _temperature(plan: InPlan) -> NextStep:
    kind = "water_temperature" if plan.stage.name == "immersion" else "grain_temperature"
    what = "Take the water’s temperature" if kind == "water_temperature" else "Take the grain’s temperature"
    last = plan.last_at(kind, since=plan.stage.starts_at)
    if last is None and kind == "water_temperature":
        due = plan.after_start(0.5)
        return look(kind, what, due, 1.0, "How long it may stay under water goes by it.", 0.5)
    due = (last or plan.stage.starts_at) + timedelta(hours=LOOK_EVERY_H)
    return look(kind, what, due, LOOK_EVERY_H / 2, "Routine check.")


def _last_share(plan: InPlan) -> float | None:
    counts = plan.batch.history.of_shape(Tally, "chit_count")
    return counts[-1].counts.get("chitted", 0) / counts[-1].looked_at if counts else None


def _water_c(plan: InPlan) -> float | None:
    read = [
        reading for reading in plan.batch.history.readings("water_temperature") if reading.at >= plan.stage.starts_at
    ]
    values = [each.value for each in read if each.value is not None]
    return sum(values) / len(values) if values else None


def _is_blown(plan: InPlan) -> bool:
    start = plan.batch.history.by_id(plan.stage.fact_id)
    return isinstance(start, StageChange) and start.method == "blown"
