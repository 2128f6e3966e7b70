"""The beds on the floor, each with its own turns; and where each is going: how fast it has warmed since it was last
turned, and when it comes to a limit.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import zip_longest

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact, Reading
from app.judgement.forecasts.course import is_usable
from app.judgement.history.history import History, by_place, hours_between
from app.judgement.history.stages import Stage
from app.science.left_alone import Warming, hours_to_limit, warming

LEAST_APART = timedelta(hours=1, minutes=30)
"""Two readings nearer together tell the thermometer and not the bed: common practice."""

OLD_AFTER = timedelta(hours=12)
"""A reading older than this tells nothing of the bed now: as the flag for a warm bed that nobody read."""

SURE_SDS = 1.3
THIN_M, COLD_C = 0.10, 14.0
"""From memory: a bed no deeper than 10 cm and no warmer than 14 °C loses its heat by itself."""

COLD_READ = timedelta(hours=14)


@dataclass(frozen=True)
class BedAhead:
    """One place of a bed. readings: those since it was last turned that its line goes through."""

    place: str | None
    readings: tuple[Reading, ...]
    line: Warming

    @property
    def last_at(self) -> datetime:
        return self.readings[-1].at

    @property
    def is_warming(self) -> bool:
        """Its slope is above nought by more than 1.3 standard errors, as nine of ten would be if it were so."""
        return self.line.per_h > SURE_SDS * self.line.per_h_sd

    def reaches(self, limit_c: float) -> datetime | None:
        """When it comes to a limit if it goes on like this; None where it doesn't warm, or is there already."""
        if not self.is_warming or self.line.level_c >= limit_c:
            return None
        hours = hours_to_limit(self.line.level_c, limit_c, self.line.per_h)
        return None if hours is None else self.last_at + timedelta(hours=hours)

    def soonest(self, limit_c: float) -> datetime | None:
        """The earliest that it comes to a limit, by the 80 % interval."""
        fast = self.line.per_h + SURE_SDS * self.line.per_h_sd
        level = min(self.line.level_c + SURE_SDS * self.line.level_sd, limit_c)
        hours = hours_to_limit(level, limit_c, fast)
        return None if hours is None else self.last_at + timedelta(hours=hours)


def beds_ahead(batch: BatchAt) -> list[BedAhead]:
    """Each place that was read at two times since it was turned in this stage, and not too long ago."""
    return batch.once(_beds_ahead)


def _beds_ahead(batch: BatchAt) -> list[BedAhead]:
    if batch.stage is None:
        return []
    now, stage, beds = batch.now, batch.stage, []
    turned = {bed.key: bed.since for bed in beds_of(batch.history, stage, now)}
    inside = batch.within(batch.history.readings("grain_temperature"), stage.starts_at, now)
    for place, read in by_place(filter(is_usable, inside)).items():
        since = turned.get(bed_key(place), max(turned.values()))
        readings = [reading for reading in read if reading.at >= since]
        if readings and readings[-1].at - readings[0].at >= LEAST_APART and now - readings[-1].at <= OLD_AFTER:
            hours = [hours_between(since, reading.at) for reading in readings]
            line = warming(hours, [reading.value or 0.0 for reading in readings])
            beds.append(BedAhead(place, tuple(readings), line))
    return beds


SPOTS = frozenset({
    "the", "bed", "of", "at", "in", "top", "upper", "middle", "centre", "center", "core", "bottom", "lower", "surface",
    "corner", "edge", "side",
})  # fmt: skip
"""Words of a place that say where in a bed it is, and not in which."""

SIDES = frozenset({"left", "right", "front", "back", "rear", "near", "far", "north", "south", "east", "west", "end",
                   "wall", "door", "window", "half"})  # fmt: skip
"""Such words too, unless the word "bed" follows: a house may call one its left bed."""


@dataclass(frozen=True)
class Bed:
    """A bed as the house names it; key and name are empty of the only one. turns: how it began, then each turn.

    since: the last of them.
    """

    key: str
    name: str
    turns: tuple[Fact, ...]
    since: datetime


@lru_cache(maxsize=512)
def bed_key(place: str | None) -> str:
    """What names the bed in a place: "a" of "Bed A, middle", "left" of "left bed"; nothing of "middle" or "left", which
    are of any.
    """
    words = _naming(place or "")
    return "" if {"probe", "sensor"} & set(words) else " ".join(word for word in words if word != "bed")


def _naming(place: str) -> list[str]:
    """The words of a place that name a bed, "bed" among them where another does."""
    words = re.findall(r"[^\s,;/()]+", place.casefold())
    said = [
        word
        for word, after in zip_longest(words, words[1:])
        if word == "bed" or word not in SPOTS | (SIDES if after != "bed" else frozenset())
    ]
    return said if set(said) != {"bed"} else []


def is_of_bed(place: str | None, key: str) -> bool:
    """Whether what was done or seen at a place was so of a bed: where no bed is named, it is of all."""
    return not key or bed_key(place) in ("", key)


def beds_of(history: History, stage: Stage, until: datetime) -> list[Bed]:
    """The beds that turns and temperatures of a stage name, or the one of which nothing need be said."""
    begun, turned = history.by_id(stage.fact_id), history.of_kind("turned")
    read = history.readings("grain_temperature")
    named: dict[str, str] = {}
    for fact in (*turned, *read):
        key = bed_key(fact.place) if stage.starts_at <= fact.at <= until else ""
        if key:
            shortest = min(named.get(key, fact.place or ""), fact.place or "", key=len)
            named[key] = shortest
    turns = [*([begun] if begun else []), *(fact for fact in turned if stage.starts_at <= fact.at <= until)]
    beds = []
    for key, place in sorted(named.items()) if len(named) > 1 else [("", "")]:
        own = tuple(fact for fact in turns if fact is begun or is_of_bed(fact.place, key))
        beds.append(Bed(key, _name(place), own, own[-1].at if own else stage.starts_at))
    return beds


def _name(place: str) -> str:
    """The bed in a place as it was written: "bed A" of "bed A middle"."""
    naming = _naming(place)
    return " ".join(word for word in re.findall(r"[^\s,;/()]+", place) if word.casefold() in naming)


def next_to_turn(history: History, stage: Stage, now: datetime) -> Bed:
    """The bed that was turned the longest ago; the first that needs it."""
    beds = [bed for bed in beds_of(history, stage, now) if not is_cold_and_thin(history, now, bed.key)]
    return min(beds or beds_of(history, stage, now), key=lambda bed: bed.since)


def is_cold_and_thin(history: History, moment: datetime, bed: str = "") -> bool:
    """Whether a bed, or the one read last, lies so thin and so cold that it needs no turning for its heat."""
    depth, warmth = (
        history.last_before(moment, [each for each in history.readings(kind) if is_of_bed(each.place, bed)])
        for kind in ("bed_depth", "grain_temperature")
    )
    if depth is None or warmth is None or depth.value is None or warmth.value is None:
        return False
    return depth.value <= THIN_M and warmth.value <= COLD_C and moment - warmth.at <= COLD_READ
