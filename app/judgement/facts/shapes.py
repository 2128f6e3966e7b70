"""What happened: one frozen dataclass for each shape of fact. The kinds of each shape are listed in kinds.py.

A fact is never changed. Masses are kg, temperatures °C, moisture and humidity fractions, moments aware UTC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from types import MappingProxyType
from typing import NamedTuple

NOTHING: Mapping[str, str] = MappingProxyType({})
NONE_BESIDE: Mapping[str, float] = MappingProxyType({})


class Subject(NamedTuple):
    """What a fact is about: type is batch, lot, pack, vessel, instrument or house."""

    type: str
    id: str


@dataclass(frozen=True, kw_only=True)
class Fact:
    """What every fact carries, whatever its shape."""

    id: str
    kind: str
    subject: Subject
    earliest_at: datetime
    latest_at: datetime
    seq: int | None = None
    written_at: datetime | None = None
    received_at: datetime | None = None
    clock: str = "typed"
    clock_offset_s: float | None = None
    place: str | None = None
    instrument: str | None = None
    person: str | None = None
    entered_by: str | None = None
    method: str | None = None
    quality: str = "measured"
    note: str | None = None
    device: str | None = None
    supersedes_id: str | None = None
    v: int = 1
    typed: Mapping[str, str] = field(default_factory=lambda: NOTHING, compare=False)

    @cached_property
    def at(self) -> datetime:
        """The instant, or the middle of the span in which it happened; asked thousands of times for each page."""
        if self.earliest_at == self.latest_at:
            return self.earliest_at
        return self.earliest_at + (self.latest_at - self.earliest_at) / 2

    @property
    def is_range(self) -> bool:
        return self.earliest_at != self.latest_at


@dataclass(frozen=True, kw_only=True)
class StageChange(Fact):
    """The batch moved on: water on, water off, cast, loaded ... A programme change names the new revision."""

    programme: str | None = None


@dataclass(frozen=True, kw_only=True)
class Reading(Fact):
    """A quantity read off an instrument; lowest and highest are those of a max-min thermometer since the last look."""

    value: float | None = None
    lowest: float | None = None
    highest: float | None = None
    correction: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Weighing(Fact):
    """A mass, as gross less tare where both were weighed. of_kg: the mass that was looked through for it."""

    net_kg: float
    gross_kg: float | None = None
    tare_kg: float | None = None
    vessel: str | None = None
    of_kg: float | None = None
    moisture_wb: float | None = None


@dataclass(frozen=True, kw_only=True)
class Tally(Fact):
    """Kernels looked at, and how many fell in each class; or their lengths, in kernel lengths."""

    looked_at: int
    counts: Mapping[str, int]
    lengths: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Part(Fact):
    """Grain that went from one thing to another: lot to batch, batch to batch, batch to pack."""

    source: Subject
    target: Subject
    as_is_kg: float
    moisture_wb: float
    dry_kg: float


@dataclass(frozen=True, kw_only=True)
class Result(Fact):
    """The outcome of a test; the kind says of what. beside: what was measured with it, by its name with its unit."""

    value: float
    beside: Mapping[str, float] = field(default_factory=lambda: NONE_BESIDE)


@dataclass(frozen=True, kw_only=True)
class Analysis(Fact):
    """A sheet of figures, any of which may be missing. found: each by its name with its unit."""

    found: Mapping[str, float] = field(default_factory=lambda: NONE_BESIDE)


@dataclass(frozen=True, kw_only=True)
class Action(Fact):
    """Something done, or something that broke off the work."""

    amount: float | None = None
    what: str | None = None
    until_at: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Remark(Fact):
    """What was seen, smelt, or declared. findings: aspect -> yes, no, not_sure, or a word of its choice list."""

    findings: Mapping[str, str] = field(default_factory=lambda: NOTHING)
    text: str | None = None
    ergot_kg: float | None = None


@dataclass(frozen=True, kw_only=True)
class Answer(Fact):
    """A person's answer to a flag: which rule, and the first fact of the episode it answers."""

    rule: str
    episode_id: str
    answer: str
    severity: str
    until_at: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Withdrawal(Fact):
    """Strikes out the fact it supersedes."""

    reason: str | None = None


SHAPES: Mapping[str, type[Fact]] = MappingProxyType(
    {
        "stage": StageChange,
        "reading": Reading,
        "weighing": Weighing,
        "tally": Tally,
        "part": Part,
        "result": Result,
        "analysis": Analysis,
        "action": Action,
        "remark": Remark,
        "answer": Answer,
        "withdrawal": Withdrawal,
    }
)
