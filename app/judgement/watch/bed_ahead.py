"""Where a bed is going: how fast each place has warmed since it was last turned, and when it comes to a limit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

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
    now, since = batch.now, last_turned(batch.history, batch.stage)
    inside = batch.within(batch.history.readings("grain_temperature"), since.at, now)
    beds = []
    for place, readings in by_place(filter(is_usable, inside)).items():
        hours = [hours_between(since.at, reading.at) for reading in readings]
        if readings[-1].at - readings[0].at >= LEAST_APART and now - readings[-1].at <= OLD_AFTER:
            beds.append(
                BedAhead(place, tuple(readings), warming(hours, [reading.value or 0.0 for reading in readings]))
            )
    return beds


@dataclass(frozen=True)
class Turned:
    """When the bed was last turned, or cast, and the fact that says so."""

    at: datetime
    fact: Fact | None


def last_turned(history: History, stage: Stage) -> Turned:
    turned = [fact for fact in history.of_kind("turned") if fact.at >= stage.starts_at]
    fact = turned[-1] if turned else history.by_id(stage.fact_id)
    return Turned(turned[-1].at if turned else stage.starts_at, fact)


def is_cold_and_thin(history: History, moment: datetime) -> bool:
    """Whether the bed lies so thin and so cold that it needs no turning for its heat."""
    depth = history.last_before(moment, history.readings("bed_depth"))
    warmth = history.last_before(moment, history.readings("grain_temperature"))
    if depth is None or warmth is None or depth.value is None or warmth.value is None:
        return False
    return depth.value <= THIN_M and warmth.value <= COLD_C and moment - warmth.at <= COLD_READ
