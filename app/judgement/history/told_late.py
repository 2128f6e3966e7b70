"""Whether a record is written up as it happens, or long after: then it tells nothing of now."""

from __future__ import annotations

from datetime import datetime, timedelta

from app.judgement.facts.shapes import Answer, Fact
from app.judgement.history.history import History

LATE = timedelta(hours=12)
"""What is written down half a day after it happened is caught up on: from memory, a night and some hours."""

ABOUT_THE_RECORD = frozenset({"flag_answer", "note", "withdrawal", "programme_change"})


def told_until(history: History, now: datetime) -> datetime | None:
    """Up to when a record that is caught up on has come: its last entry was made long after it happened.

    None where it was made in time, or nothing says when it was made.
    """
    told = (fact for fact in reversed(history.facts) if fact.at <= now and not _is_of_the_record(fact))
    last = next(told, None)
    return last.at if last is not None and is_told_late(history, last) else None


def is_told_late(history: History, fact: Fact) -> bool:
    """By when it was first said: a correction is made late, and what it corrects may have been written at once."""
    chains = history.chains if fact.supersedes_id else ()
    first = next((chain.facts[0] for chain in chains if fact in chain.facts), fact)
    return first.written_at is not None and first.written_at - first.latest_at > LATE


def _is_of_the_record(fact: Fact) -> bool:
    return isinstance(fact, Answer) or fact.kind in ABOUT_THE_RECORD
