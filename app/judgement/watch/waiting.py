"""Wet grain on the kiln without heat: from when it waits, and what was read of it meanwhile."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact, Reading
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import WEIGHED_DRY, fired_at, run_at, runs, tells_of_heat
from app.judgement.history.stages import Stage
from app.judgement.malt.dryness import GREEN_WB
from app.judgement.programmes.programme import Limit

WAITING_H = Limit(high_caution=2.0, high_act=4.0, unit="h", mark="M", source="from memory")
COOL_C = 18.0
"""Grain no warmer than this has not begun to heat by itself, from memory: from such a look on the hours count anew."""

READ_BEFORE = timedelta(hours=6)


@dataclass(frozen=True)
class Waiting:
    """fact: what it was loaded or broken off with. ends_at None: it still waits. warm: the readings above COOL_C."""

    fact: Fact
    starts_at: datetime
    ends_at: datetime | None
    warm: Sequence[Reading]

    @property
    def is_of_loading(self) -> bool:
        return self.fact.kind == "loaded"


def waits(batch: BatchAt) -> Iterator[Waiting]:
    """Every time that green malt waited: first for the first heat of each load, then for heat that was broken off."""
    for stage in batch.stages_named("kilning"):
        loaded = batch.history.by_id(stage.fact_id)
        if loaded is not None and loaded.kind == "loaded":
            yield _for_first_heat(batch, stage, loaded)
    for run in runs(batch.history):
        for gap in run.gaps:
            fact = batch.history.by_id(gap.fact_id)
            if (
                fact is not None
                and fact.kind != "loaded"
                and gap.starts_at <= batch.now
                and _is_wet(batch, gap.starts_at)
            ):
                ends_at = gap.ends_at if gap.ends_at is not None and gap.ends_at <= batch.now else None
                yield _waiting(batch, fact, gap.starts_at, ends_at, gap.starts_at)


def waiting_now(batch: BatchAt) -> Waiting | None:
    return next((wait for wait in waits(batch) if wait.ends_at is None), None)


def is_heat_off(history: History, now: datetime) -> bool:
    """Whether the heat was broken off, and nothing says when it comes back."""
    run = run_at(history, now)
    gap = run.gap_at(now) if run is not None and run.covers(now) else None
    return gap is not None and gap.ends_at is None


def _is_wet(batch: BatchAt, moment: datetime) -> bool:
    moisture = batch.moisture_at(moment)
    return moisture is None or moisture.upper > GREEN_WB


def _for_first_heat(batch: BatchAt, stage: Stage, loaded: Fact) -> Waiting:
    """Warm grain alone is no proof that the kiln was lit; where nobody read the grain, a fact that implies heat is."""
    fired = fired_at(batch.history, stage, batch.end_of(stage)) or stage.ends_at
    waiting = _waiting(batch, loaded, stage.starts_at, fired, stage.starts_at - READ_BEFORE)
    if waiting.warm:
        return waiting
    inside = batch.within(batch.history.facts, stage.starts_at, fired or batch.now)
    heated = next((fact for fact in inside if tells_of_heat(fact, stage.starts_at)), None)
    if heated is None:
        return replace(waiting, ends_at=fired)
    # A weighing tells that it was heated, and not since when: of no hour is it known that it waited.
    ends_at = stage.starts_at if heated.kind in WEIGHED_DRY else heated.at
    return Waiting(loaded, min(waiting.starts_at, ends_at), ends_at, ())


def _waiting(batch: BatchAt, fact: Fact, starts_at: datetime, ends_at: datetime | None, since: datetime) -> Waiting:
    read = [reading for reading in batch.history.readings("grain_temperature") if reading.value is not None]
    read = list(batch.within(read, since, ends_at or batch.now))
    warm = [each for each in read if (each.value or 0.0) > COOL_C]
    if warm and (read[-1] is warm[-1] or warm[-1].at >= starts_at):
        return Waiting(fact, starts_at, ends_at, warm)
    return Waiting(fact, max([starts_at, *(each.at for each in read)]), ends_at, ())
