"""What lies ahead if it goes on like this: a target that is not in reach, a bed on its way past its limit."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.forecasts.asking import Fit, acrospire, to_acrospire, to_moisture_by_plan
from app.judgement.forecasts.forecast import fit, is_sure_of
from app.judgement.forecasts.moisture import determinations
from app.judgement.grain.counts import growth_counts
from app.judgement.history.history import hours_between
from app.judgement.history.stages import Stage, planned_place
from app.judgement.programmes.programme import Programme
from app.judgement.watch.bed_ahead import BedAhead, beds_ahead, next_to_turn
from app.science.drying import HALF_WIDTH_WB

FEWEST = 2
NOT_WORTH_A_WORD_WB = 0.01
"""So little below the least for the cast is made up for by a sprinkling: from memory."""
"""Weighings or counts of the batch's own before anything is said against it: from memory."""

WETTED_BY = ("test_bag", "charge_weighing", "tested")
LOOK_EVERY_H, TURN_EVERY_H = 8.0, 8.0
SLOWEST_C_PER_H = 0.1
SAME_AIR_C = 3.0
UPTAKE_SOURCE = "forecast: a Weibull curve through the batch's own weighings, its 80 % interval"
GROWTH_SOURCE = "forecast: growth in thermal time through the batch's own counts, its 80 % interval"
AIR_SOURCE = "derived: equilibrium moisture of malt, GAB (López et al. 1997, published, read at second hand), ± 1 point"
WARMING_SOURCE = "derived: a straight line through the readings since it was last turned"


def not_in_reach(batch: BatchAt) -> Iterator[Flag]:
    stage = batch.stage
    programme = batch.programme_at(batch.now)
    if stage is None or programme is None or not batch.is_live:
        return
    look = {
        "immersion": _too_dry_to_cast,
        "air_rest": _too_dry_to_cast,
        "germination": _too_short_to_stop,
        "kilning": _too_wet_to_keep,
    }.get(stage.name)
    found = look(batch, programme, stage, fit(batch.history)) if look is not None else None
    if found is not None:
        yield found


def _too_dry_to_cast(batch: BatchAt, programme: Programme, stage: Stage, fitted: Fit) -> Flag | None:
    """Not even the upper edge of the forecast comes to the least for the cast by the end of the planned steeps."""
    limit, uptake = programme.limit("cast_moisture"), fitted.story.uptake if fitted.story else None
    start = _first_steep(batch)
    ends_at = _steep_ends(batch, programme, stage)
    least_wb = (limit.target_low if limit.low_caution is None else limit.low_caution) if limit is not None else None
    if least_wb is None or uptake is None or start is None or ends_at is None:
        return None
    weighed = [
        determination
        for determination in determinations(batch.history)
        if determination.basis in WETTED_BY and determination.at >= start.at
    ]
    when = to_moisture_by_plan(fitted, least_wb - NOT_WORTH_A_WORD_WB, batch.now)
    if len(weighed) < FEWEST or when is None or (when.low is not None and when.low <= ends_at):
        return None
    by = f"by {batch.hour_words(ends_at)}, the end of the steeps planned"
    title = f"{wording.percent(least_wb)}, the least for the cast, is not in reach {by}"
    last = weighed[-1]
    meaning = (
        f"By its weighings, the last {wording.percent(last.moisture_wb, last.half_width)}, it takes up too slowly."
    )
    if uptake.limit_wb < least_wb:
        meaning += f" It levels off near {wording.whole_percent(uptake.limit_wb)}, however long it steeps."
    remedy = (
        "A longer air rest and one more steep, in water a degree or two warmer within its limits; "
        "or cast it and sprinkle in two goes. Check the bag’s tare first."
    )
    return raised(
        batch, "not_in_reach", "caution", [start, *(fact for each in weighed[-2:] for fact in each.facts)],
        Message(title, meaning, remedy), UPTAKE_SOURCE,
        starts_at=last.at, worst=last.moisture_wb, unit="wb",
    )  # fmt: skip


def _first_steep(batch: BatchAt) -> Fact | None:
    steeps = batch.stages_named("immersion")
    return batch.history.by_id(steeps[0].fact_id) if steeps else None


def _steep_ends(batch: BatchAt, programme: Programme, stage: Stage) -> datetime | None:
    """When the steeps that are planned are over at the latest, this stretch and what comes after it to plan."""
    place = planned_place(programme, batch.stages)
    if place is None:
        return None
    plan = programme.planned_stages()
    later = []
    for each in plan[place + 1 :]:
        if each.stage not in ("immersion", "air_rest"):
            break
        later.append(each)
    lasts = plan[place].end_h - plan[place].start_h if later else plan[place].hours_high
    hours = sum(each.end_h - each.start_h for each in later[:-1]) + (later[-1].hours_high if later else 0.0)
    return max(stage.starts_at + timedelta(hours=lasts), batch.now) + timedelta(hours=hours)


def _too_short_to_stop(batch: BatchAt, programme: Programme, stage: Stage, fitted: Fit) -> Flag | None:
    """The acrospire won't have come to its range by the last day that the programme gives it."""
    limit, days = programme.limit("acrospire"), programme.limit("germination_d")
    counts = [count for count in growth_counts(batch.history) if count.at >= stage.starts_at]
    if limit is None or limit.target_low is None or days is None or days.high_caution is None or len(counts) < FEWEST:
        return None
    last_day = stage.starts_at + timedelta(days=days.high_caution)
    when, now = to_acrospire(fitted, limit.target_low, batch.now), is_sure_of(acrospire(fitted, batch.now))
    # Once the days are over it is the plan's own flag that says so.
    if now is None or batch.now > last_day or (when.low is not None and when.low <= last_day):
        return None
    title = f"{limit.target_low:g} kernel lengths are not in reach by day {days.high_caution:g} of growth"
    meaning = f"By its {len(counts)} counts it stands at about {now[0]:.2f} now and grows too slowly to come so far."
    return raised(
        batch, "not_in_reach", "caution",
        [counts[0].fact, *(count.fact for count in counts[-2:] if count is not counts[0])],
        Message(title, meaning, "Weigh it for moisture and sprinkle if it is dry; a degree or two warmer; rub out."),
        GROWTH_SOURCE, starts_at=counts[-1].at, worst=now[0], unit="kernel_lengths", cause="slow growth",
    )  # fmt: skip


def _too_wet_to_keep(batch: BatchAt, programme: Programme, stage: Stage, fitted: Fit) -> Flag | None:
    """In air like this it never gets as dry as the plan wants it before the next air, or at the end."""
    drying = fitted.drying
    limit, start = programme.limit("final_moisture"), batch.history.by_id(stage.fact_id)
    if drying is None or drying.end_h is not None or limit is None or limit.target_high is None or start is None:
        return None
    air = drying.air.logged
    goal = _goal_in_air(programme, air.temperature_c, limit.target_high) if air is not None else None
    floor = drying.equilibrium_wb([air]) if air is not None else 0.0
    if air is None or goal is None or floor < goal:
        return None
    title = f"{wording.percent(goal)} is not in reach in air of {wording.kiln_temperature(air.temperature_c)}"
    meaning = f"In this air it never gets drier than {wording.percent(floor, HALF_WIDTH_WB)}."
    if drying.air.water_from == drying.air.room:
        meaning += " The humidity of that air was not measured in the kiln: it is reckoned from the room’s."
    remedy = "Fresh air instead of air that goes round; drier air, or hotter within the ceiling. Weigh a tray to see."
    since = batch.history.starts_at
    begun = since + timedelta(hours=air.start_h) if since is not None else batch.now
    return raised(
        batch, "not_in_reach", "caution" if floor - HALF_WIDTH_WB >= goal else "notice", [start],
        Message(title, meaning, remedy), AIR_SOURCE, starts_at=min(begun, batch.now), worst=floor, unit="wb",
    )  # fmt: skip


def _goal_in_air(programme: Programme, air_c: float, final_wb: float) -> float | None:
    """How dry the plan wants it in this air: by the hottest of its steps that is no hotter, or else by its first."""
    steps = [step for step in programme.steps if step.stage == "kilning" and step.air_on_c is not None]
    if not steps:
        return final_wb
    reached = [step for step in steps if (step.air_on_c or 0.0) <= air_c + SAME_AIR_C]
    current = reached[-1] if reached else steps[0]
    return final_wb if current is steps[-1] else current.moisture_wb


def bed_limit_ahead(batch: BatchAt) -> Iterator[Flag]:
    """A bed that has warmed so since it was turned that it passes its limit before anybody is due to look at it."""
    stage, programme = batch.stage, batch.programme_at(batch.now)
    limit = programme.limit("grain_temperature.germination") if programme is not None else None
    if stage is None or stage.name != "germination" or limit is None or limit.high_caution is None:
        return
    flags = []
    for bed in beds_ahead(batch):
        comes_at = bed.reaches(limit.high_caution) if bed.line.per_h >= SLOWEST_C_PER_H else None
        if comes_at is not None and comes_at < _next_look(batch, programme, stage, bed):
            flags.append((comes_at, bed))
    if flags:
        comes_at, bed = min(flags, key=lambda each: each[0])
        yield _ahead_flag(batch, stage, bed, comes_at, limit.high_caution, limit.high_act)


def _next_look(batch: BatchAt, programme: Programme | None, stage: Stage, bed: BedAhead) -> datetime:
    """By the plan: the next turn, or the next reading; now, where both are late."""
    turning = programme.limit("turning_h") if programme is not None else None
    every_h = (turning.target_high if turning is not None else None) or TURN_EVERY_H
    turn_at = next_to_turn(batch.history, stage, batch.now).since + timedelta(hours=every_h)
    return max(min(turn_at, bed.last_at + timedelta(hours=LOOK_EVERY_H)), batch.now)


def _ahead_flag(
    batch: BatchAt, stage: Stage, bed: BedAhead, comes_at: datetime, limit_c: float, act_c: float | None
) -> Flag:
    programme = batch.programme_at(batch.now)
    far_at = bed.reaches(act_c) if act_c is not None else None
    is_act = far_at is not None and far_at < _next_look(batch, programme, stage, bed)
    where = f" ({bed.place})" if bed.place else ""
    is_past = comes_at <= batch.now
    verb = "should have come" if is_past else "comes"
    title = (
        f"The bed{where} {verb} to {wording.temperature(limit_c)} about {batch.hour_words(comes_at)}"
        f"{'' if is_past else ', before the next look at it'}"
    )
    lasted = wording.hours(hours_between(bed.readings[0].at, bed.last_at))
    rise, stood = wording.spread(bed.line.per_h), wording.temperature(bed.readings[-1].value or 0.0)
    meaning = f"It warmed by {rise} an hour over {lasted}, to {stood} at {batch.hour_words(bed.last_at)}."
    return raised(
        batch, "bed_limit_ahead", "act" if is_act else "caution", bed.readings,
        Message(title, meaning, "Turn it before then, or spread it thinner; take its temperature again."),
        WARMING_SOURCE, starts_at=bed.last_at, worst=bed.line.per_h, unit="", place=bed.place, cause="warm bed",
    )  # fmt: skip


RULES = (
    Rule("not_in_reach", "Target not in reach", not_in_reach),
    Rule("bed_limit_ahead", "Bed on its way past its limit", bed_limit_ahead),
)
