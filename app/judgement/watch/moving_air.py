"""Whether air moves through grain on the kiln, as far as the facts tell: in it warm wet grain dries, and is no heap."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from app.judgement.facts.shapes import Action, Reading
from app.judgement.history.history import History
from app.judgement.history.stages import Stage

Stretch = tuple[datetime, datetime]

ON_THE_KILN = ("kilning", "cooling")
RESTART_AIR = ("loaded", "heat_on", "resumed", "set_point")
READ_IN_MOVING_AIR = ("air_on_temperature", "air_off_temperature")
"""Air into the grain and out of it: who reads it has it moving, heated or not."""


def still_stretches(history: History, stage: Stage, until: datetime) -> list[Stretch]:
    """The stretches of a stage, up to a moment, in which nothing tells that air moves, in order.

    On the kiln it moves from the heat on, or from the first reading of the air or its flow; off the heat, cold air goes
    on through it. A pause, an interruption (as by a power cut or a fan that failed) and a flow of nought stop it, until
    the end that was written down, or until something says that it goes again.
    """
    if stage.name not in ON_THE_KILN:
        return [(stage.starts_at, until)]
    blown_at = _blown_at(history, stage, until) if stage.name == "kilning" else stage.starts_at
    stretches = [(stage.starts_at, blown_at)]
    for start, end in _stops(history, until):
        # What stood before the air moved is told already, and one stop may lie in another.
        begins = max(start, stretches[-1][1])
        stretches.append((begins, max(begins, min(end, until))))
    return [(start, end) for start, end in stretches if start < end]


def _blown_at(history: History, stage: Stage, until: datetime) -> datetime:
    told = history.of_kind("heat_on", "set_point", *READ_IN_MOVING_AIR)
    flows = (reading for reading in history.readings("air_flow") if reading.value)
    return min([*(fact.at for fact in (*told, *flows) if fact.at >= stage.starts_at), until])


def _stops(history: History, until: datetime) -> Iterator[Stretch]:
    for fact in history.of_kind("paused", "interruption", "air_flow"):
        if fact.at >= until or (isinstance(fact, Reading) and fact.value != 0.0):
            continue
        ended_at = fact.until_at if isinstance(fact, Action) else None
        yield fact.at, ended_at or _goes_again_at(history, fact.at, until)


def _goes_again_at(history: History, since: datetime, until: datetime) -> datetime:
    told = (fact.at for fact in history.of_kind(*RESTART_AIR) if fact.at > since)
    flows = (reading.at for reading in history.readings("air_flow") if reading.value and reading.at > since)
    return min([*told, *flows, until])
