"""One measure of a batch, and what every measure is worked out from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from itertools import pairwise
from typing import Any

from app.judgement.facts.shapes import Reading
from app.judgement.history.history import History
from app.judgement.history.stages import Stage, stages
from app.judgement.measures.account import Account, account

USABLE = frozenset({"measured", "estimated"})
ONE_LOOK = timedelta(minutes=15)


@dataclass(frozen=True)
class Measure:
    """A measure. value None: not known (yet), and the note says why. unit: as in Limit.unit, or kg, count, c_h,
    ratio, colour, diastatic_power, falling_number.

    half_width: of the 95 % interval, None where nothing tells it; low, high: its ends, where it is lopsided.
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


@dataclass(frozen=True)
class View:
    """A batch as it was known at a moment."""

    history: History
    now: datetime

    @cached_property
    def stages(self) -> list[Stage]:
        return stages(self.history, self.now)

    @cached_property
    def account(self) -> Account:
        return account(self.history, self.now)

    def of(self, *names: str) -> list[Stage]:
        return [stage for stage in self.stages if stage.name in names]

    def hours(self, *names: str) -> float | None:
        """Hours in these stages so far; None where none of them has begun."""
        found = self.of(*names)
        return sum(stage.hours(self.now) for stage in found) if found else None

    def is_in(self, *names: str) -> bool:
        """Whether one of these stages is going on."""
        return bool(self.stages) and self.stages[-1].name in names

    def readings_in(self, kind: str, *names: str) -> list[list[Reading]]:
        """The readings of a kind in each stage of these names that has any."""
        spans = [(stage.starts_at, stage.ends_at or self.now) for stage in self.of(*names)]
        known = [each for each in self.history.readings(kind) if each.quality in USABLE]
        found = [[each for each in known if start <= each.at <= end] for start, end in spans]
        return [each for each in found if each]

    def judged(self, measure: Measure, limit_key: str, scale: float = 1.0) -> Measure:
        """The measure with where it lies against the programme's limit."""
        programme = self.history.programme_at(self.now)
        limit = programme.limit(limit_key) if programme else None
        if limit is None or measure.value is None:
            return measure
        verdict = limit.judge(measure.value * scale)
        return replace(measure, position=verdict.position, severity=verdict.severity)


def mean_over_time(view: View, kind: str, *names: str) -> tuple[float, int] | None:
    """The mean of a temperature over stages, and the number of readings.

    Readings of one look (top, middle, bottom) are averaged first; each look then counts for the time nearer to it
    than to any other, so that a night without readings weighs as a night.
    """
    total = weight = 0.0
    n = 0
    known = [each for each in view.history.readings(kind) if each.quality in USABLE and each.value is not None]
    for stage in view.of(*names):
        start, end = stage.starts_at, stage.ends_at or view.now
        inside = [each for each in known if start <= each.at <= end]
        looks = _looks(inside)
        n += len(inside)
        for (_, value), hours in zip(looks, _cells([at for at, _ in looks], start, end), strict=True):
            # A stage that has only just begun has no hours yet, and its first reading counts all the same.
            total, weight = total + value * max(hours, 1e-6), weight + max(hours, 1e-6)
    return (total / weight, n) if n else None


def _looks(readings: Iterable[Reading]) -> list[tuple[datetime, float]]:
    groups: list[list[Reading]] = []
    for each in readings:
        if groups and each.at - groups[-1][0].at <= ONE_LOOK:
            groups[-1].append(each)
        else:
            groups.append([each])
    return [(group[0].at, sum(each.value or 0.0 for each in group) / len(group)) for group in groups]


def _cells(moments: Sequence[datetime], start: datetime, end: datetime) -> list[float]:
    """The hours that lie nearer to each moment than to the others."""
    if not moments:
        return []
    middles = [before + (after - before) / 2 for before, after in pairwise(moments)]
    edges = [start, *middles, end]
    return [(after - before).total_seconds() / 3600.0 for before, after in pairwise(edges)]


def highest(groups: Sequence[Sequence[Reading]]) -> tuple[float, int] | None:
    """The highest value read, or remembered by a max-min thermometer; and the number of readings."""
    values = [value for group in groups for each in group for value in (each.value, each.highest) if value is not None]
    return (max(values), sum(len(group) for group in groups)) if values else None
