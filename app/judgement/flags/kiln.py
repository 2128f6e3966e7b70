"""The kiln: grain over its ceiling, a stewing under its floor, the break point gone by, and malt dry enough."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from app.judgement import cautions
from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Reading, Remark
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.forecasts.kiln import BreakPoint
from app.judgement.forecasts.kiln import break_point as break_point_of
from app.judgement.forecasts.moisture import Estimate, MoistureSample, drying_of, edge_wb, judged_wb
from app.judgement.history.kiln_runs import run_at
from app.judgement.history.stages import Stage
from app.judgement.malt.dry_enough import dryness
from app.judgement.programmes.programme import Programme, provenance
from app.judgement.watch.exposure import (
    ACT_EXCESS_C,
    ACT_HOURS,
    AT_ONCE_C,
    OVER_BY_C,
    TOLERATED_H,
    KilnExposure,
    Span,
    kiln_exposures,
)

FOR_COLOUR = ("dark", "caramel")

COMES_HOT_IN = timedelta(hours=1)
"""From memory: green malt is given an hour to come to the temperature at which it is stewed."""

COOL_SO_LONG = timedelta(hours=1)
"""From memory: an hour warm, wet and not hot is enough for it to sour, and for what may do harm to grow."""

IN_TIME = timedelta(hours=1)
"""What is done within an hour of the break point, or of malt that is dry enough, was done in time."""

RAISED_BY_C = 3.0


def over_ceiling(batch: BatchAt) -> Iterator[Flag]:
    """Each stretch over the ceiling that is too long to let pass, at the hottest place of that time; and each that is
    far over it if the grain is as wet as it may well be."""
    told: list[Span] = []
    for of_bed, least_c in ((judged_wb, OVER_BY_C), (edge_wb, ACT_EXCESS_C)):
        for exposure in kiln_exposures(batch.history, batch.now, of_bed):
            for span in exposure.spans:
                # What is far over harms within minutes, and one look is all there may be of it.
                is_too_long = span.hours > TOLERATED_H or (of_bed is judged_wb and span.worst_excess_c >= AT_ONCE_C)
                is_told = any(span.starts_at <= other.ends_at and other.starts_at <= span.ends_at for other in told)
                if is_too_long and span.worst_excess_c >= least_c and not is_told:
                    told.append(span)
                    yield _ceiling_flag(batch, span, exposure, perhaps=of_bed is edge_wb)


def _ceiling_flag(batch: BatchAt, span: Span, exposure: KilnExposure, *, perhaps: bool) -> Flag:
    readings, place = exposure.readings, exposure.place
    above = batch.within(readings, span.starts_at, span.ends_at) or readings[-1:]
    estimate = batch.moisture_at(span.starts_at)
    is_act = span.worst_excess_c >= ACT_EXCESS_C or span.hours >= ACT_HOURS
    if perhaps or (estimate is not None and estimate.is_told and not estimate.is_known):
        is_act = not perhaps and span.worst_excess_c >= AT_ONCE_C
    where = f" ({place})" if place else ""
    lasted = f" for {wording.hours(span.hours)} ({wording.degree_hours(span.degree_hours)})" if span.hours else ""
    title = (
        f"Grain{where} {wording.kiln_temperature(span.worst_c)}, {'perhaps ' if perhaps else ''}over its ceiling of "
        f"{wording.kiln_temperature(span.worst_ceiling_c)}{lasted}"
    )
    programme = batch.programme_at(span.starts_at)
    is_for_colour = programme is not None and programme.purpose in FOR_COLOUR
    harm = "turns glassy while it is wet, and scorches" if is_for_colour else "loses its enzymes, and turns glassy"
    meaning = f"Grain this hot {harm}. {_moisture_words(estimate, perhaps=perhaps)}"
    lower = "Lower the air-on now, keep the air moving; weigh a tray to know how dry it is."
    steps = programme.ceiling if programme else ()
    step = next((step for step in steps if step.grain_c == span.worst_ceiling_c), None)
    return raised(
        batch, "over_ceiling", "act" if is_act else "caution", above,
        Message(title, meaning, "Weigh a tray, or test it, before more heat." if perhaps else lower),
        provenance(step.mark, step.source) if step else "the programme",
        starts_at=span.starts_at, ends_at=None if span.is_going_on else span.ends_at, caution=cautions.KILN,
        worst=span.worst_c, unit="c", place=place,
    )  # fmt: skip


def _moisture_words(estimate: Estimate | None, *, perhaps: bool) -> str:
    if estimate is None or not estimate.is_told:
        return "Its moisture is not known: the ceiling is the one for wet grain."
    figure = wording.percent(estimate.where_wettest_wb, estimate.half_width)
    since = f"last known {wording.hours(estimate.since_h)} before" if estimate.is_estimate else "just determined"
    edge = "" if estimate.is_known and not perhaps else ": the ceiling is the one at the upper edge of what is likely"
    where = " in the wettest tray" if estimate.wettest_wb else ""
    return f"Moisture then {figure}{where}, {since}{edge}."


def cool_stew(batch: BatchAt) -> Iterator[Flag]:
    """Stewing grain below its floor, once it has had time to come hot."""
    for stage in batch.stages_named("stewing"):
        for readings in batch.readings_by_place("grain_temperature").values():
            run: list[Reading] = []
            inside = [reading for reading in readings if stage.covers(reading.at)]
            for reading in [*inside, None]:
                if reading is not None and _is_cool(batch, reading):
                    run.append(reading)
                    continue
                counted = [each for each in run if each.at >= stage.starts_at + COMES_HOT_IN]
                if counted:
                    since = max(run[0].at, stage.starts_at + COMES_HOT_IN)
                    yield _stew_flag(batch, stage, counted, reading, is_long=counted[-1].at - since >= COOL_SO_LONG)
                run = []


def _is_cool(batch: BatchAt, reading: Reading) -> bool:
    programme = batch.programme_at(reading.at)
    limit = programme.limit_for("grain_temperature", "stewing") if programme else None
    return limit is not None and reading.value is not None and limit.judge(reading.value).position == "low"


def _stew_flag(
    batch: BatchAt, stage: Stage, run: Sequence[Reading], ended_by: Reading | None, *, is_long: bool
) -> Flag:
    coolest = min(run, key=lambda reading: reading.value or 0.0)
    programme = batch.programme_at(coolest.at)
    limit = programme.limits["grain_temperature.stewing"] if programme else None
    verdict = limit.judge(coolest.value or 0.0) if limit else None
    severity = "act" if is_long else (verdict.severity if verdict else None) or "caution"
    bound = (verdict.bound if verdict else None) or 0.0
    title = (
        f"Stewing at {wording.kiln_temperature(coolest.value or 0.0)}, under its floor of "
        f"{wording.kiln_temperature(bound)}, {batch.span_words(run[0].at, run[-1].at)}"
    )
    remedy = "Raise the heat at once and keep it covered; smell it. If it has soured, throw it away."
    ends_at = ended_by.at if ended_by else stage.ends_at
    if is_long and ended_by is None and stage.ends_at is not None:
        # It never came hot: what grew in it is not undone by the kiln.
        severity, remedy = "caution", "Smell it. If it has soured, throw it away."
        looks = batch.history.of_shape(Remark, "inspection")
        smelt = (look.at for look in looks if look.at >= stage.ends_at and look.findings.get("smell") == "clean")
        ends_at = next(smelt, batch.ended_at)
    return raised(
        batch, "cool_stew", severity, run,
        Message(title, "Warm, wet and not hot enough, it sours, and what makes it sour may do harm.", remedy),
        provenance(verdict.mark, verdict.source) if verdict else "the programme",
        ends_at=ends_at, worst=coolest.value, unit="c", place=run[0].place,
    )  # fmt: skip


def break_point(batch: BatchAt) -> Iterator[Flag]:
    """The break point was reached and nothing was raised within the hour, or not yet."""
    for stage in batch.stages_named("kilning"):
        programme = batch.programme_at(stage.starts_at)
        if programme is None or programme.is_roast:
            continue
        broke = _broke(batch, stage)
        if broke is None:
            continue
        fact = broke.seen
        how = (
            "air-off has come within half of its steady distance to air-on"
            if broke.basis == "air_off"
            else f"{broke.tray or 'the tray'} loses less than half of what it lost an hour before"
        )
        answered_at = _raised_at(batch, stage, fact.at - timedelta(minutes=30)) or stage.ends_at
        if answered_at is not None and answered_at <= fact.at + IN_TIME:
            continue
        if not _wants_more_heat(batch, programme, fact.at):
            continue
        yield raised(
            batch, "break_point", "notice", [fact],
            Message(f"Break point reached at {batch.hour_words(fact.at)}: {how}",
                    "The grain no longer gives water as fast as the air can take it: it warms from here on.",
                    "Weigh a tray, and go over to the programme's next air-on; watch the grain against its ceiling."),
            "common practice", ends_at=answered_at, place=fact.place,
        )  # fmt: skip


def _wants_more_heat(batch: BatchAt, programme: Programme, moment: datetime) -> bool:
    """Whether the plan, at this moisture, has the air hotter than it is: a gentle plan goes on as it was."""
    steps = [step for step in programme.steps if step.stage == "kilning" and step.air_on_c is not None]
    estimate = batch.moisture_at(moment)
    if estimate is None or not steps:
        return True
    ahead = [step for step in steps if step.moisture_wb is None or step.moisture_wb < estimate.moisture_wb] or steps[
        -1:
    ]
    wanted = ahead[1] if ahead[0].phase == "withering" and len(ahead) > 1 else ahead[0]
    now = batch.history.last_before(moment, batch.history.readings("air_on_temperature"))
    now_c = now.value if now is not None and now.value is not None else steps[0].air_on_c
    return (wanted.air_on_c or 0.0) >= (now_c or 0.0) + RAISED_BY_C


def _broke(batch: BatchAt, stage: Stage) -> BreakPoint | None:
    run, told = run_at(batch.history, stage.starts_at), batch.fitted.story
    drying = drying_of(batch.history, run) if run is not None else None
    if drying is None or told is None:
        return None
    return batch.fitted.broke if drying is told.drying else break_point_of(batch.history, drying)


def _raised_at(batch: BatchAt, stage: Stage, since: datetime) -> datetime | None:
    """When air-on or set point first stood clearly above what it was before."""
    for kind in ("set_point", "air_on_temperature"):
        readings = [each for each in batch.history.readings(kind) if stage.covers(each.at) and each.value is not None]
        before = [each.value or 0.0 for each in readings if each.at < since][-3:]
        for reading in readings:
            if reading.at >= since and before and (reading.value or 0.0) >= max(before) + RAISED_BY_C:
                return reading.at
    return None


def dry_enough(batch: BatchAt) -> Iterator[Flag]:
    """The wettest tray is as dry as the programme wants it, and the heat is still on."""
    for stage in batch.stages_named("kilning"):
        programme = batch.programme_at(batch.end_of(stage))
        if programme is None or programme.final_moisture_wb is None or programme.is_roast:
            continue
        told = dryness(batch.history, stage, programme)
        if told.sample is None or told.state == "open":
            continue
        if stage.ends_at is not None and stage.ends_at <= told.sample.at + IN_TIME:
            continue
        yield _dry_flag(batch, programme, stage, told.sample, is_sure=told.state == "dry")


def _dry_flag(batch: BatchAt, programme: Programme, stage: Stage, wettest: MoistureSample, *, is_sure: bool) -> Flag:
    limit = programme.limits["final_moisture"]
    figure = wording.percent(wettest.moisture_wb, wettest.half_width)
    where = f"{figure} in {wettest.place or 'the wettest sample'}, at {batch.hour_words(wettest.at)}"
    if not is_sure:
        said = Message(
            f"Perhaps dry enough: {where}",
            "How wet it was when it was loaded is hardly known, and so how dry it is now.",
            "Crush a kernel, or test its moisture: only brittle malt is dry. Then heat off, or dry on.",
        )
    else:
        said = Message(
            f"Dry enough: {where}",
            "More heat costs fuel and enzymes and wins nothing.",
            "Heat off; cool it with cold air, and dress it the same day.",
        )
    return raised(
        batch, "dry_enough", "notice", list(wettest.facts), said,
        provenance(limit.mark, limit.source), ends_at=stage.ends_at,
        worst=wettest.moisture_wb, unit="wb", place=wettest.place,
    )  # fmt: skip


RULES = (
    Rule("over_ceiling", "Over the ceiling", over_ceiling),
    Rule("cool_stew", "Stewing under its floor", cool_stew),
    Rule("break_point", "Break point reached", break_point),
    Rule("dry_enough", "Dry enough", dry_enough),
)
