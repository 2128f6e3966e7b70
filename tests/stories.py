"""Whole batches, run to their plan, put into the database; and the statements that a page asks."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from flask import Flask
from sqlalchemy import event
from sqlalchemy.orm import Session

from app.judgement.programmes.programme import load_builtin
from app.operations.facts import record_fact
from app.operations.lots import create_lot
from app.store.batches import Batch, next_number
from app.store.lots import find_lot
from tests.judgement.plan_run import plan_records
from tests.writing import NOW, iso, store_unasked, taken_in


@cache
def _planned(key: str, start: datetime) -> tuple[dict[str, Any], ...]:
    return tuple(plan_records(load_builtin()[key], start))


def add_story(
    session: Session,
    *,
    hours_ago: float,
    until: datetime = NOW,
    key: str = "barley_pale",
    title: str = "",
    is_declared: bool = True,
    kinds: set[str] | None = None,
) -> Batch:
    """A batch charged so many hours before NOW, with what its plan foresees until then. kinds: those to keep.

    The facts are stored unasked: that each of a plan would be taken is tests/operations/test_record_fact.py's.
    """
    programme = load_builtin()[key]
    start = NOW - timedelta(hours=hours_ago)
    records = _planned(key, start)

    def is_told(record: dict[str, Any]) -> bool:
        is_wanted = kinds is None or record["kind"] in kinds or record["kind"] in ("charge", "declaration")
        is_whole = is_declared or record["kind"] != "declaration"
        return datetime.fromisoformat(record["earliest_at"]) <= until and is_wanted and is_whole

    lot_id = next(record["values"]["source"]["id"] for record in records if record["kind"] == "charge")
    if find_lot(session, lot_id) is None:
        at = iso(start - timedelta(days=4))
        intake = taken_in(lot_id, id=f"i-{lot_id[:30]}", at=at, values={"net_kg": 100.0})
        create_lot(
            session,
            lot_id=lot_id,
            name=f"Lot of {start:%d %b %H:%M} {key}",
            species=programme.species[0],
            now=NOW,
            facts=[intake],
        )
    batch_id = next(record["subject"]["id"] for record in records if record["subject"]["type"] == "batch")
    batch = Batch(
        id=batch_id, number=next_number(session), title=title, species=programme.species[0], vessel="tub 1",
        programme=programme.digest, created_at=start, last_seq=0, revision=1,
    )  # fmt: skip
    session.add(batch)
    session.flush()
    store_unasked(session, *(each for each in records if is_told(each)))
    session.refresh(batch)
    return batch


def add_fact(
    session: Session, batch: Batch, kind: str, values: dict[str, Any], *, id: str, hours_ago: float = 1.0, **more: Any
) -> None:
    at = iso(NOW - timedelta(hours=hours_ago))
    record = {"id": id, "kind": kind, "subject": {"type": "batch", "id": batch.id}, "at": at, "values": values}
    record_fact(session, record | {"person": "Ben"} | more, now=NOW)


@contextmanager
def statements(app: Flask) -> Iterator[list[str]]:
    """What the database is asked in a block."""
    seen: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        seen.append(statement)

    event.listen(app.extensions["engine"], "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(app.extensions["engine"], "before_cursor_execute", note)
