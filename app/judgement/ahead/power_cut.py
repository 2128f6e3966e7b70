"""Power cut: the card of the stage that the batch is in, with how it stands by its own facts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement.ahead.power_cut_cards import BY_STAGE, DRY, DRY_KILN, FLOOR, REST, ROAST, STEEP, Card
from app.judgement.ahead.sleep import sleep
from app.judgement.batch_at import batch_at
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Reading, StageChange
from app.judgement.forecasts.course import is_usable
from app.judgement.forecasts.moisture import Estimate
from app.judgement.history.history import History
from app.judgement.history.stages import Stage
from app.judgement.watch.bed_warming import soonest_without_loss
from app.judgement.watch.watch import Watch, clock_watch
from app.judgement.wording import METRIC, Words

DRY_BELOW_WB = 0.12
"""Below it, by its upper bound, malt on the kiln neither sours nor grows: from memory."""

ONE_LOOK = timedelta(minutes=30)
HELD_BY_WATCHES = frozenset({STEEP.key, REST.key, FLOOR.key})
"""Cards of stages in which the batch's own clocks and readings tell how long it holds."""


@dataclass(frozen=True)
class PowerCut:
    """stage: None before the first water. last: the warmest that was read at the last look of this stage.

    first: what goes past its limit first, without power; None where the card alone says how long it holds.
    """

    card: Card
    stage: Stage | None
    moisture: Estimate | None
    last: Reading | None
    first: Watch | None
    was_blown: bool

    @property
    def entries(self) -> tuple[tuple[str, str, str], ...]:
        """What to record: entry, its word, and what of it."""
        return tuple((kind, KINDS[kind].word, what) for kind, what in self.card.record)


def power_cut(history: History, now: datetime, words: Words = METRIC) -> PowerCut:
    """What to do, how long it holds, what to record, and what is dangerous, as the batch stands now."""
    batch = batch_at(history, now)
    history, stage = batch.history, batch.stage
    moisture = batch.moisture if stage is not None else None
    card = card_for(history, stage, moisture, now)
    start = history.by_id(stage.fact_id) if stage is not None else None
    was_blown = isinstance(start, StageChange) and start.method == "blown"
    first = _first(history, card, stage, was_blown, now, words) if stage is not None else None
    return PowerCut(card, stage, moisture, _last(history, stage, now), first, was_blown)


def card_for(history: History, stage: Stage | None, moisture: Estimate | None, now: datetime) -> Card:
    """On the kiln the moisture's upper bound tells whether it can still sour; not knowing it, it can."""
    if stage is None:
        return DRY
    programme = history.programme_at(now)
    if stage.name == "kilning" and programme is not None and programme.is_roast:
        return ROAST
    if stage.name == "kilning" and moisture is not None and moisture.upper < DRY_BELOW_WB:
        return DRY_KILN
    return BY_STAGE[stage.name]


def _first(history: History, card: Card, stage: Stage, was_blown: bool, now: datetime, words: Words) -> Watch | None:
    """As for sleep; but blown water counts as still, and a bed as one whose heat stays in it: its fan stands."""
    if card.key not in HELD_BY_WATCHES:
        return None
    watches = [*sleep(history, now, words).watches, *_still_bed(history, stage, now, words)]
    still = _still_water(history, stage, now, words) if was_blown else None
    return min([*watches, *([still] if still is not None else [])], key=lambda each: each.safe_at, default=None)


def _still_bed(history: History, stage: Stage, now: datetime, words: Words) -> list[Watch]:
    programme, last = history.programme_at(now), _last(history, stage, now)
    limit = programme.limit(f"grain_temperature.{stage.name}") if programme is not None else None
    if limit is None or last is None or stage.name == "immersion":
        return []
    return soonest_without_loss(history, last, now, limit, now, words)


def _still_water(history: History, stage: Stage, now: datetime, words: Words) -> Watch | None:
    programme = history.programme_at(now)
    if programme is None:
        return None
    read = [reading.value for reading in history.readings("water_temperature") if stage.starts_at <= reading.at <= now]
    values = [value for value in read if value is not None]
    limit = programme.immersion_limit(sum(values) / len(values) if values else None, None)
    what = "Without its air it has been under water too long"
    return clock_watch("still_water", what, stage.starts_at, limit, words, "In water")


def _last(history: History, stage: Stage | None, now: datetime) -> Reading | None:
    if stage is None:
        return None
    kind = "water_temperature" if stage.name == "immersion" else "grain_temperature"
    read = [
        reading for reading in history.readings(kind) if is_usable(reading) and stage.starts_at <= reading.at <= now
    ]
    # Top, middle and bottom of one look: the warmest place tells.
    look = [each for each in read if read[-1].at - each.at <= ONE_LOOK]
    return max(look, key=lambda each: each.value or 0.0, default=None)
