"""Readings disagree: such that physics forbids together. Names the likeliest instrument, and since when."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta
from itertools import combinations, pairwise

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact, Reading
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.forecasts.moisture import MoistureSample, determinations
from app.judgement.history.history import hours_between
from app.judgement.history.kiln_runs import air_was_out, run_at
from app.judgement.history.stages import Stage

AT_ONCE = timedelta(minutes=20)
HOTTER_THAN_AIR_C = 3.0
STEADY_C = 3.0
"""From memory: grain can't be hotter than the air that heats it, but for what the thermometers are off, unless that
air has just been turned down. Where a fan or a fire stands still, the air heats nothing."""

APART_C = {"grain_temperature": 2.0, "water_temperature": 1.5}
"""From memory: the water of one tub is as warm everywhere, grain of one bed is not; and two household probes are off by
half a degree to one each."""

APART_SDS = 3.0
FLAT_READINGS, FLAT_H = 6, 12.0
"""From memory: living grain breathes; a probe that shows one figure for half a day is dead or reads something else."""

STILL_H, AIR_MOVED_C = 2.0, 10.0
ROOM_READINGS, ROOM_APART_C, ROOM_MOVED_C = 4, 0.3, 3.0
"""From memory: grain on a kiln follows air that is raised by ten degrees within two hours; and four readings that are
the room's, while that moved by three degrees, are no chance."""

LAGS = timedelta(hours=2)
SOURCE = "derived: physics forbids it; how far apart counts, from memory"


def lying(batch: BatchAt) -> Iterator[Flag]:
    yield from _hotter_than_the_air(batch)
    yield from _two_thermometers(batch)
    yield from _bag_and_charge(batch)
    yield from _flat_probe(batch)
    yield from _still_on_the_kiln(batch)
    yield from _reads_the_room(batch)


def _hotter_than_the_air(batch: BatchAt) -> Iterator[Flag]:
    air_on = [reading for reading in batch.history.readings("air_on_temperature") if reading.value is not None]
    for stage in batch.stages_named("kilning"):
        pairs: list[tuple[Reading, Reading]] = []
        for grain in batch.within(batch.history.readings("grain_temperature"), stage.starts_at, batch.end_of(stage)):
            air = batch.history.last_before(grain.at + AT_ONCE, air_on)
            if air is None or grain.value is None or air.value is None or abs(air.at - grain.at) > AT_ONCE:
                continue
            run = run_at(batch.history, grain.at)
            if run is not None and air_was_out(batch.history, run, grain.at, max(air.at, grain.at)):
                continue
            if grain.value > air.value + HOTTER_THAN_AIR_C and not _was_turned_down(air, air_on):
                pairs.append((grain, air))
        if pairs:
            yield _air_flag(batch, stage, pairs)


def _was_turned_down(air: Reading, air_on: Sequence[Reading]) -> bool:
    recent = [each for each in air_on if air.at - LAGS <= each.at < air.at]
    return any((each.value or 0.0) > (air.value or 0.0) + STEADY_C for each in recent)


def _air_flag(batch: BatchAt, stage: Stage, pairs: Sequence[tuple[Reading, Reading]]) -> Flag:
    grain, air = max(pairs, key=lambda pair: (pair[0].value or 0.0) - (pair[1].value or 0.0))
    which = _likeliest(batch, [pair[0] for pair in pairs] + [pair[1] for pair in pairs])
    title = (
        f"Grain at {wording.kiln_temperature(grain.value or 0.0)}, hotter than its air of "
        f"{wording.kiln_temperature(air.value or 0.0)}, {batch.span_words(pairs[0][0].at, pairs[-1][0].at)}"
    )
    return _flag(batch, [each for pair in pairs for each in pair], title, which, stage)


def _two_thermometers(batch: BatchAt) -> Iterator[Flag]:
    """Two instruments at one place and one time, at a stage without heat."""
    for stage in batch.stages_named("air_rest", "germination", "immersion"):
        kind = "water_temperature" if stage.name == "immersion" else "grain_temperature"
        pairs = [
            (first, second, look)
            for look in _looks(batch.within(batch.history.readings(kind), stage.starts_at, batch.end_of(stage)))
            for first, second in combinations(look, 2)
            if first.instrument != second.instrument and _apart(first, second) > APART_C[kind] + 1e-9
        ]
        if pairs:
            first, second, look = max(pairs, key=lambda each: _apart(each[0], each[1]))
            title = f"{first.instrument} and {second.instrument} are {_apart_words(first, second)} apart at one place"
            every: list[Fact] = [each for pair in pairs for each in pair[:2]]
            yield _flag(batch, every, title, _odd_one(look, APART_C[kind]) or _likeliest(batch, [first, second]), stage)


def _looks(readings: Sequence[Reading]) -> list[list[Reading]]:
    """Readings of one place by named instruments within twenty minutes, two or more of them."""
    open_looks: dict[str | None, list[Reading]] = {}
    looks: list[list[Reading]] = []
    for reading in readings:
        if reading.instrument is None or reading.value is None:
            continue
        look = open_looks.get(reading.place)
        if look is None or reading.at - look[0].at > AT_ONCE:
            look = open_looks[reading.place] = []
            looks.append(look)
        look.append(reading)
    return [look for look in looks if len(look) > 1]


def _apart(first: Reading, second: Reading) -> float:
    return abs((first.value or 0.0) - (second.value or 0.0))


def _apart_words(first: Reading, second: Reading) -> str:
    return wording.spread(_apart(first, second))


def _odd_one(look: Sequence[Reading], apart_c: float) -> str | None:
    """Of three or more at one place, the one that stands alone while the others agree."""
    for each in look:
        others = [other for other in look if other.instrument != each.instrument]
        agree = all(_apart(one, two) <= apart_c for one, two in combinations(others, 2))
        if len({other.instrument for other in others}) > 1 and agree and all(_apart(each, o) > apart_c for o in others):
            return each.instrument
    return None


def _likeliest(batch: BatchAt, readings: Sequence[Reading]) -> str:
    """The instrument to look at first: one that was never calibrated, otherwise the one calibrated longest ago."""
    calibrated = {fact.subject.id: fact.at for fact in batch.history.instruments}
    named = list(dict.fromkeys(reading.instrument for reading in readings if reading.instrument))
    if not named:
        return "one of the two probes"
    never = [name for name in named if name not in calibrated]
    if never:
        return " or ".join(never)
    return min(named, key=lambda name: calibrated[name])


def _bag_and_charge(batch: BatchAt) -> Iterator[Flag]:
    """Two ways of telling the moisture, within an hour and further apart than both their doubts."""
    samples = [determination for determination in determinations(batch.history) if determination.basis in _WAYS]
    told: set[tuple[str | None, str | None]] = set()
    for first, second in pairwise(samples):
        key = (first.place or first.basis, second.place or second.basis)
        if first.basis == second.basis or second.at - first.at > timedelta(hours=1) or key in told:
            continue
        apart = abs(first.moisture_wb - second.moisture_wb)
        if apart > APART_SDS * math.hypot(first.sd, second.sd) and not _is_drying(batch, first):
            told.add(key)
            yield _moisture_flag(batch, first, second)


def _is_drying(batch: BatchAt, sample: MoistureSample) -> bool:
    """On a kiln an hour may change the moisture by points."""
    stage = batch.stage_at(sample.at)
    return stage is not None and stage.name not in ("germination", "air_rest", "immersion")


def _moisture_flag(batch: BatchAt, first: MoistureSample, second: MoistureSample) -> Flag:
    figures = " and ".join(
        f"{wording.percent(each.moisture_wb, each.half_width)} by {_WAYS.get(each.basis, each.basis)}"
        for each in (first, second)
    )
    title = f"Moistures apart: {figures}, {batch.hour_words(first.at)}"
    stage = batch.stage_at(first.at)
    return _flag(batch, [*first.facts, *second.facts], title, "a tare, the bag's surface water or the sample", stage)


_WAYS = {"test_bag": "the bag", "charge_weighing": "the whole charge", "tested": "test", "tray": "the tray"}


def _flat_probe(batch: BatchAt) -> Iterator[Flag]:
    """One instrument that shows the very same figure, reading after reading, for half a day of growth."""
    for stage in batch.stages_named("germination"):
        for (instrument, _), readings in _by_probe(batch, stage).items():
            run = _flattest(readings)
            if len(run) >= FLAT_READINGS and hours_between(run[0].at, run[-1].at) >= FLAT_H:
                lasted = wording.hours(hours_between(run[0].at, run[-1].at))
                title = f"{instrument} has shown {wording.temperature(run[0].value or 0.0)} for {lasted}"
                yield _flag(batch, run, title, instrument, stage, "Living grain never stands still.")


def _still_on_the_kiln(batch: BatchAt) -> Iterator[Flag]:
    """One figure for hours on the kiln, while the air into the grain was raised."""
    for stage in batch.stages_named("kilning"):
        air = batch.within(batch.history.readings("air_on_temperature"), stage.starts_at, batch.end_of(stage))
        for (instrument, _), readings in _by_probe(batch, stage).items():
            run = _flattest(readings)
            if len(run) < FLAT_READINGS or hours_between(run[0].at, run[-1].at) < STILL_H:
                continue
            beside = [each.value for each in batch.within(air, run[0].at, run[-1].at) if each.value is not None]
            if beside and max(beside) - min(beside) >= AIR_MOVED_C:
                lasted = wording.hours(hours_between(run[0].at, run[-1].at))
                shown = wording.kiln_temperature(run[0].value or 0.0)
                why = f"The air was raised by {wording.spread(max(beside) - min(beside))} meanwhile."
                yield _flag(batch, run, f"{instrument} has shown {shown} for {lasted}", instrument, stage, why)


def _reads_the_room(batch: BatchAt) -> Iterator[Flag]:
    """A grain probe that goes with the room's thermometer, up and down: it hangs in the air, and not in the grain."""
    for stage in batch.stages_named("germination", "kilning"):
        room = batch.within(batch.history.readings("air_temperature"), stage.starts_at - AT_ONCE, batch.end_of(stage))
        for (instrument, _), readings in _by_probe(batch, stage).items():
            run = _longest(
                (reading, near)
                for reading in readings
                if (near := _at_once(room, reading)) is not None and near.value is not None
            )
            if len(run) < ROOM_READINGS:
                continue
            beside = [near.value or 0.0 for _, near in run]
            if max(beside) - min(beside) >= ROOM_MOVED_C:
                lasted = wording.hours(hours_between(run[0][0].at, run[-1][0].at))
                title = f"{instrument} has read as the room does for {lasted}"
                why = "Grain follows the room slowly, if at all: the probe may hang in the air."
                yield _flag(batch, [fact for pair in run for fact in pair], title, instrument, stage, why)


def _at_once(readings: Sequence[Reading], reading: Reading) -> Reading | None:
    near = [each for each in readings if abs(each.at - reading.at) <= AT_ONCE]
    return min(near, key=lambda each: abs(each.at - reading.at), default=None)


def _longest(pairs: Iterable[tuple[Reading, Reading]]) -> list[tuple[Reading, Reading]]:
    """The longest run of readings that are the room's."""
    best: list[tuple[Reading, Reading]] = []
    run: list[tuple[Reading, Reading]] = []
    for grain, room in pairs:
        run = [*run, (grain, room)] if _apart(grain, room) <= ROOM_APART_C else []
        best = run if len(run) > len(best) else best
    return best


def _by_probe(batch: BatchAt, stage: Stage) -> dict[tuple[str, str | None], list[Reading]]:
    grouped: dict[tuple[str, str | None], list[Reading]] = {}
    for each in batch.within(batch.history.readings("grain_temperature"), stage.starts_at, batch.end_of(stage)):
        if each.instrument and each.value is not None:
            grouped.setdefault((each.instrument, each.place), []).append(each)
    return grouped


def _flattest(readings: Sequence[Reading]) -> list[Reading]:
    """The longest run of readings with one figure."""
    best: list[Reading] = []
    run: list[Reading] = []
    for reading in readings:
        run = [*run, reading] if run and run[-1].value == reading.value else [reading]
        best = run if len(run) > len(best) else best
    return best


def _flag(
    batch: BatchAt, facts: Sequence[Fact], title: str, which: str, stage: Stage | None, why: str = "Both can't be true."
) -> Flag:
    ordered = sorted({fact.id: fact for fact in facts}.values(), key=lambda fact: (fact.at, fact.id))
    return raised(
        batch, "lying", "notice", ordered,
        Message(title, f"{why} Look at {which} first, since {batch.hour_words(ordered[0].at)}.",
                "Hold thermometers together in one cup of water; weigh a known weight; note the calibration."),
        SOURCE, ends_at=stage.ends_at if stage else batch.ended_at, place=ordered[0].place,
    )  # fmt: skip


RULES = (Rule("lying", "Readings disagree", lying),)
