"""When a fact can have happened at all: bounded by the calendar, by now, by the charge of its batch, by its harvest.

What is merely unlikely is asked about elsewhere, and kept when it is insisted on; what is outside these bounds is a
slip of the hand or of a clock, and kept of nobody.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

from app.judgement.facts.shapes import Action, Answer, Fact, Part, Subject, Withdrawal
from app.judgement.history.history import History

EARLIEST = datetime(1900, 1, 1, tzinfo=UTC)
"""Nobody who types here saw anything before: the house's rule."""

CLOCK_SLACK = timedelta(days=2)
"""So far a clock may be ahead, or set to another zone, or a day be taken for the next. Between this and now it is asked
about."""

LEAD = timedelta(days=30)
"""Tubs are cleaned and bags are weighed before the grain is, but not a month before: from memory."""

LONGEST_UNTIL = timedelta(days=3660)
"""How far ahead an end may be set, as that of a calibration: the house's rule."""

_YEAR = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)")


def impossible_times(
    fact: Fact, now: datetime, *, begins_at: datetime | None = None, harvest: str = ""
) -> dict[str, str]:
    """Why the times of a fact can't be: field -> what is wrong; nothing where they can.

    begins_at: when the batch was charged, unless this very fact says so. harvest: of the lot, as it was typed.
    """
    # A withdrawal happens to the record, and not to the grain.
    begins_at = None if isinstance(fact, Withdrawal) else begins_at
    wrong = impossible_span(fact.earliest_at, fact.latest_at, now, begins_at, harvest)
    until = fact.until_at if isinstance(fact, Action | Answer) else None
    if until is not None and not EARLIEST <= until <= now + LONGEST_UNTIL:
        wrong["until"] = "No such end can be meant: check the year."
    return wrong


def impossible_span(
    earliest: datetime, latest: datetime, now: datetime, begins_at: datetime | None = None, harvest: str = ""
) -> dict[str, str]:
    """The same of a time alone: not before, not after."""
    early = _too_early(earliest, now, begins_at, harvest)
    if early:
        return {"earliest_at": early}
    if latest > now + CLOCK_SLACK:
        return {"latest_at": "That is more than two days ahead of the clock here: give the time at which it happened."}
    return {}


def _too_early(at: datetime, now: datetime, begins_at: datetime | None, harvest: str) -> str:
    if at < EARLIEST:
        return f"In the year {at.year} nothing of this can have happened: is a digit missing?"
    # A charge whose own time can't be bounds nothing.
    if begins_at is not None and EARLIEST <= begins_at <= now + CLOCK_SLACK and at < begins_at - LEAD:
        return "That is more than a month before the batch was charged: check the date, or first correct the charge."
    year = _harvest_year(harvest, now)
    if year is not None and at.year < year - 1:
        return f"That is long before the lot was harvested ({year}): check the year."
    return ""


def _harvest_year(harvest: str, now: datetime) -> int | None:
    """The first year that is named, unless it is still to come: a season's name may run over the turn of the year."""
    years = [int(digits) for digits in _YEAR.findall(harvest)]
    return min(years) if years and min(years) <= now.year + 1 else None


def begun_at(history: History) -> datetime | None:
    """When grain first came into the batch."""
    return min((part.earliest_at for part in history.charges), default=None)


def impossible_facts(history: History, now: datetime) -> list[Fact]:
    """The standing facts of a batch that would be refused today: kept before there were bounds, or imported."""
    said = [chain.standing for chain in history.chains if chain.standing is not None]
    arrivals = [fact for fact in said if arrives_in(fact, history.batch.id)]
    begins_at = min((fact.earliest_at for fact in arrivals), default=None)
    return [fact for fact in said if impossible_times(fact, now, begins_at=None if fact in arrivals else begins_at)]


def arrives_in(fact: Fact, batch_id: str) -> bool:
    """Whether by this fact grain comes into the batch, which begins with it."""
    return isinstance(fact, Part) and fact.target == Subject("batch", batch_id)
