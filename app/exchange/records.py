"""The whole record as JSON lines, and back: the first line names the format, then one thing a line."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime
from itertools import chain
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.errors import Rejected
from app.judgement.facts.records import fact_from_record, record_from_fact
from app.operations.digests import rebuild
from app.operations.facts import insert_fact
from app.operations.photos import insert_pictures
from app.operations.pictures import make_small
from app.store.batches import Batch
from app.store.facts import fact, list_facts_after
from app.store.lots import Lot
from app.store.packs import Pack
from app.store.people import Person
from app.store.photos import WHOLE, Photo, find_picture, list_photos
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
    """Everything that was ever said, and what it was said about, in an order in which it can be read back.

    The last record counts those between it and the first: a file that was cut off lacks it.
    """
    yield {"record": "chitbook", "format": FORMAT}
    count = 0
    for record in chain(_export_tables(session), _export_facts(session), _export_photos(session)):
        count += 1
        yield record
    yield {"record": "end", "records": count}


def _export_tables(session: Session) -> Iterator[dict[str, Any]]:
    for name, table in TABLES.items():
        for row in session.scalars(select(table).order_by(*table.__table__.primary_key.columns)):
            yield _record(name, row)


def _record(name: str, row: Any) -> dict[str, Any]:
    columns = [column.key for column in row.__table__.columns if column.key not in _DERIVED.get(name, ())]
    return {"record": name, **{column: _plain(getattr(row, column)) for column in columns}}


def _export_facts(session: Session) -> Iterator[dict[str, Any]]:
    seq = 0
    while chunk := list_facts_after(session, seq, CHUNK):
        ids = [each.id for each in chunk]
        rows = session.execute(select(fact.c.id, fact.c.body_sha256).where(fact.c.id.in_(ids)))
        digests = {row.id: row.body_sha256 for row in rows}
        for each in chunk:
            yield {"record": "fact", **record_from_fact(each), "body_sha256": digests[each.id]}
        seq = chunk[-1].seq or 0


def _export_photos(session: Session) -> Iterator[dict[str, Any]]:
    """Each photo with its whole picture; the small one is made of it again."""
    for photo in list_photos(session):
        whole = find_picture(session, photo.id, WHOLE) or b""
        yield {**_record("photo", photo), "picture": base64.b64encode(whole).decode("ascii")}


def import_records(session: Session, lines: Iterable[str]) -> int:
    """Read an export into an empty record; the number of facts read. Rejected names the line that can't be read."""
    if _has_records(session):
        raise Rejected({"": "There are records here already. An export can only be read into an empty folder."})
    session.execute(delete(ProgrammeRevision))
    count = 0
    for number, record in _whole(lines):
        count += _read(session, record, number)
    session.flush()
    rebuild(session)
    return count


def _has_records(session: Session) -> bool:
    """Whether anybody put anything in. The built-in programmes came by themselves."""
    queries = [select(fact.c.seq), *(select(table.id) for name, table in TABLES.items() if name != "programme")]
    queries.append(select(ProgrammeRevision.digest).where(ProgrammeRevision.parent.is_not(None)))
    return any(session.scalar(query.limit(1)) is not None for query in queries)


def _whole(lines: Iterable[str]) -> Iterator[tuple[int, dict[str, Any]]]:
    """Each record with the number of its line; Rejected where the first or the last line is not that of an export."""
    number, count = 0, -1
    ended: int | None = None
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        record = _parse(line, number)
        if count < 0:
            _check_format(record)
            count = 0
        elif ended is not None:
            raise Rejected({"": f"Line {number} comes after the end: were two exports put together?"})
        elif record.get("record") == "end":
            ended = record.get("records")
        else:
            count += 1
            yield number, record
    if count < 0:
        raise Rejected({"": "This file is empty."})
    if ended != count:
        raise Rejected({"": f"The end of this export is missing, after line {number}: was the file cut off?"})


def _parse(line: str, number: int) -> dict[str, Any]:
    try:
        record = json.loads(line)
    except ValueError as error:
        raise Rejected({"": f"Line {number} is not JSON: was the file cut off?"}) from error
    if not isinstance(record, dict):
        raise Rejected({"": f"Line {number} is no record."})
    return record


def _check_format(record: Mapping[str, Any]) -> None:
    if record.get("record") != "chitbook":
        raise Rejected({"": "This is no export of Chitbook: its first line doesn't say so."})
    if record.get("format") != FORMAT:
        raise Rejected({"": f"This export has format {record.get('format')}; this program reads {FORMAT}."})


def _read(session: Session, record: dict[str, Any], number: int) -> int:
    name = record.pop("record", None)
    try:
        if name == "fact":
            digest, received_at = record.pop("body_sha256"), record.pop("received_at")
            record.pop("seq", None)
            insert_fact(session, fact_from_record(record), digest, _moment(received_at))
            return 1
        whole = base64.b64decode(record.pop("picture"), validate=True) if name == "photo" else b""
        _insert(session, Photo if name == "photo" else TABLES[str(name)], record)
        if name == "photo":
            insert_pictures(session, str(record["id"]), whole, make_small(whole))
    except Rejected as error:
        raise Rejected({"": f"Line {number}: {error}"}) from error
    except IntegrityError as error:
        raise Rejected({"": f"Line {number} doesn't fit the ones before it ({error.orig})."}) from error
    except (KeyError, TypeError, ValueError) as error:
        raise Rejected({"": f"Line {number} can't be read ({error})."}) from error
    return 0


def _insert(session: Session, table: Any, record: Mapping[str, Any]) -> None:
    columns = {column.key: column.type.python_type for column in table.__table__.columns if column.key in record}
    session.add(table(**{key: _READERS.get(kind, _as_is)(record[key]) for key, kind in columns.items()}))
    session.flush()


def _as_is(value: Any) -> Any:
    return value


def _moment(value: Any) -> Any:
    moment = None if value is None else datetime.fromisoformat(value)
    if moment is not None and moment.tzinfo is None:
        raise ValueError(f"{value} has no offset")
    return moment


_READERS: Mapping[type, Callable[[Any], Any]] = {datetime: _moment}


def _plain(value: Any) -> Any:
    return value.isoformat().replace("+00:00", "Z") if isinstance(value, datetime) else value
