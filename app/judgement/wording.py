"""Quantities and times as a reader wants them: their own units, the house's clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from app.science import units

QUARTER, NEAR, SOON = timedelta(minutes=15), timedelta(minutes=5), timedelta(minutes=30)
"""No plan and no forecast of a steep, a bed or a kiln is known any nearer than a quarter of an hour, and what comes
within the next half of one no nearer than five minutes: as hands keep time."""


@dataclass(frozen=True)
class Words:
    """How to say things to one reader. system: metric or us."""

    system: str = "metric"
    zone: tzinfo = UTC
    now: datetime | None = None

    def temperature(self, value_c: float, half_width_c: float | None = None) -> str:
        return units.format_quantity(value_c, self.unit("temperature"), half_width_c)

    def other_temperature(self, value_c: float) -> str:
        """In the unit that this reader does not use: for the kiln, where a slip hurts."""
        return units.format_quantity(value_c, "f" if self.system == "metric" else "c")

    def difference(self, value_c: float) -> str:
        """A difference of temperatures."""
        unit = self.unit("temperature")
        return f"{units.difference_from_si(value_c, unit):.1f} {units.UNITS[unit].symbol}"

    def mass(self, value_kg: float, half_width_kg: float | None = None) -> str:
        return units.format_quantity(value_kg, units.preferred_mass_unit(value_kg, self.system), half_width_kg)

    def water(self, kg: float) -> str:
        """Water to measure out, by its volume: nobody pours it finer than to two digits."""
        unit = self.unit("volume")
        return f"{float(f'{units.from_si(kg / 1000.0, unit):.2g}'):g} {units.UNITS[unit].symbol}"

    def percent(self, share: float, half_width: float | None = None, decimals: int | None = None) -> str:
        return units.format_quantity(share, "percent", half_width, decimals)

    def quantity(self, dimension: str, value: float) -> str:
        """Any quantity in the reader's usual unit."""
        return self.mass(value) if dimension == "mass" else units.format_quantity(value, self.unit(dimension))

    def in_unit(self, unit: str, value: float) -> str:
        """A quantity in a unit that the reader may not use: beside their own, where both are about."""
        return units.format_quantity(value, unit)

    def unit(self, dimension: str) -> str:
        return units.DEFAULT_UNITS[self.system][dimension]

    def clock(self, moment: datetime) -> str:
        """A clock time as one says it: with the day where it is not today's, the year where it is not this one's."""
        local, today = in_zone(moment, self.zone), in_zone(self.now or moment, self.zone).date()
        time = local.strftime("%H:%M")
        if is_doubled(moment, self.zone):
            time += f" {local.tzname()}"
        days = (local.date() - today).days
        if days == 0:
            return time
        if days in (-1, 1):
            return f"{'yesterday' if days < 0 else 'tomorrow'} {time}"
        if abs(days) < 6:
            return f"{local:%a} {time}"
        day = f"{local.day} {local:%b}"
        return f"{day} {time}" if local.year == today.year else f"{day} {local.year}, {time}"

    def at(self, moment: datetime) -> str:
        """The clock time after a verb: "at 06:45", but "yesterday 06:45"."""
        said = self.clock(moment)
        return f"at {said}" if said[0].isdigit() and len(said.partition(" ")[0]) == len("00:00") else said

    def around(self, moment: datetime, *, is_floor: bool = False) -> str:
        """A moment that nobody knows to the minute: due, foreseen, or the end of a span.

        is_floor: never later than it was reckoned.
        """
        return self.clock(self.rounded(moment, is_floor=is_floor))

    def rounded(self, moment: datetime, *, is_floor: bool = False) -> datetime:
        """To the quarter of an hour, to five minutes within the next half; on the side of now on which it lies."""
        ahead = timedelta() if self.now is None else moment - self.now
        step = NEAR if timedelta() < ahead < SOON else QUARTER
        over = timedelta(seconds=moment.timestamp() % step.total_seconds())
        before = moment - over
        if not over or is_floor:
            return before
        after = before + step
        if self.now is not None and before <= self.now < after:
            return after if ahead > timedelta() else before
        return before if over < step / 2 else after

    def date(self, moment: datetime) -> str:
        local = in_zone(moment, self.zone)
        return f"{local.day} {local:%b} {local.year}"

    def span(self, hours: float) -> str:
        """A span of time in the one or two units that matter."""
        minutes = round(abs(hours) * 60)
        if minutes < 60:
            return f"{minutes} min"
        if minutes < 600 and minutes % 60:
            return f"{minutes // 60} h {minutes % 60} min"
        return f"{round(minutes / 60)} h" if minutes < 72 * 60 else f"{timedelta(minutes=minutes).days} d"


METRIC = Words()


def in_zone(moment: datetime, zone: tzinfo) -> datetime:
    """The moment by the clock of a zone; by UTC on the first and last day of the calendar, where that has none."""
    try:
        return moment.astimezone(zone)
    except OverflowError:
        return moment


def is_doubled(moment: datetime, zone: tzinfo) -> bool:
    """Whether the zone's clock shows this time twice that night."""
    local = in_zone(moment, zone).replace(tzinfo=None)
    first, second = (local.replace(tzinfo=zone, fold=each).utcoffset() for each in (0, 1))
    return first is not None and second is not None and first > second
