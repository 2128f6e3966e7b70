"""What was known at a moment: the one place where a record is cut before anything is forecast from it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Action, Fact
from app.judgement.history.build import history_from_records
from app.judgement.history.history import History

Record = Mapping[str, Any]


def known_by(records: Iterable[Record], moment: datetime) -> History:
    """The History of what was told by a moment: not of what was told since, were it about an earlier hour."""
    return history_from_records([each for each in records if was_known(each, moment)])


def was_known(record: Record, moment: datetime) -> bool:
    """Lots, batches and programmes are no facts: they say what a fact is about, and nothing of how it went."""
    return record.get("record", "fact") != "fact" or told_at(fact_from_record(record)) <= moment


def told_at(fact: Fact) -> datetime:
    """When the house had it: once it was over, written down, and had arrived."""
    times = [fact.latest_at, fact.written_at, fact.received_at]
    if isinstance(fact, Action) and fact.kind == "interruption":
        times.append(fact.until_at)
    return max(each for each in times if each is not None)
