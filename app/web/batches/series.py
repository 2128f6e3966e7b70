"""A probe's long series in the record: told in one line, for a page of ten-minute readings tells nobody anything."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Reading
from app.judgement.history.superseding import Chain
from app.judgement.wording import Words

FEWEST = 12
MEAN_GAP = timedelta(minutes=25)


@dataclass(frozen=True)
class Series:
    """Readings of one kind, place and instrument, close after one another."""

    readings: tuple[Reading, ...]

    @property
    def first(self) -> Reading:
        return self.readings[0]

    def value(self, words: Words) -> str:
        """From the lowest to the highest."""
        values = [reading.value for reading in self.readings if reading.value is not None]
        dimension = KINDS[self.first.kind].dimension
        return f"{words.quantity(dimension, min(values))} to {words.quantity(dimension, max(values))}"

    def clock(self, words: Words) -> str:
        return f"{words.clock(self.first.at)} to {words.clock(self.readings[-1].at)}"


def series_of(chains: Iterable[Chain]) -> dict[str, Series]:
    """The series among these facts, by the id of every reading in it. What was corrected or has a note stands alone."""
    grouped: dict[tuple[str | None, ...], list[Reading]] = {}
    for chain in chains:
        fact = chain.standing
        if len(chain.facts) == 1 and isinstance(fact, Reading) and fact.value is not None and not fact.note:
            grouped.setdefault((fact.kind, fact.place, fact.instrument, fact.person), []).append(fact)
    found: dict[str, Series] = {}
    for readings in grouped.values():
        if _is_series(readings):
            series = Series(tuple(sorted(readings, key=lambda each: each.at)))
            found |= {reading.id: series for reading in readings}
    return found


def _is_series(readings: Sequence[Reading]) -> bool:
    if len(readings) < FEWEST:
        return False
    times = [reading.at for reading in readings]
    return (max(times) - min(times)) / (len(times) - 1) <= MEAN_GAP
