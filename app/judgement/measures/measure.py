"""One measure of a batch, and what several measures are worked out by."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Reading
from app.judgement.history.history import hours_between
from app.science.control_charts import Estimate

USABLE = frozenset({"measured", "estimated"})
ONE_LOOK = timedelta(minutes=15)


@dataclass(frozen=True)
class Measure:
    """A measure. value None: not known (yet), and the note says why. unit: as in Limit.unit, or kg, count, c_h,
    ratio, colour, diastatic_power, falling_number.

    half_width: of the 95 % interval, None where nothing tells it; low, high: its ends, where it is lopsided; freedom:
    degrees of freedom, where it is by the scatter of a few.
    n: kernels, readings or events behind it. position: in, low or high, where the batch's programme sets a limit to it;
    severity: how grave that is.
    """

    key: str
    word: str
    unit: str
    value: float | None = None
    half_width: float | None = None
    n: int | None = None
    is_estimate: bool = False
    note: str = ""
    position: str = ""
    severity: str | None = None
    low: float | None = None
    high: float | None = None
    freedom: int | None = None

    @property
    def estimate(self) -> Estimate | None:
        """The value with its interval; None where nothing tells one."""
        if self.value is None or not self.half_width:
            return None
        low = self.value - self.half_width if self.low is None else self.low
        high = self.value + self.half_width if self.high is None else self.high
        return Estimate(self.value, low, high, self.freedom or math.inf)

    @property
    def is_known(self) -> bool:
        return self.value is not None

    @property
    def is_running(self) -> bool:
        """Whether its value still grows: no end result."""
        return self.note == "so far"

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON values, without those that say nothing."""
        return {
            name: value for name, value in asdict(self).items() if not (value is None or value is False or value == "")
        }

    @classmethod
    def from_dict(cls, content: Mapping[str, Any]) -> Measure:
        return cls(**content)


def hours_in(batch: BatchAt, *names: str) -> float | None:
    """Hours in these stages so far; None where none of them has begun."""
    begun = batch.stages_named(*names)
    return sum(stage.hours(batch.now) for stage in begun) if begun else None


def readings_in(batch: BatchAt, kind: str, *names: str) -> list[list[Reading]]:
    """The usable readings of a kind in each stage of these names that has any."""
    usable = [reading for reading in batch.history.readings(kind) if reading.quality in USABLE]
    by_stage = [batch.within(usable, stage.starts_at, batch.end_of(stage)) for stage in batch.stages_named(*names)]
    return [list(readings) for readings in by_stage if readings]


def judged(batch: BatchAt, measure: Measure, limit_key: str, scale: float = 1.0) -> Measure:
    """The measure with where it lies against the programme's limit."""
    limit = batch.programme.limit(limit_key) if batch.programme else None
    if limit is None or measure.value is None:
        return measure
    verdict = limit.judge(measure.value * scale)
    return replace(measure, position=verdict.position, severity=verdict.severity)


def mean_over_time(batch: BatchAt, kind: str, *names: str) -> tuple[float, int] | None:
    """The mean of a temperature over stages, and the number of readings.

    Readings of one look (top, middle, bottom) are averaged first; each look then counts for the time nearer to it
    than to any other, so that a night without readings weighs as a night.
    """
    looks = looks_over_time(batch, kind, *names)
    weight = sum(hours for _, _, hours in looks)
    mean = sum(value * hours for _, value, hours in looks) / weight if looks else 0.0
    return (mean, sum(len(look) for look, _, _ in looks)) if looks else None


def looks_over_time(batch: BatchAt, kind: str, *names: str) -> list[tuple[list[Reading], float, float]]:
    """Each look in these stages: its readings, their mean, and the hours that it counts for."""
    readings = [
        reading for reading in batch.history.readings(kind) if reading.quality in USABLE and reading.value is not None
    ]
    found: list[tuple[list[Reading], float, float]] = []
    for stage in batch.stages_named(*names):
        start, end = stage.starts_at, batch.end_of(stage)
        looks = _looks(each for each in readings if start <= each.at <= end)
        for look, hours in zip(looks, _cells([look[0].at for look in looks], start, end), strict=True):
            # A stage that has only just begun has no hours yet, and its first reading counts all the same.
            found.append((look, sum(each.value or 0.0 for each in look) / len(look), max(hours, 1e-6)))
    return found


def _looks(readings: Iterable[Reading]) -> list[list[Reading]]:
    groups: list[list[Reading]] = []
    for reading in readings:
        if groups and reading.at - groups[-1][0].at <= ONE_LOOK:
            groups[-1].append(reading)
        else:
            groups.append([reading])
    return groups


def _cells(moments: Sequence[datetime], start: datetime, end: datetime) -> list[float]:
    """The hours that lie nearer to each moment than to the others."""
    if not moments:
        return []
    middles = [before + (after - before) / 2 for before, after in pairwise(moments)]
    edges = [start, *middles, end]
    return [hours_between(before, after) for before, after in pairwise(edges)]


def highest(groups: Sequence[Sequence[Reading]]) -> tuple[float, int] | None:
    """The highest value read, or remembered by a max-min thermometer; and the number of readings."""
    values = [value for group in groups for each in group for value in (each.value, each.highest) if value is not None]
    return (max(values), sum(len(group) for group in groups)) if values else None
