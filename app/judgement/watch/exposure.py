"""How long, and by how much, the grain on the kiln stood above the programme's ceiling for its moisture.

The moisture is taken as it most likely is, and where nothing tells it as wet as can be. Between readings the
temperature runs straight; the ceiling steps where the moisture crosses an edge of it.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise, zip_longest
from typing import NamedTuple

from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.moisture import determinations, judged_wb, moisture_at
from app.judgement.history.history import History, by_place, hours_between
from app.judgement.history.kiln_runs import Run, run_at
from app.judgement.history.stages import Stage, all_stages, stage_at, stages
from app.judgement.watch.layers import OfBed, as_read
from app.science.enzymes import Exposure, hours_and_degree_hours_above

TOLERATED_H = 0.25
ACT_EXCESS_C = 5.0
ACT_HOURS = 1.0
AT_ONCE_C = 10.0
"""From memory: a quarter of an hour over the ceiling is let pass; an hour, or five degrees, does lasting harm."""

OVER_BY_C = 1.0
"""Nearer to the ceiling than this neither probe nor thermostat tells over from under: from memory."""


def is_over(grain_c: float, ceiling_c: float) -> bool:
    return grain_c >= ceiling_c + OVER_BY_C


SOON_AFTER = timedelta(minutes=15)
"""Without heat grain only cools: hotter so soon after heat off, it was at least as hot at the end. From memory."""

HOLDS_FOR = timedelta(hours=1)
"""How long a last reading is taken to hold on a kiln that goes on, from memory: after that nobody knows."""

JOINED_GAP = timedelta(minutes=15)


@dataclass(frozen=True)
class Piece:
    """A stretch in which temperature runs straight and the ceiling stands still; None where there is no ceiling."""

    starts_at: datetime
    ends_at: datetime
    first_c: float
    last_c: float
    ceiling_c: float | None

    @property
    def hours(self) -> float:
        return hours_between(self.starts_at, self.ends_at)


@dataclass(frozen=True)
class Span:
    """A stretch above the ceiling: its length, degree-hours, and where it was worst."""

    starts_at: datetime
    ends_at: datetime
    degree_hours: float
    worst_excess_c: float
    worst_c: float
    worst_ceiling_c: float
    is_going_on: bool = False

    @property
    def hours(self) -> float:
        return hours_between(self.starts_at, self.ends_at)


@dataclass(frozen=True)
class KilnExposure:
    """At one place of the kiln: hours and degree-hours (°C h) above the ceiling, of the hours that were measured."""

    place: str | None
    hours: float
    degree_hours: float
    measured_hours: float
    spans: tuple[Span, ...]
    readings: tuple[Reading, ...]

    @property
    def worst_excess_c(self) -> float:
        return max((span.worst_excess_c for span in self.spans), default=0.0)


def kiln_exposures(history: History, now: datetime, of_bed: OfBed = judged_wb) -> list[KilnExposure]:
    """Each place that was measured on the kiln under a programme with a ceiling, the hottest first."""
    places: dict[str | None, list[LoadAtPlace]] = {}
    for kilning in (stage for stage in stages(history, now) if stage.name == "kilning"):
        end = min(kilning.ends_at or now, now)
        for place, readings in by_place(_read_in(history, kilning, now)).items():
            run, is_only = run_at(history, kilning.starts_at), len(readings) == 1 and kilning.ends_at is not None
            pieces = _pieces(history, _held(readings, end, run, is_only=is_only), of_bed)
            places.setdefault(place, []).append(LoadAtPlace(pieces, readings, kilning.ends_at is None))
    exposures = [_exposure(place, loads) for place, loads in places.items() if _has_ceiling(loads)]
    return sorted(exposures, key=lambda each: (-each.degree_hours, -each.hours, each.place or ""))


def kiln_exposure(history: History, now: datetime) -> KilnExposure | None:
    """The exposure at the hottest place; None where no grain was measured on a kiln, or there is no ceiling."""
    return next(iter(kiln_exposures(history, now)), None)


class LoadAtPlace(NamedTuple):
    """What was read at one place of one load of the kiln. is_going_on: it is still heated."""

    pieces: list[Piece]
    readings: list[Reading]
    is_going_on: bool


def _has_ceiling(loads: Iterable[LoadAtPlace]) -> bool:
    return any(piece.ceiling_c is not None for load in loads for piece in load.pieces)


def _read_in(history: History, kilning: Stage, now: datetime) -> Iterator[Reading]:
    """What was read on it; and as of its end what a place showed first soon after heat off, where that is hotter."""
    until = min(kilning.ends_at + SOON_AFTER, now) if kilning.ends_at is not None else now
    last_c: dict[str | None, float] = {}
    for reading in history.readings("grain_temperature"):
        if reading.value is None or not kilning.starts_at <= reading.at <= until:
            continue
        if kilning.ends_at is None or reading.at <= kilning.ends_at:
            last_c[reading.place] = reading.value
            yield reading
        elif reading.value > last_c.get(reading.place, -math.inf) and (at_end := as_on_kiln(history, reading)):
            last_c[reading.place] = math.inf
            yield at_end


def as_on_kiln(history: History, reading: Reading) -> Reading | None:
    """A reading under heat; as of heat off, what was read soon after it; None for any other."""
    stage = stage_at(all_stages(history), reading.at)
    if stage is not None and stage.name == "cooling" and reading.at <= stage.starts_at + SOON_AFTER:
        return replace(reading, earliest_at=stage.starts_at, latest_at=stage.starts_at)
    return reading if stage is not None and stage.name == "kilning" else None


class Held(NamedTuple):
    """From a reading to the next, or for as long as it holds: then the last is the first."""

    first: Reading
    last: Reading
    until: datetime


def _held(readings: Sequence[Reading], until: datetime, run: Run | None, *, is_only: bool) -> Iterator[Held]:
    """From reading to reading. The last holds for HOLDS_FOR, as does one before a change of heat.

    is_only: there will be no other of this load, and it counts though no time be left.
    """
    for reading, following in zip_longest(readings, readings[1:]):
        changes_at = run.changes_after(reading.at) if run is not None else None
        if following is not None and (changes_at is None or changes_at >= following.at):
            yield Held(reading, following, following.at)
            continue
        ends = (until, reading.at + HOLDS_FOR, changes_at, following.at if following is not None else None)
        held_until = min(end for end in ends if end is not None)
        if held_until > reading.at or is_only:
            yield Held(reading, reading, held_until)


def _pieces(history: History, held: Iterable[Held], of_bed: OfBed) -> list[Piece]:
    """The readings cut where the moisture was determined and where it crosses an edge of the ceiling."""
    moments = [sample.at for sample in determinations(history)]
    pieces: list[Piece] = []
    for each in held:
        start, end, first_c, last_c = each.first.at, each.until, each.first.value or 0.0, each.last.value or 0.0
        inside = moments[bisect.bisect_right(moments, start) : bisect.bisect_left(moments, end)]
        marks = [*dict.fromkeys([start, *inside]), end]
        line = _Line(start, (end - start).total_seconds(), first_c, last_c - first_c)
        moist = _moist(history, each, marks, line, of_bed)
        for (begins, ends), wet_to_dry in zip(pairwise(marks), pairwise(moist), strict=True):
            pieces += _cut(history, begins, ends, wet_to_dry, line)
    return pieces


def _moist(history: History, held: Held, marks: Sequence[datetime], line: _Line, of_bed: OfBed) -> Sequence[float]:
    """At each mark: of the bed; or straight from look to look, where the heat of the layer told it at one of them."""
    bed = [of_bed(moisture_at(history, mark)) for mark in marks]
    first, last = as_read(history, held.first, None, of_bed), as_read(history, held.last, held.until, of_bed)
    if (first, last) == (bed[0], bed[-1]):
        return bed
    return [first + (last - first) * line.share(mark) for mark in marks]


@dataclass(frozen=True)
class _Line:
    start: datetime
    seconds: float
    first_c: float
    rise_c: float

    def share(self, moment: datetime) -> float:
        return (moment - self.start).total_seconds() / self.seconds if self.seconds else 0.0

    def at(self, moment: datetime) -> float:
        return self.first_c + self.share(moment) * self.rise_c


def _cut(
    history: History, start: datetime, end: datetime, wet_to_dry: tuple[float, float], line: _Line
) -> Iterable[Piece]:
    """Cut where the moisture, running straight, crosses an edge of the ceiling."""
    programme = history.programme_at(start)
    wet, dry = wet_to_dry
    cuts = {0.0, 1.0}
    if wet != dry:
        edges = (step.moisture_above_wb for step in (programme.ceiling if programme else ()))
        cuts |= {share for edge in edges if 0.0 < (share := (wet - edge) / (wet - dry)) < 1.0}
    for first, last in pairwise(sorted(cuts)):
        middle = wet + (first + last) / 2 * (dry - wet)
        begins, ends = start + first * (end - start), start + last * (end - start)
        ceiling_c = None if programme is None else programme.ceiling_c(middle)
        yield Piece(begins, ends, line.at(begins), line.at(ends), ceiling_c)


def _exposure(place: str | None, loads: Sequence[LoadAtPlace]) -> KilnExposure:
    hours = degree_hours = measured = 0.0
    spans: list[Span] = []
    for pieces, _, is_going_on in loads:
        above = above_ceiling(pieces)
        hours, degree_hours = hours + above.hours, degree_hours + above.degree_hours
        measured += sum(piece.hours for piece in pieces)
        spans += _spans(pieces, is_going_on)
    readings = tuple(reading for load in loads for reading in load.readings)
    return KilnExposure(place, hours, degree_hours, measured, tuple(spans), readings)


def above_ceiling(pieces: Sequence[Piece]) -> Exposure:
    """Hours and degree-hours above the ceiling over these pieces."""
    if not pieces:
        return Exposure(0.0, 0.0)
    zero = pieces[0].starts_at
    times: list[float] = []
    temperatures: list[float] = []
    ceilings: list[float] = []
    for piece in pieces:
        times += [hours_between(zero, moment) for moment in (piece.starts_at, piece.ends_at)]
        temperatures += [piece.first_c, piece.last_c]
        # Between one piece and the next no time passes: that interval's ceiling has no say.
        ceilings += [math.inf if piece.ceiling_c is None else piece.ceiling_c, math.inf]
    return hours_and_degree_hours_above(times, temperatures, ceilings[:-1])


def _spans(pieces: Sequence[Piece], is_going_on: bool) -> list[Span]:
    """The stretches above the ceiling, those with hardly a gap between them as one."""
    spans: list[Span] = []
    for piece in pieces:
        span = _over(piece)
        if span is None:
            continue
        if spans and span.starts_at - spans[-1].ends_at <= JOINED_GAP:
            spans[-1] = _joined(spans[-1], span)
        else:
            spans.append(span)
    if spans and is_going_on and pieces and spans[-1].ends_at >= pieces[-1].ends_at:
        spans[-1] = replace(spans[-1], is_going_on=True)
    return spans


def _over(piece: Piece) -> Span | None:
    if piece.ceiling_c is None:
        return None
    first, last = piece.first_c - piece.ceiling_c, piece.last_c - piece.ceiling_c
    if max(first, last) <= 0.0:
        return None
    crossing = first / (first - last) if min(first, last) < 0.0 else 0.0
    length = piece.ends_at - piece.starts_at
    starts_at = piece.starts_at + crossing * length if first < 0.0 else piece.starts_at
    ends_at = piece.starts_at + crossing * length if last < 0.0 else piece.ends_at
    hours = hours_between(starts_at, ends_at)
    degree_hours = hours * (max(first, 0.0) + max(last, 0.0)) / 2.0
    worst = max(first, last)
    return Span(starts_at, ends_at, degree_hours, worst, piece.ceiling_c + worst, piece.ceiling_c)


def _joined(first: Span, second: Span) -> Span:
    worst = max(first, second, key=lambda span: span.worst_excess_c)
    return Span(
        first.starts_at,
        second.ends_at,
        first.degree_hours + second.degree_hours,
        worst.worst_excess_c,
        worst.worst_c,
        worst.worst_ceiling_c,
    )
