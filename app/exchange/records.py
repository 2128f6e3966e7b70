"""The whole record as JSON lines, and back: the first line names the format, then one thing a line."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import Rejected
from app.judgement.fields import BadValues
from app.judgement.records import fact_from_record, record_from_fact
from app.operations.digests import rebuild
from app.operations.facts import insert_fact
from app.store.batches import Batch
from app.store.facts import fact, list_facts_after
from app.store.lots import Lot
from app.store.packs import Pack
from app.store.people import Person
from app.store.programmes import ProgrammeRevision

FORMAT = 1
CHUNK = 500
TABLES: Mapping[str, Any] = {
    "person": Person,
    "programme": ProgrammeRevision,
    "lot": Lot,
    "batch": Batch,
    "pack": Pack,
}
_DERIVED = {"batch": frozenset({"last_seq"})}


def export_records(session: Session) -> Iterator[dict[str, Any]]:
    """Everything that was ever said, and what it was said about, in an order in which it can be read back."""
    yield {"record": "chitbook", "format": FORMAT}
    for name, table in TABLES.items():
        columns = [column.key for column in table.__table__.columns if column.key not in _DERIVED.get(name, ())]
        for row in session.scalars(select(table).order_by(*table.__table__.primary_key.columns)):
            yield {"record": name, **{column: _plain(getattr(row, column)) for column in columns}}
    yield from _export_facts(session)


def _export_facts(session: Session) -> Iterator[dict[str, Any]]:
    seq = 0
    while chunk := list_facts_after(session, seq, CHUNK):
        ids = [each.id for each in chunk]
        digests = dict(session.execute(select(fact.c.id, fact.c.body_sha256).where(fact.c.id.in_(ids))).tuples().all())
        for each in chunk:
            yield {"record": "fact", **record_from_fact(each), "body_sha256": digests[each.id]}
        seq = chunk[-1].seq or 0


def import_records(session: Session, lines: Iterable[str]) -> int:
    """Read an export into an empty record; the number of facts read. Rejected names the line that can't be read."""
    if session.scalar(select(fact.c.seq).limit(1)) is not None or session.scalar(select(Lot.id).limit(1)) is not None:
        raise Rejected({"": "There are records here already. An export can only be read into an empty folder."})
    session.query(ProgrammeRevision).delete()
    count, format_seen = 0, False
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        record = _parse(line, number)
        if record.get("record") == "chitbook":
            format_seen = _check_format(record)
            continue
        if not format_seen:
            raise Rejected({"": "This is no export of Chitbook: its first line doesn't say so."})
        count += _read(session, record, number)
    if not format_seen:
        raise Rejected({"": "This file is empty."})
    session.flush()
    rebuild(session)
    return count


def _parse(line: str, number: int) -> dict[str, Any]:
    try:
        record = json.loads(line)
    except ValueError as error:
        raise Rejected({"": f"Line {number} is not JSON: was the file cut off?"}) from error
    if not isinstance(record, dict):
        raise Rejected({"": f"Line {number} is no record."})
    return record


def _check_format(record: Mapping[str, Any]) -> bool:
    if record.get("format") != FORMAT:
        raise Rejected({"": f"This export has format {record.get('format')}; this program reads {FORMAT}."})
    return True


def _read(session: Session, record: dict[str, Any], number: int) -> int:
    name = record.pop("record", None)
    try:
        if name == "fact":
            digest, received_at = record.pop("body_sha256"), record.pop("received_at")
            record.pop("seq", None)
            insert_fact(session, fact_from_record(record), digest, datetime.fromisoformat(received_at))
            return 1
        table = TABLES[str(name)]
        columns = {column.key: column.type.python_type for column in table.__table__.columns if column.key in record}
        session.add(table(**{key: _READERS.get(kind, _as_is)(record[key]) for key, kind in columns.items()}))
        session.flush()
    except BadValues as error:
        raise Rejected({"": f"Line {number}: {error}"}) from error
    except (KeyError, TypeError, ValueError) as error:
        raise Rejected({"": f"Line {number} can't be read ({error})."}) from error
    return 0


def _as_is(value: Any) -> Any:
    return value


def _moment(value: Any) -> Any:
    return None if value is None else datetime.fromisoformat(value)


_READERS: Mapping[type, Callable[[Any], Any]] = {datetime: _moment}


def _plain(value: Any) -> Any:
    return value.isoformat().replace("+00:00", "Z") if isinstance(value, datetime) else value
