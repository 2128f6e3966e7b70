"""A record of many batches, written in bulk by Core: for measuring, not for judging."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flask import Flask
from sqlalchemy import Engine, insert, select, update

from app import create_app
from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Fact, Reading
from app.judgement.history.history import BatchInfo, History
from app.judgement.programmes.programme import load_builtin
from app.operations.digests import refresh_digest
from app.store.batches import Batch
from app.store.digests import BatchDigest
from app.store.engine import open_database, write_session
from app.store.facts import SHAPE_TABLES, fact, row_of, shape_row_of
from app.store.history import get_history
from app.store.lots import Lot
from app.store.packs import Pack
from tests.houses import furnished

PROGRAMME = load_builtin()["barley_pale"].digest
LIVE = 3


def fill(engine: Engine, *, batches: int, facts_each: int, now: datetime) -> None:
    """That many batches of that many facts, the last three of them going on, the others finished and digested."""
    with write_session(engine) as session:
        session.add(Lot(id="lot", name="Bulk lot", species="barley", created_at=now - timedelta(days=900)))
        session.flush()
        seq = 0
        for number in range(1, batches + 1):
            is_live = number > batches - LIVE
            start = now - timedelta(hours=90 if is_live else 24 * 7 + 12 * (batches - number))
            session.execute(insert(Batch).values(**_batch_row(number, start)))
            seq = _insert(session, list(_facts(number, start, facts_each, is_live)), seq, now)
            session.execute(update(Batch).where(Batch.number == number).values(last_seq=seq))
    _digest(engine, batches, now)


def _batch_row(number: int, start: datetime) -> dict[str, Any]:
    return {
        "id": f"batch-{number}",
        "number": number,
        "title": f"Bulk {number}",
        "species": "barley",
        "vessel": "tub 1",
        "programme": PROGRAMME,
        "created_at": start,
        "last_seq": 0,
        "revision": 1,
    }


def _facts(number: int, start: datetime, count: int, is_live: bool, lot_id: str = "lot") -> Iterator[Fact]:
    stages = {"steep_on": 0.0, "drained": 6.0, "cast": 44.0}
    if not is_live:
        stages |= {"loaded": 120.0, "heat_off": 138.0, "finished": 140.0}
    yield _fact(number, "charge", start - timedelta(hours=1), "charge", _charge(number, lot_id))
    for name, hour in stages.items():
        yield _fact(number, name, start + timedelta(hours=hour), name, {})
    span_h = 89.0 if is_live else 139.0
    left = count - len(stages) - 1
    for place in range(left):
        at = start + timedelta(hours=(place + 0.5) * span_h / left)
        yield _fact(number, f"reading-{place}", at, "grain_temperature", {"value": 14.5 + place % 5 / 2})


def _charge(number: int, lot_id: str) -> dict[str, Any]:
    source, target = {"type": "lot", "id": lot_id}, {"type": "batch", "id": f"batch-{number}"}
    return {"source": source, "target": target, "as_is_kg": 20.0, "moisture_wb": 0.12}


def _fact(number: int, name: str, at: datetime, kind: str, values: dict[str, Any]) -> Fact:
    record = {
        "id": f"b{number}-{name}",
        "kind": kind,
        "subject": {"type": "batch", "id": f"batch-{number}"},
        "at": at.isoformat(),
        "values": values,
        "place": "top" if kind == "grain_temperature" else None,
    }
    return fact_from_record(record)


def _insert(session: Any, facts: list[Fact], seq: int, now: datetime) -> int:
    rows, shapes = [], {}
    for each in facts:
        seq += 1
        rows.append(row_of(each) | {"seq": seq, "received_at": now, "body_sha256": "0" * 64})
        table, row = shape_row_of(each, seq)
        shapes.setdefault(table.name, []).append(row)
    session.execute(insert(fact), rows)
    for table in SHAPE_TABLES.values():
        if table.name in shapes:
            session.execute(insert(table), shapes[table.name])
    return seq


def _digest(engine: Engine, batches: int, now: datetime) -> None:
    """One finished batch is judged, and its measures stand for all of them."""
    with write_session(engine) as session:
        for number in range(1, batches - LIVE + 1):
            batch = session.get(Batch, f"batch-{number}")
            assert batch is not None
            history = get_history(session, batch.id) if number == 1 else None
            if history is not None:
                model = history
            stand_in = History.build(
                BatchInfo(id=batch.id, number=number, programme=PROGRAMME),
                [each for each in model.facts if each.kind in ("charge", "steep_on", "finished")],
                programmes=model.programmes,
                lots=model.lots.values(),
            )
            refresh_digest(session, stand_in, batch.last_seq, now)


def fill_years(engine: Engine, *, batches: int, now: datetime) -> None:
    """A record of that many batches as the years leave it: a lot for each three of them, nearly used up, a jar packed
    and a vessel cleaned after each, another thermometer and another vessel for each three; the last three go on.
    """
    with write_session(engine) as session:
        facts = []
        for place in range(batches // 3):
            lot_id, at = f"lot-{place}", now - timedelta(days=20) - timedelta(hours=12 * (batches - 3 * place))
            session.add(Lot(id=lot_id, name=f"Croft {place:04}", species="barley", created_at=at))
            facts.append(_about("lot", lot_id, "intake", at, {"net_kg": 60.5}, id=f"i{place}"))
        session.flush()
        for number in range(1, batches + 1):
            is_live, named = number > batches - LIVE, number // 3
            start = now - timedelta(hours=90 if is_live else 24 * 7 + 12 * (batches - number))
            row = _batch_row(number, start) | {"vessel": f"tub {named}"}
            session.execute(insert(Batch).values(**row))
            told = list(_facts(number, start, 10, is_live, lot_id=f"lot-{(number - 1) // 3}"))
            facts += [replace(each, instrument=f"dial {named}") if isinstance(each, Reading) else each for each in told]
            facts.append(_about("vessel", f"tub {named}", "cleaned", start, {"what": "soda"}, id=f"w{number}"))
            facts.append(_about("instrument", f"dial {named}", "calibrated", start, {"amount": 0.2}, id=f"c{number}"))
            if not is_live:
                session.add(Pack(id=f"jar-{number}", name=f"Jar {number:04}", created_at=start))
                facts.append(_filled(number, start + timedelta(hours=141)))
        session.flush()
        _insert(session, facts, 0, now)
        session.execute(update(Batch).values(last_seq=len(facts)))
    _digest_alike(engine, batches, now)


def _about(type_: str, id_: str, kind: str, at: datetime, values: dict[str, Any], id: str) -> Fact:
    subject = {"type": type_, "id": id_}
    record = {"id": id, "kind": kind, "subject": subject, "at": at.isoformat()}
    return fact_from_record(record | {"values": values})


def _filled(number: int, at: datetime) -> Fact:
    ends = {"source": {"type": "batch", "id": f"batch-{number}"}, "target": {"type": "pack", "id": f"jar-{number}"}}
    return _fact(number, "pack", at, "pack", ends | {"as_is_kg": 2.0, "moisture_wb": 0.045})


def _digest_alike(engine: Engine, batches: int, now: datetime) -> None:
    """Of each batch that has ended, what is remembered of the first."""
    with write_session(engine) as session:
        first = session.get(Batch, "batch-1")
        assert first is not None
        refresh_digest(session, get_history(session, first.id), first.last_seq, now)
        session.flush()
        table = BatchDigest.__table__
        (model,) = session.execute(select(table)).mappings().all()
        session.execute(
            insert(BatchDigest),
            [
                dict(model) | {"batch_id": f"batch-{number}", "ended_at": now - timedelta(hours=batches - number + 1)}
                for number in range(2, batches - LIVE + 1)
            ],
        )


def filled_app(folder: Path, database: Path, facts_each: int) -> Flask:
    """An application on a copy of a database, with four batches of so many facts."""
    settings = furnished(folder, database)
    with open_database(settings.database_url) as engine:
        fill(engine, batches=4, facts_each=facts_each, now=datetime.now(UTC))
    app = create_app(settings)
    app.config["WTF_CSRF_ENABLED"] = False
    return app
