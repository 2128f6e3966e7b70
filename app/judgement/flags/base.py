"""What a flag is, how one is raised, and what a rule is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import NamedTuple

from app.judgement.batch_at import BatchAt
from app.judgement.cautions import Caution
from app.judgement.facts.shapes import Fact
from app.judgement.flags.wording import render
from app.judgement.programmes.programme import Limit, provenance

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
    side: of what it is beyond, high or low.
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
    side: str = ""
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
    def has_ended(self) -> bool:
        return self.ends_at is not None

    def overlaps(self, other: Flag) -> bool:
        """Whether the two held at one time, ends included."""
        begins, ends = max(self.starts_at, other.starts_at), (self.ends_at, other.ends_at)
        return all(end is None or end >= begins for end in ends)


def raised(
    batch: BatchAt,
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
    side: str = "",
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
        episode_id=batch.whole.root_id(facts[0].id),
        fact_ids=tuple(fact.id for fact in facts),
        message=message,
        source=source,
        caution=caution,
        worst=worst,
        side=side,
        unit=unit,
        place=place,
        cause=cause,
    )


Check = Callable[[BatchAt], Iterable[Flag]]


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
