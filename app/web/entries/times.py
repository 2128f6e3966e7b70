"""Clock times of the house: typed without an offset, and on two nights a year not clear."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from app.judgement.wording import in_zone

AGO = {"now": 0, "m5": 5, "m15": 15, "m60": 60}


class TwiceThatNight(ValueError):
    """The clocks went back, and this time came twice: it takes a word which one is meant."""


def moment_from_local(text: str, zone: ZoneInfo, fold: str = "") -> datetime:
    """The moment of a clock time as a datetime-local field sends it.

    ValueError says what to mend; TwiceThatNight asks for fold, "first" or "second".
    """
    try:
        clock = datetime.fromisoformat(text.strip())
        # On the first and the last day of the calendar there may be no such moment.
        clock.replace(tzinfo=clock.tzinfo or zone).astimezone(UTC)
    except (ValueError, OverflowError) as error:
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
    return in_zone(moment, zone).replace(tzinfo=None).isoformat(timespec="minutes")
