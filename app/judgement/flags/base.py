"""What a flag is, and the case that every rule looks at."""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import NamedTuple, TypeVar

from app.judgement.cautions import Caution
from app.judgement.facts.shapes import Fact, Reading, Weighing
from app.judgement.flags.wording import render
from app.judgement.forecasts.moisture import Estimate, moisture_at, tray_start
from app.judgement.history.history import History
from app.judgement.history.stages import ENDED, Stage, stages
from app.judgement.programmes.programme import Limit, Programme, provenance
from app.judgement.watch.moving_air import Stretch, still_stretches

FactType = TypeVar("FactType", bound=Fact)
SEVERITIES = ("notice", "caution", "act")
RANK = {name: rank for rank, name in enumerate(SEVERITIES)}
SEVERITY_WORDS = {"notice": "notice", "caution": "caution", "act": "act now"}


class Message(NamedTuple):
    """What a flag says: what is the matter with its figures, what it means, what to do."""

    title: str
    meaning: str
    remedy: str


@dataclass(frozen=True, kw_only=True)
class Flag:
    """Something that a person should know of. Computed from the facts, never stored.

    ends_at None: it still holds. episode_id: the root of the fact that opened the episode; with the rule it names the
    flag to answers. unit: what worst is in, a name as in Limit.unit. cause: what several rules may see at one time, of
    which one flag is enough; stands_for: the others that this one speaks for, as (rule, episode_id). system: of units.
    """

    rule: str
    severity: str
    starts_at: datetime
    ends_at: datetime | None
    episode_id: str
    fact_ids: tuple[str, ...]
    message: Message
    source: str
    caution: Caution | None = None
    worst: float | None = None
    unit: str = ""
    place: str | None = None
    cause: str = ""
    stands_for: tuple[tuple[str, str], ...] = ()
    system: str = "metric"

    @property
    def title(self) -> str:
        return render(self.message.title, self.system)

    @property
    def meaning(self) -> str:
        return render(self.message.meaning, self.system)

    @property
    def remedy(self) -> str:
        return render(self.message.remedy, self.system)

    def in_units(self, system: str) -> Message:
        """Title, meaning and remedy with their figures in metric or us units."""
        return Message(*(render(text, system) for text in self.message))

    @property
    def rank(self) -> int:
        return RANK[self.severity]

    @property
    def key(self) -> tuple[str, str]:
        return (self.rule, self.episode_id)

    @property
    def severity_word(self) -> str:
        return SEVERITY_WORDS[self.severity]

    @property
    def has_ended(self) -> bool:
        return self.ends_at is not None

    def overlaps(self, other: Flag) -> bool:
        """Whether the two held at one time, ends included."""
        begins, ends = max(self.starts_at, other.starts_at), (self.ends_at, other.ends_at)
        return all(end is None or end >= begins for end in ends)


@dataclass(frozen=True)
class Case:
    """A batch as the rules see it: its history up to now, without facts that look like slips and wait for an answer.

    whole: the history as it was given, with facts of the future; doubted: the facts that look like slips.
    """

    history: History
    whole: History
    now: datetime
    doubted: tuple[Fact, ...] = ()

    @cached_property
    def stages(self) -> list[Stage]:
        return stages(self.history, self.now)

    @cached_property
    def _starts(self) -> list[datetime]:
        return [stage.starts_at for stage in self.stages]

    def stage_at(self, moment: datetime) -> Stage | None:
        place = bisect.bisect_right(self._starts, moment)
        return self.stages[place - 1] if place else None

    @property
    def stage(self) -> Stage | None:
        return self.stages[-1] if self.stages else None

    @cached_property
    def is_live(self) -> bool:
        return not self.stages or self.stages[-1].name not in ENDED

    @cached_property
    def ended_at(self) -> datetime | None:
        return None if self.is_live else self.stages[-1].starts_at

    def stages_named(self, *names: str) -> list[Stage]:
        return [stage for stage in self.stages if stage.name in names]

    def programme_at(self, moment: datetime) -> Programme | None:
        return self.history.programme_at(moment)

    @cached_property
    def _still(self) -> dict[str, list[Stretch]]:
        return {}

    def still_stretches(self, stage: Stage) -> list[Stretch]:
        """The stretches of a stage in which no air moves through the grain."""
        if stage.fact_id not in self._still:
            self._still[stage.fact_id] = still_stretches(self.history, stage, self.end_of(stage))
        return self._still[stage.fact_id]

    @cached_property
    def _tray_starts(self) -> dict[str, Weighing | None]:
        return {}

    def tray_start(self, weighing: Weighing) -> Weighing | None:
        """The first weighing of this tray since its grain was loaded."""
        if weighing.id not in self._tray_starts:
            self._tray_starts[weighing.id] = tray_start(self.history, weighing)
        return self._tray_starts[weighing.id]

    @cached_property
    def _moistures(self) -> dict[datetime, Estimate | None]:
        return {}

    def moisture_at(self, moment: datetime) -> Estimate | None:
        """The moisture known or estimated of a moment: several rules ask for the same ones."""
        if moment not in self._moistures:
            self._moistures[moment] = moisture_at(self.history, moment)
        return self._moistures[moment]

    def end_of(self, stage: Stage) -> datetime:
        """The end of a stage, or now while it goes on."""
        return stage.ends_at or self.now

    def within(self, facts: Sequence[FactType], starts_at: datetime, ends_at: datetime) -> Sequence[FactType]:
        """Those of the ordered facts that lie between, both ends included."""
        first = bisect.bisect_left(facts, starts_at, key=_at)
        return facts[first : bisect.bisect_right(facts, ends_at, key=_at)]

    def by_place(self, kind: str) -> dict[str | None, list[Reading]]:
        """The readings of one kind that have a value, by place, in order."""
        grouped: dict[str | None, list[Reading]] = {}
        for reading in self.history.readings(kind):
            if reading.value is not None:
                grouped.setdefault(reading.place, []).append(reading)
        return grouped

    def hour_words(self, moment: datetime) -> str:
        return f"h {self.history.hour(moment):.0f}"

    def span_words(self, starts_at: datetime, ends_at: datetime) -> str:
        """The hours of the malthouse clock, such as "h 91–95"."""
        first, last = (f"{self.history.hour(moment):.0f}" for moment in (starts_at, ends_at))
        return f"h {first}" if first == last else f"h {first}–{last}"

    def flag(
        self,
        rule: str,
        severity: str,
        facts: Sequence[Fact],
        message: Message,
        source: str,
        *,
        starts_at: datetime | None = None,
        ends_at: datetime | None = None,
        caution: Caution | None = None,
        worst: float | None = None,
        unit: str = "",
        place: str | None = None,
        cause: str = "",
    ) -> Flag:
        """A flag whose episode was opened by the first of the facts. What came after its end is over at once."""
        begins = starts_at or facts[0].at
        return Flag(
            rule=rule,
            severity=severity,
            starts_at=begins,
            ends_at=None if ends_at is None else max(ends_at, begins),
            episode_id=self.whole.root_id(facts[0].id),
            fact_ids=tuple(fact.id for fact in facts),
            message=message,
            source=source,
            caution=caution,
            worst=worst,
            unit=unit,
            place=place,
            cause=cause,
        )


Check = Callable[[Case], Iterable[Flag]]


@dataclass(frozen=True)
class Rule:
    """One rule: its key, its name on screens, and the check that looks for it."""

    key: str
    word: str
    check: Check


class Overrun(NamedTuple):
    """A stretch that lasted longer than its limit: how grave, the bound crossed, since when, and the bound's source."""

    severity: str
    bound: float
    starts_at: datetime
    source: str


def overrun(limit: Limit | None, since: datetime, lasted: float, hours_each: float = 1.0) -> Overrun | None:
    """Judge how long something lasted, in units of hours_each hours, that began at since."""
    if limit is None:
        return None
    verdict = limit.judge(lasted)
    if verdict.position != "high" or verdict.severity is None or verdict.bound is None:
        return None
    first = min(high for _, _, high in limit.bands() if high is not None)
    starts_at = since + timedelta(hours=first * hours_each)
    return Overrun(verdict.severity, verdict.bound, starts_at, provenance(verdict.mark, verdict.source))


def _at(fact: Fact) -> datetime:
    return fact.at


def hours_between(first: datetime, last: datetime) -> float:
    return (last - first).total_seconds() / 3600.0


def worse(first: str, second: str) -> str:
    return max(first, second, key=RANK.__getitem__)


def one_for_each_cause(flags: Iterable[Flag], leads: Mapping[str, Sequence[str]]) -> list[Flag]:
    """One flag per cause: leads names the rules that tell it best, in order; those that held beside one are left to it.

    The one that stays is as grave as the gravest of them.
    """
    kept = list(flags)
    for cause, rules in leads.items():
        for rule in rules:
            for leader in [flag for flag in kept if flag.cause == cause and flag.rule == rule]:
                kept = _led(kept, leader)
    return kept


def _led(flags: Sequence[Flag], leader: Flag) -> list[Flag]:
    """The flags, with those of the same cause that held beside the leader folded into it."""
    if not any(flag is leader for flag in flags):
        return list(flags)
    same = [flag for flag in flags if flag.cause == leader.cause and flag.rule != leader.rule and flag.overlaps(leader)]
    grave = max((flag.severity for flag in (leader, *same)), key=RANK.__getitem__)
    told = (*leader.stands_for, *(key for flag in same for key in (flag.key, *flag.stands_for)))
    kept = [flag for flag in flags if flag is not leader and all(flag is not other for other in same)]
    return [*kept, replace(leader, severity=grave, stands_for=told)]
