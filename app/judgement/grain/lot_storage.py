"""How much of its storage life a lot has used: an estimate from its moistures and an assumed temperature."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import NamedTuple

from app.judgement.facts.shapes import Result, Weighing
from app.judgement.history.history import LotInfo
from app.science import storage_life

ASSUMED_STORE_C = 15.0
"""Mean temperature of a store that nobody measures: from memory."""


class Period(NamedTuple):
    """A stretch of the store at one moisture: its days, and how long grain keeps like that."""

    days: float
    moisture_wb: float
    life: storage_life.Bracket


@dataclass(frozen=True)
class StorageUse:
    """used: fraction of the life that has gone since intake, by the method that gives it the longer life and by the one
    that gives it the shorter; left_days: at the moisture and temperature of now, by the shorter and the longer.

    is_moisture_known: False for the time before the first moisture was known, for which the first one was taken.
    """

    used: tuple[float, float]
    left_days: tuple[float, float]
    temperature_c: float
    moisture_wb: float
    is_moisture_known: bool
    periods: tuple[Period, ...] = ()


def storage_use(lot: LotInfo, at: datetime, temperature_c: float = ASSUMED_STORE_C) -> StorageUse | None:
    """The storage life used up from intake to a moment; None where no moisture or no intake is known, or the grain is
    wetter than the tables go.
    """
    came_in = [fact.at for fact in lot.facts if fact.kind == "intake" and fact.at <= at]
    moistures = [(each, value) for each, value in _moistures(lot) if each <= at]
    if not came_in or not moistures:
        return None
    starts = [came_in[0], *(each for each, _ in moistures if each > came_in[0]), at]
    before = [value for each, value in moistures if each <= came_in[0]]
    values = [before[-1] if before else moistures[0][1], *(value for each, value in moistures if each > came_in[0])]
    try:
        lives = [_life_days(lot.species, value, temperature_c) for value in values]
    except ValueError:
        return None
    days = [max((end - start).total_seconds() / 86400.0, 0.0) for start, end in pairwise(starts)]
    most = storage_life.fraction_used(days, [life.low_days for life in lives])
    least = storage_life.fraction_used(days, [life.high_days for life in lives])
    left = (
        storage_life.remaining_days(most, lives[-1].low_days),
        storage_life.remaining_days(least, lives[-1].high_days),
    )
    periods = tuple(map(Period, days, values, lives))
    return StorageUse((least, most), left, temperature_c, values[-1], bool(before), periods)


def _moistures(lot: LotInfo) -> list[tuple[datetime, float]]:
    moistures = []
    for fact in lot.facts:
        if isinstance(fact, Result) and fact.kind == "moisture_test":
            moistures.append((fact.at, fact.value))
        elif isinstance(fact, Weighing) and fact.kind == "intake" and fact.moisture_wb is not None:
            moistures.append((fact.at, fact.moisture_wb))
    return moistures


def _life_days(species: str, moisture_wb: float, temperature_c: float) -> storage_life.Bracket:
    """Of barley the time in which it keeps its germination, as far as that is tabulated; else that of cereals."""
    if species == "barley" and moisture_wb <= 0.17:
        return storage_life.malting_bracket_days(100.0 * moisture_wb, temperature_c)
    days = storage_life.storage_life_days(100.0 * moisture_wb, temperature_c)
    return storage_life.Bracket(days, days)
