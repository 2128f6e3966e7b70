"""The stages of a batch, derived from the facts that start them."""

from __future__ import annotations

import bisect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import NamedTuple, TypeVar

from app.judgement.facts.kinds import STAGE_KINDS
from app.judgement.facts.shapes import Fact
from app.judgement.history.history import History, hours_between
from app.judgement.programmes.programme import Programme

FactType = TypeVar("FactType", bound=Fact)
EVER = datetime.min.replace(tzinfo=UTC)
ENDED = frozenset({"finished", "abandoned"})
WORDS = {
    "charged": "charged",
    "immersion": "under water",
    "air_rest": "air rest",
    "germination": "germination",
    "stewing": "stewing",
    "kilning": "on the kiln",
    "cooling": "cooling",
    "finished": "finished",
    "abandoned": "abandoned",
}


@dataclass(frozen=True)
class Stage:
    """A stretch of the batch. ends_at None: it is going on. ordinal: the how-many-th of its name, from 1."""

    name: str
    starts_at: datetime
    ends_at: datetime | None
    fact_id: str
    ordinal: int = 1

    def hours(self, now: datetime) -> float:
        """Hours so far, or in all once it has ended."""
        return hours_between(self.starts_at, self.ends_at or now)

    def covers(self, moment: datetime) -> bool:
        return self.starts_at <= moment and (self.ends_at is None or moment < self.ends_at)

    @property
    def word(self) -> str:
        return WORDS[self.name]


def stages(history: History, now: datetime) -> list[Stage]:
    """The stages up to now, in order. The same stage twice in a row is one stage; facts after now have no say yet."""
    told = all_stages(history)
    if not told or told[-1].starts_at <= now:
        return told
    begun = [stage for stage in told if stage.starts_at <= now]
    if begun and begun[-1].name not in ENDED:
        begun[-1] = replace(begun[-1], ends_at=None)
    return begun


def all_stages(history: History) -> list[Stage]:
    """The stages as the facts tell them, whatever the time is; worked out once for each History."""
    return history.once(_stages)


def _stages(history: History) -> list[Stage]:
    starts: list[tuple[str, datetime, str]] = []
    for fact in history.facts:
        name = STAGE_KINDS.get(fact.kind)
        if name is None or (starts and starts[-1][0] == name) or (name == "charged" and starts):
            continue
        starts.append((name, fact.at, fact.id))
    told: list[Stage] = []
    seen: dict[str, int] = {}
    for place, (name, starts_at, fact_id) in enumerate(starts):
        seen[name] = seen.get(name, 0) + 1
        is_last = place + 1 == len(starts)
        ends_at = (starts_at if name in ENDED else None) if is_last else starts[place + 1][1]
        told.append(Stage(name, starts_at, ends_at, fact_id, seen[name]))
    return told


def stage_at(past: Sequence[Stage], moment: datetime) -> Stage | None:
    """The stage that covers the moment: the last that began by then."""
    for stage in reversed(past):
        if stage.starts_at <= moment:
            return stage
    return None


class Section(NamedTuple):
    """A stretch of the batch in one stage and under one programme. stage: None before the first."""

    starts_at: datetime
    stage: Stage | None
    programme: Programme | None


def sections(history: History, told: Sequence[Stage]) -> list[Section]:
    """From ever to ever, in order. told: the stages."""
    changes = {fact.at for fact in history.of_kind("programme_change")}
    starts = [EVER, *sorted({stage.starts_at for stage in told} | changes)]
    return [Section(start, stage_at(told, start), history.programme_at(start)) for start in starts]


def by_section(among: Sequence[Section], facts: Sequence[FactType]) -> Iterator[tuple[Section, Sequence[FactType]]]:
    """Facts in order of time, by the section that they lie in; only those that have any."""
    times = [fact.at for fact in facts]
    places = [bisect.bisect_left(times, section.starts_at) for section in among]
    for section, (start, end) in zip(among, pairwise([*places, len(facts)]), strict=True):
        if start < end:
            yield section, facts[start:end]


def is_live(past: Sequence[Stage]) -> bool:
    return not past or past[-1].name not in ENDED


def planned_place(programme: Programme, begun: list[Stage]) -> int | None:
    """Which stretch of the plan the batch is in: by the name of its stage and how many of that name there were."""
    current = begun[-1]
    names = [planned.stage for planned in programme.planned_stages()]
    places = [place for place, name in enumerate(names) if name == current.name]
    if not places:
        return None
    return places[min(current.ordinal, len(places)) - 1]
