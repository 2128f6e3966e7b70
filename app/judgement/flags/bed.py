"""The bed: warm and wet for too long, green malt waiting in a heap, hot above and cold below, and turning due."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import zip_longest

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact, Reading, Remark
from app.judgement.flags import wording
from app.judgement.flags.base import RANK, Flag, Message, Overrun, Rule, overrun, raised
from app.judgement.history.history import hours_between
from app.judgement.history.stages import Stage
from app.judgement.programmes.programme import Limit
from app.judgement.watch.bed_ahead import Bed, bed_key, beds_of, is_cold_and_thin, is_of_bed
from app.judgement.watch.moving_air import Stretch, still_stretches
from app.judgement.watch.waiting import WAITING_H, waits

WARM_C = (22.0, 48.0)
WET_WB = 0.25
WARM_WET_H = Limit(high_caution=6.0, high_act=12.0, unit="h", mark="M", source="from memory")
TURNING_H = Limit(high_caution=10.0, high_act=14.0, unit="h", mark="M", source="from memory")
FELTED_H = Limit(high_caution=1.0, high_act=6.0, unit="h", mark="M", source="from memory: felted rootlets tear")
SPREAD_C, SPREAD_ACT_C = 3.0, 6.0
SPREAD_SOURCE = "from memory: 3 °C from top to bottom"
SAME_LOOK = timedelta(minutes=30)
BRIDGED = timedelta(hours=1)
FOREVER = datetime.max.replace(tzinfo=UTC)


@dataclass
class _Warm:
    """A stretch of warm and wet grain at one place."""

    starts_at: datetime
    ends_at: datetime
    hottest_c: float
    readings: list[Reading]
    from_c: float
    is_going_on: bool = False

    @property
    def hours(self) -> float:
        return hours_between(self.starts_at, self.ends_at)


def warm_and_wet(batch: BatchAt) -> Iterator[Flag]:
    """Moist grain between 22 and 48 °C for hours on end, no air moving through it: the longest of the places tells it.

    Grain that is grown warm (sorghum at 30 °C) is warm above what its programme wants of it there.
    Air moves on the kiln alone: on the floor it carries off no water, and grain that warm is too warm there.
    """
    told: list[_Warm] = []
    for spell in sorted(batch.once(_all_spells), key=lambda each: (-each.hours, each.starts_at)):
        if any(spell.starts_at <= other.ends_at and other.starts_at <= spell.ends_at for other in told):
            continue
        flag = _warm_flag(batch, spell)
        if flag is not None:
            told.append(spell)
            yield flag


def warm_since(batch: BatchAt) -> datetime | None:
    """Since when grain has been warm and wet that still is, at the place where it has been so for longest."""
    return min((spell.starts_at for spell in batch.once(_all_spells) if spell.is_going_on), default=None)


@dataclass(frozen=True)
class _Line:
    """What a reading tells of the time after it: straight to the next one of its stage, else as it is till its end."""

    starts_at: datetime
    ends_at: datetime
    first_c: float
    last_c: float

    def at(self, moment: datetime) -> float:
        share = (moment - self.starts_at) / (self.ends_at - self.starts_at) if self.ends_at > self.starts_at else 0.0
        return self.first_c + share * (self.last_c - self.first_c)


def _all_spells(batch: BatchAt) -> list[_Warm]:
    return [spell for read in batch.readings_by_place("grain_temperature").values() for spell in _spells(batch, read)]


def _still(batch: BatchAt) -> dict[str, list[Stretch]]:
    """The stretches of each stage in which no air moves through the grain."""
    return {stage.fact_id: still_stretches(batch.history, stage, batch.end_of(stage)) for stage in batch.stages}


def _spells(batch: BatchAt, readings: Sequence[Reading]) -> list[_Warm]:
    """Stretches that are warm and wet, those with hardly a gap between them as one; the last reading holds till now."""
    spells: list[_Warm] = []
    for reading, following in zip(readings, [*readings[1:], None], strict=True):
        first_c = reading.value or 0.0
        next_c = first_c if following is None else following.value or 0.0
        if max(first_c, next_c) < WARM_C[0] or min(first_c, next_c) > WARM_C[1]:
            continue
        stage = batch.stage_at(reading.at)
        if stage is None or _is_exempt(batch, stage, reading.at):
            continue
        from_c = _warm_from_c(batch, stage, reading.at)
        later = following if following is not None and batch.stage_at(following.at) == stage else None
        line = _line(batch, stage, reading, later)
        for start, end in batch.once(_still)[stage.fact_id]:
            part = _warm_part(batch, line, from_c, max(start, line.starts_at), min(end, line.ends_at))
            if part is None:
                continue
            seen = [reading] if later is None else [reading, later]
            hottest = max(line.at(moment) for moment in part)
            is_going_on = following is None and batch.is_live and part[1] >= batch.now
            if spells and part[0] - spells[-1].ends_at <= BRIDGED:
                last = spells[-1]
                last.ends_at, last.is_going_on = part[1], is_going_on
                last.hottest_c = max(last.hottest_c, hottest)
                last.readings += [each for each in seen if each not in last.readings[-2:]]
            else:
                spells.append(_Warm(part[0], part[1], hottest, seen, from_c, is_going_on))
    return spells


def _is_exempt(batch: BatchAt, stage: Stage, moment: datetime) -> bool:
    """A stewing has limits of its own, where the programme knows of stewing; under water the grain is not warm."""
    programme = batch.programme_at(moment)
    if stage.name in ("charged", "immersion", "finished", "abandoned"):
        return True
    return stage.name == "stewing" and programme is not None and programme.limit("stewing_h") is not None


def _warm_from_c(batch: BatchAt, stage: Stage, moment: datetime) -> float:
    """From where on grain is warm at this stage: 22 °C, or the top of what the programme wants where that is warmer."""
    programme = batch.programme_at(moment)
    limit = programme.limits.get(f"grain_temperature.{stage.name}") if programme else None
    wanted_c = limit.target_high if limit is not None and stage.name in ("air_rest", "germination") else None
    # On the bound it is still as it is wanted.
    return WARM_C[0] if wanted_c is None else max(WARM_C[0], math.nextafter(wanted_c, math.inf))


def _line(batch: BatchAt, stage: Stage, reading: Reading, later: Reading | None) -> _Line:
    value_c = reading.value or 0.0
    if later is None or later.value is None:
        return _Line(reading.at, batch.end_of(stage), value_c, value_c)
    return _Line(reading.at, later.at, value_c, later.value)


def _warm_part(
    batch: BatchAt, line: _Line, from_c: float, start: datetime, end: datetime
) -> tuple[datetime, datetime] | None:
    """The part of a stretch of the line in which the grain is both warm and wet."""
    if end < start:
        return None
    first_c, last_c = line.at(start), line.at(end)
    if max(first_c, last_c) < from_c or min(first_c, last_c) > WARM_C[1]:
        return None
    wet, dry = batch.moisture_at(start), batch.moisture_at(end)
    if wet is None or dry is None:
        return None
    parts = (
        _above(first_c - from_c, last_c - from_c),
        _above(WARM_C[1] - first_c, WARM_C[1] - last_c),
        _above(wet.upper - WET_WB, dry.upper - WET_WB),
    )
    first, last = max(part[0] for part in parts), min(part[1] for part in parts)
    return (start + first * (end - start), start + last * (end - start)) if last > first else None


def _above(first: float, last: float) -> tuple[float, float]:
    """The shares of a straight line between which it lies at or above zero."""
    if first >= 0.0 and last >= 0.0:
        return (0.0, 1.0)
    if first < 0.0 and last < 0.0:
        return (1.0, 0.0)
    crossing = first / (first - last)
    return (crossing, 1.0) if first < 0.0 else (0.0, crossing)


def _warm_flag(batch: BatchAt, spell: _Warm) -> Flag | None:
    programme = batch.programme_at(spell.starts_at)
    limit = (programme.limit("warm_wet_h") if programme else None) or WARM_WET_H
    over = overrun(limit, spell.starts_at, spell.hours)
    if over is None:
        return None
    title = (
        f"Warm and wet for {wording.hours(spell.hours)}, more than {wording.hours(over.bound)}: up to "
        f"{wording.kiln_temperature(spell.hottest_c)}, {batch.span_words(spell.starts_at, spell.ends_at)}"
    )
    low, high = wording.temperature(spell.from_c), wording.temperature(WARM_C[1])
    return raised(
        batch, "warm_and_wet", over.severity, spell.readings,
        Message(title, f"Between {low} and {high} and above 25 % moisture moulds and bacteria grow fastest.",
                "Cool it: turn, thin, air; or get it dry below 25 %, with more air and not with more heat. Smell it."),
        over.source, starts_at=over.starts_at, ends_at=None if spell.is_going_on else spell.ends_at,
        worst=spell.hours, unit="h", place=spell.readings[0].place, cause="warm bed",
    )  # fmt: skip


def heap_waiting(batch: BatchAt) -> Iterator[Flag]:
    """Green malt without heat, warm in its heap, or of which nobody read whether it is."""
    for wait in waits(batch):
        lasted_h = hours_between(wait.starts_at, wait.ends_at or batch.now)
        over = overrun(WAITING_H, wait.starts_at, lasted_h)
        if over is None:
            continue
        hottest = max(wait.warm, key=lambda each: each.value or 0.0, default=None)
        read = (
            f" at {wording.temperature(hottest.value or 0.0)}" if hottest is not None else ", and nobody read how warm"
        )
        what = "Green malt waiting" if wait.is_of_loading else "Wet grain without heat"
        yield raised(
            batch, "heap_waiting", over.severity, [wait.fact, hottest] if hottest is not None else [wait.fact],
            Message(f"{what} for {wording.hours(lasted_h)}{read}",
                    "Heaped and without air it heats by itself and sours.",
                    "Fire the kiln, or give it cold air; otherwise spread it thin again. Then smell it."),
            over.source, starts_at=over.starts_at, ends_at=wait.ends_at,
            worst=hottest.value if hottest is not None else None, unit="c",
            place=hottest.place if hottest is not None else None, cause="warm bed",
        )  # fmt: skip


def top_to_bottom(batch: BatchAt) -> Iterator[Flag]:
    """Places of one bed that lie far apart at one look; a run of such looks is one flag."""
    for stage in batch.stages_named("air_rest", "germination"):
        readings = batch.within(batch.history.readings("grain_temperature"), stage.starts_at, batch.end_of(stage))
        for bed in sorted({bed_key(reading.place) for reading in readings}):
            run: list[list[Reading]] = []
            for look in [*_looks([reading for reading in readings if bed_key(reading.place) == bed]), None]:
                if look is not None and _apart(look) > SPREAD_C + 1e-9:
                    run.append(look)
                elif run:
                    yield _spread_flag(batch, stage, run, look)
                    run = []


def _looks(readings: Sequence[Reading]) -> list[list[Reading]]:
    """Readings at several places within half an hour."""
    looks: list[list[Reading]] = []
    for reading in readings:
        if reading.value is None or reading.place is None:
            continue
        if looks and reading.at - looks[-1][0].at <= SAME_LOOK:
            looks[-1].append(reading)
        else:
            looks.append([reading])
    return [look for look in looks if len(look) > 1 and len({reading.place for reading in look}) > 1]


def _apart(look: Sequence[Reading]) -> float:
    latest = {reading.place: reading.value or 0.0 for reading in look}
    return max(latest.values()) - min(latest.values())


def _spread_flag(
    batch: BatchAt, stage: Stage, run: Sequence[Sequence[Reading]], ended_by: Sequence[Reading] | None
) -> Flag:
    worst = max(run, key=_apart)
    hottest, coldest = (pick(worst, key=lambda each: each.value or 0.0) for pick in (max, min))
    title = (
        f"{(hottest.place or '').capitalize()} of the bed {wording.spread(_apart(worst))} above the {coldest.place}, "
        f"{batch.span_words(run[0][0].at, run[-1][0].at)}, worst at {batch.hour_words(worst[0].at)}"
    )
    return raised(
        batch, "top_to_bottom", "act" if _apart(worst) > SPREAD_ACT_C else "caution",
        [reading for look in run for reading in look],
        Message(title, "The warm part grows ahead and burns more; the cold part lags.", "Turn it, and measure again."),
        SPREAD_SOURCE, ends_at=ended_by[0].at if ended_by else stage.ends_at,
        worst=_apart(worst), unit="c", place=hottest.place,
    )  # fmt: skip


def turning_due(batch: BatchAt) -> Iterator[Flag]:
    """Each stretch between two turns of a bed that is too long; none where the bed is cold and thin."""
    for stage in batch.stages_named("germination"):
        beds = beds_of(batch.history, stage, batch.end_of(stage))
        waited: dict[str, list[tuple[datetime | None, Fact, Bed]]] = {}
        for bed in beds:
            for turn, following in zip_longest(bed.turns, bed.turns[1:]):
                ends_at = following.at if following is not None else stage.ends_at
                waited.setdefault(turn.id, []).append((ends_at, turn, bed))
        for stretches in waited.values():
            # Of beds that were last turned together one flag is raised, by the one that waits for longest.
            ends_at, turn, bed = max(stretches, key=lambda each: each[0] or FOREVER)
            names = [each.name for end, _, each in stretches if end == ends_at]
            flag = _turning_flag(batch, turn, ends_at, bed.key, "" if len(names) == len(beds) else " and ".join(names))
            if flag is not None:
                yield flag


def _turning_flag(batch: BatchAt, turn: Fact, ends_at: datetime | None, bed: str, name: str) -> Flag | None:
    """bed: whose looks and temperatures count; name: of the beds that wait while others don't."""
    until = ends_at or batch.now
    programme = batch.programme_at(turn.at)
    limit = (programme.limit("turning_h") if programme else None) or TURNING_H
    lasted = hours_between(turn.at, until)
    looks = [
        remark
        for remark in batch.history.of_shape(Remark, "inspection")
        if turn.at <= remark.at <= until and is_of_bed(remark.place, bed)
    ]
    felted = next((look for look in looks if look.findings.get("matting") == "felted"), None)
    over = None if is_cold_and_thin(batch.history, until, bed) else overrun(limit, turn.at, lasted)
    if felted is not None:
        knit_over = overrun(FELTED_H, felted.at, hours_between(felted.at, until))
        over = over if knit_over is None or (over is not None and over.starts_at <= knit_over.starts_at) else knit_over
    if over is None:
        return None
    since = "the cast" if turn.kind == "cast" else "the last"
    title = f"no turning {f'of {name} ' if name else ''}written down for {wording.hours(lasted)} since {since}"
    title = title if ends_at else f"Turning due: {title}"
    knit = felted or next((look for look in looks if look.findings.get("matting") == "strands"), None)
    meaning = "The bed heats inside, carbon dioxide stays in it, and rootlets knit."
    if knit is not None:
        meaning = f"The rootlets are knitting by {batch.hour_words(knit.at)}. {meaning}"
    return raised(
        batch, "turning_due", _turning_severity(batch, over, felted, turn, until, bed),
        [turn, *([knit] if knit else [])],
        Message(title[:1].upper() + title[1:], meaning, "Turn it from bottom to top, gently; break up what has knit."),
        over.source, starts_at=over.starts_at, ends_at=ends_at, worst=lasted, unit="h",
        place=name or None,
    )  # fmt: skip


def _turning_severity(
    batch: BatchAt, over: Overrun, felted: Remark | None, turn: Fact, until: datetime, bed: str
) -> str:
    """What isn't written down may have been done all the same: it is grave only where the bed itself shows it.

    Where nothing at all was written since then, it is the silence that is told.
    """
    if felted is not None:
        return over.severity
    readings = batch.history.readings("grain_temperature")
    read = [each for each in readings if turn.at < each.at <= until and is_of_bed(each.place, bed)]
    if _is_warmer_than_wanted(batch, read[-1:]):
        return over.severity
    seen = [fact for fact in batch.history.facts if turn.at < fact.at < until]
    return min(over.severity, "caution" if seen else "notice", key=RANK.__getitem__)


def _is_warmer_than_wanted(batch: BatchAt, read: Sequence[Reading]) -> bool:
    """Warmer than the programme wants it, when it was last read."""
    for reading in read:
        programme = batch.programme_at(reading.at)
        limit = programme.limit("grain_temperature.germination") if programme else None
        high_c = limit.target_high if limit is not None else None
        return high_c is not None and reading.value is not None and reading.value > high_c
    return False


RULES = (
    Rule("warm_and_wet", "Warm and wet too long", warm_and_wet),
    Rule("heap_waiting", "Green malt waiting", heap_waiting),
    Rule("top_to_bottom", "Top and bottom apart", top_to_bottom),
    Rule("turning_due", "Turning due", turning_due),
)
