"""Clock times of the house: typed without an offset, and on two nights a year not clear."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

AGO = {"now": 0, "m5": 5, "m15": 15, "m60": 60}


class TwiceThatNight(ValueError):
    """The clocks went back, and this time came twice: it takes a word which one is meant."""


def moment_from_local(text: str, zone: ZoneInfo, fold: str = "") -> datetime:
    """The moment of a clock time as a datetime-local field sends it.

    ValueError says what to mend; TwiceThatNight asks for fold, "first" or "second".
    """
    try:
        clock = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise ValueError("This is not a date and time.") from error
    if clock.tzinfo is not None:
        return clock.astimezone(UTC)
    first, second = (clock.replace(tzinfo=zone, fold=each) for each in (0, 1))
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != clock:
        raise ValueError("The clocks were put forward that night, and this time was left out.")
    if first.utcoffset() != second.utcoffset():
        if fold not in ("first", "second"):
            raise TwiceThatNight("The clocks were put back that night, and this time came twice: which one was it?")
        return (first if fold == "first" else second).astimezone(UTC)
    return first.astimezone(UTC)


def local_text(moment: datetime, zone: ZoneInfo) -> str:
    """A moment as a datetime-local field shows it."""
    return moment.astimezone(zone).strftime("%Y-%m-%dT%H:%M")


def spoken_time(moment: datetime, zone: ZoneInfo, now: datetime) -> str:
    """A clock time as one says it: with the day where it is not today's, with the year where it is not this one's."""
    local, today = moment.astimezone(zone), now.astimezone(zone).date()
    clock = local.strftime("%H:%M")
    if is_doubled(moment, zone):
        clock += f" {local.tzname()}"
    days = (local.date() - today).days
    if days == 0:
        return clock
    if days in (-1, 1):
        return f"{'yesterday' if days < 0 else 'tomorrow'} {clock}"
    if abs(days) < 6:
        return f"{local:%a} {clock}"
    day = f"{local.day} {local:%b}"
    return f"{day} {clock}" if local.year == today.year else f"{day} {local.year}, {clock}"


def is_doubled(moment: datetime, zone: ZoneInfo) -> bool:
    """Whether the house's clock shows this time twice that night."""
    local = moment.astimezone(zone).replace(tzinfo=None)
    first, second = (local.replace(tzinfo=zone, fold=each).utcoffset() for each in (0, 1))
    return first is not None and second is not None and first > second


def ago(hours: float) -> str:
    """A span of time in the one or two units that matter."""
    minutes = round(abs(hours) * 60)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{minutes // 60} h {minutes % 60} min" if minutes < 600 and minutes % 60 else f"{round(minutes / 60)} h"
    return f"{timedelta(minutes=minutes).days} d"
