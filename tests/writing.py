"""Records as a phone or an import sends them, and a lot with a batch to send them to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Fact
from app.judgement.programmes.programme import load_builtin
from app.operations.batches import open_batch, pack_batch
from app.operations.facts import body_digest, insert_fact
from app.operations.lots import create_lot
from app.store.batches import Batch
from app.store.facts import fact
from app.store.packs import Pack

Record = dict[str, Any]
NOW = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)
"""When most tests play: an ordinary morning, two weeks before the clocks go forward."""
LOT, BATCH, OTHER = "lot-1", "batch-1", "batch-2"
PROGRAMME = load_builtin()["barley_pale"].digest


@dataclass(frozen=True)
class Opened:
    """A batch that was charged two hours before NOW, as a test names it."""

    id: str
    number: int


def iso(moment: datetime) -> str:
    return moment.isoformat()


def about(batch_id: str) -> dict[str, str]:
    return {"type": "batch", "id": batch_id}


def entry(kind: str, typed: dict[str, str] | None = None, *, id: str, batch: str = BATCH, **more: Any) -> Record:
    """One entry about a batch, read at NOW unless `at` says otherwise."""
    record = {"id": id, "kind": kind, "subject": about(batch), "at": iso(NOW), "typed": typed or {}}
    return record | more


def water(value: str = "12", *, id: str = "water-1", **more: Any) -> Record:
    return entry("water_temperature", {"value": value, "value_unit": "c"}, id=id, **more)


def struck(target: str, *, id: str = "struck-1", **more: Any) -> Record:
    return entry("withdrawal", id=id, supersedes_id=target, **more)


def charge(*, id: str = "charge-1", lot: str = LOT, as_is: str = "25", **more: Any) -> Record:
    typed = {"source": f"lot:{lot}", "as_is": as_is, "as_is_unit": "kg", "moisture": "13", "moisture_unit": "percent"}
    return {"id": id, "kind": "charge", "at": iso(NOW - timedelta(hours=2)), "typed": typed} | more


def arrival(part: Record, batch_id: str = BATCH) -> Fact:
    """The fact of grain that comes into a batch, of a record that leaves open into which."""
    typed = part["typed"] | {"target": f"batch:{batch_id}"}
    return fact_from_record(part | {"typed": typed, "subject": about(batch_id)})


def fill_jar(
    session: Session,
    pack_id: str = "pack-1",
    *,
    batch: str = BATCH,
    name: str = "Jar 7",
    method: str | None = None,
    **typed: str,
) -> Pack:
    """A jar filled from a batch at NOW."""
    typed = {"as_is": "2.5", "moisture": "4.5", "source": f"batch:{batch}", "target": f"pack:{pack_id}"} | typed
    part = fact_from_record(entry("pack", typed, id=f"filled-{pack_id}", batch=batch, person="Anna", method=method))
    return pack_batch(session, pack_id=pack_id, name=name, part=part, now=NOW)


def taken_in(lot_id: str = LOT, **more: Any) -> Fact:
    """The intake of a lot: its id, its time, and what was typed or its values."""
    return fact_from_record({"kind": "intake", "subject": {"type": "lot", "id": lot_id}, "at": iso(NOW)} | more)


def add_lot(session: Session, lot_id: str = LOT, name: str = "Field by the river") -> None:
    typed = {"net": "500", "moisture": "13", "moisture_unit": "percent"}
    intake = taken_in(lot_id, id=f"intake-{lot_id}", at=iso(NOW - timedelta(days=9)), typed=typed)
    create_lot(session, lot_id=lot_id, name=name, species="barley", now=NOW, facts=[intake])


def add_batch(session: Session, batch_id: str = BATCH, *parts: Record) -> Batch:
    """A batch of the lot; the lot too, where there is none yet."""
    if session.scalar(select(fact.c.seq).where(fact.c.kind == "intake").limit(1)) is None:
        add_lot(session)
    given = [arrival(part, batch_id) for part in parts or (charge(id=f"charge-{batch_id}"),)]
    return open_batch(session, batch_id=batch_id, species="barley", programme=PROGRAMME, parts=given, now=NOW)


def count_facts(session: Session) -> int:
    return len(session.scalars(select(fact.c.seq)).all())


def store_unasked(session: Session, *records: Record) -> None:
    """Facts as an import takes them in, and as they were kept before anything bounded their times."""
    for record in records:
        insert_fact(session, fact_from_record(record), body_digest(record), NOW)
