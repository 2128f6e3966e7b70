"""The planner's clock: five minutes at a time, through nights and changes of the clock, with who is awake when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

import numpy as np

STEP = timedelta(minutes=5)
STEPS_PER_H = 12


@dataclass(frozen=True)
class Waking:
    """From getting up to going to bed, by the wall clock, both included; to may lie after midnight."""

    from_: time
    to: time

    def includes(self, at: time) -> bool:
        if self.from_ <= self.to:
            return self.from_ <= at <= self.to
        return at >= self.from_ or at <= self.to


class Clock:
    """Places are steps since the local midnight of the first day. awake: whether the house is, at each place."""

    def __init__(self, first_day: date, zone: tzinfo, waking: Waking, hours: float) -> None:
        self.zone = zone
        self.starts_at = _midnight(first_day, zone)
        self.day_steps = (_midnight(first_day + timedelta(days=1), zone) - self.starts_at) // STEP
        count = int(hours * STEPS_PER_H) + self.day_steps
        walls = ((self.starts_at + place * STEP).astimezone(zone).time() for place in range(count))
        self.awake = np.fromiter((waking.includes(wall) for wall in walls), dtype=bool, count=count)
        self.asleep_before = np.concatenate(([0], np.cumsum(~self.awake)))

    def moment(self, place: int) -> datetime:
        return self.starts_at + place * STEP

    def place_of(self, moment: datetime) -> int:
        return (moment - self.starts_at) // STEP

    def is_awake(self, place: int) -> bool:
        return bool(self.awake[place])


def _midnight(day: date, zone: tzinfo) -> datetime:
    """The first moment of a day; where the clock skips midnight, the moment at which it goes on."""
    return datetime.combine(day, time(), zone).astimezone(UTC)
