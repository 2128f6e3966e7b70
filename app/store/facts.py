"""The table of facts, and one table for each shape. Rows are added, never changed and never deleted."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields as dataclass_fields
from datetime import UTC
from functools import cache
from operator import itemgetter
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    Column,
    ColumnElement,
    DateTime,
    Float,
    ForeignKey,
    Index,
    Integer,
    Row,
    Select,
    String,
    Table,
    Text,
    UniqueConstraint,
    and_,
    bindparam,
    exists,
    func,
    or_,
    select,
    type_coerce,
    union,
)
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import SHAPES, Fact, Part, Subject
from app.judgement.history.superseding import can_supersede, original_kind
from app.store.base import metadata
from app.store.types import JsonText, UtcDateTime

fact = Table(
    "fact",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("id", String(36), nullable=False, unique=True),
    Column("subject_type", String(12), nullable=False),
    Column("subject_id", String(60), nullable=False),
    Column("kind", String(30), nullable=False),
    Column("earliest_at", UtcDateTime, nullable=False),
    Column("latest_at", UtcDateTime, nullable=False),
    Column("written_at", UtcDateTime),
    Column("received_at", UtcDateTime, nullable=False),
    Column("clock", String(5), nullable=False),
    Column("clock_offset_s", Float),
    Column("place", String(60)),
    Column("instrument", String(60)),
    Column("person", String(80)),
    Column("entered_by", String(80)),
    Column("method", String(40)),
    Column("quality", String(20), nullable=False),
    Column("note", Text),
    Column("device", String(80)),
    # No foreign key: a withdrawal may arrive before its target, and waits for it.
    Column("supersedes_id", String(36)),
    Column("body_sha256", String(64), nullable=False),
    Column("v", Integer, nullable=False),
    Column("typed", JsonText, nullable=False),
    # Not of supersedes_id alone: one that came before its target and doesn't fit it would keep every other from it.
    UniqueConstraint("supersedes_id", "subject_type", "subject_id", "kind"),
    CheckConstraint("earliest_at <= latest_at", name="time_runs_forward"),
    CheckConstraint("clock IN ('now', 'typed')", name="clock_known"),
    # Never given out again, even after the highest row had gone: seq is the cursor of polling and export.
    sqlite_autoincrement=True,
)
_TOLD = fact.alias("told")
Index("ix_fact_subject", fact.c.subject_type, fact.c.subject_id, fact.c.seq)


def _shape_table(shape: str, *columns: Any) -> Table:
    key = Column("fact_seq", Integer, ForeignKey("fact.seq"), primary_key=True, autoincrement=False)
    return Table(f"fact_{shape}", metadata, key, *columns)


SHAPE_TABLES: Mapping[str, Table] = {
    "stage": _shape_table("stage", Column("programme", String(64))),
    "reading": _shape_table("reading", Column("value", Float), Column("lowest", Float), Column("highest", Float)),
    "weighing": _shape_table(
        "weighing",
        Column("net_kg", Float, nullable=False),
        Column("gross_kg", Float),
        Column("tare_kg", Float),
        Column("vessel", String(40)),
        Column("of_kg", Float),
        Column("moisture_wb", Float),
        CheckConstraint("tare_kg >= 0", name="tare_not_negative"),
        CheckConstraint("moisture_wb >= 0 AND moisture_wb < 1", name="moisture_is_fraction"),
    ),
    "tally": _shape_table(
        "tally",
        Column("looked_at", Integer, nullable=False),
        Column("counts", JsonText, nullable=False),
        Column("lengths", JsonText, nullable=False),
        CheckConstraint("looked_at > 0", name="something_looked_at"),
    ),
    "part": _shape_table(
        "part",
        Column("source_type", String(12), nullable=False),
        Column("source_id", String(60), nullable=False),
        Column("target_type", String(12), nullable=False),
        Column("target_id", String(60), nullable=False),
        Column("as_is_kg", Float, nullable=False),
        Column("moisture_wb", Float, nullable=False),
        Column("dry_kg", Float, nullable=False),
        CheckConstraint("as_is_kg >= 0 AND dry_kg >= 0", name="mass_not_negative"),
        CheckConstraint("moisture_wb >= 0 AND moisture_wb < 1", name="moisture_is_fraction"),
        Index("ix_fact_part_source", "source_type", "source_id"),
        Index("ix_fact_part_target", "target_type", "target_id"),
    ),
    "result": _shape_table(
        "result",
        Column("value", Float, nullable=False),
        Column("beside", JsonText, nullable=False, server_default="{}"),
    ),
    "analysis": _shape_table("analysis", Column("found", JsonText, nullable=False)),
    "action": _shape_table(
        "action", Column("amount", Float), Column("what", String(200)), Column("until_at", UtcDateTime)
    ),
    "remark": _shape_table(
        "remark", Column("findings", JsonText, nullable=False), Column("text", Text), Column("ergot_kg", Float)
    ),
    "answer": _shape_table(
        "answer",
        Column("rule", String(60), nullable=False),
        Column("episode_id", String(60), nullable=False),
        Column("answer", String(20), nullable=False),
        Column("severity", String(10), nullable=False),
        Column("until_at", UtcDateTime),
    ),
    "withdrawal": _shape_table("withdrawal", Column("reason", String(500))),
}
PART = SHAPE_TABLES["part"]

_ENVELOPE = tuple(field.name for field in dataclass_fields(Fact) if field.name != "subject")
_SHAPE_FIELDS = {
    shape: tuple(field.name for field in dataclass_fields(cls) if field.name not in {"subject", *_ENVELOPE})
    for shape, cls in SHAPES.items()
}


def _all_columns() -> list[Any]:
    """Those of times and JSON as they are kept: `_reader` reads them, each for the facts that have it."""
    columns: list[Any] = [_as_kept(column).label(column.name) for column in fact.c]
    for table in SHAPE_TABLES.values():
        shape = [column for column in table.c if column.name != "fact_seq"]
        columns += [_as_kept(column).label(f"{table.name}_{column.name}") for column in shape]
    return columns


def _as_kept(column: Column[Any]) -> Any:
    if isinstance(column.type, UtcDateTime):
        return type_coerce(column, DateTime)
    return type_coerce(column, Text) if isinstance(column.type, JsonText) else column


_COLUMNS = _all_columns()


def select_facts() -> Select[Any]:
    """Facts with the columns of every shape, in one statement; add the condition and read with facts_from."""
    source: Any = fact
    for table in SHAPE_TABLES.values():
        source = source.outerjoin(table, table.c.fact_seq == fact.c.seq)
    return select(*_COLUMNS).select_from(source).order_by(fact.c.seq)


def facts_from(rows: Iterable[Row[Any]]) -> list[Fact]:
    """The facts of rows read with select_facts."""
    return [_reader(row[_KIND])(row) for row in rows]


@cache
def _reader(kind_name: str) -> Callable[[Row[Any]], Fact]:
    """How a row of this kind becomes a fact. Columns are taken by place: by name takes three times as long."""
    kind = KINDS[kind_name]
    prefix = f"fact_{kind.shape_name}_"
    places = {name: _PLACES[name] for name in _ENVELOPE}
    subjects = {"subject": (_PLACES["subject_type"], _PLACES["subject_id"])}
    for name in _SHAPE_FIELDS[kind.shape_name]:
        if name in ("source", "target"):
            subjects[name] = (_PLACES[f"{prefix}{name}_type"], _PLACES[f"{prefix}{name}_id"])
        elif name != "correction":
            places[name] = _PLACES[prefix + name]
    names, values_of = tuple(places), itemgetter(*places.values())
    shape, has_lengths = kind.shape, "lengths" in places
    defaults: dict[str, Any] = {
        field.name: field.default for field in dataclass_fields(shape) if field.name not in {*names, *subjects}
    }
    columns = (*fact.c, *SHAPE_TABLES[kind.shape_name].c)
    times = [column.name for column in columns if isinstance(column.type, UtcDateTime) and column.name in places]
    texts = [column.name for column in columns if isinstance(column.type, JsonText) and column.name in places]

    def read(row: Row[Any]) -> Fact:
        values = defaults | dict(zip(names, values_of(row), strict=True))
        for name, (type_, id_) in subjects.items():
            values[name] = Subject(row[type_], row[id_])
        for name in times:
            values[name] = values[name] and values[name].replace(tzinfo=UTC)
        for name in texts:
            values[name] = {} if values[name] == "{}" else json.loads(values[name])
        if has_lengths:
            values["lengths"] = tuple(values["lengths"])
        # A frozen dataclass sets its fields one by one, which takes longer than all the rest.
        found: Fact = object.__new__(shape)
        found.__dict__.update(values)
        return found

    return read


_PLACES = {column.name: place for place, column in enumerate(_COLUMNS)}
_KIND = _PLACES["kind"]


def row_of(each: Fact) -> dict[str, Any]:
    """The columns of the fact table, but seq, received_at and body_sha256."""
    row = {name: getattr(each, name) for name in _ENVELOPE if name not in ("seq", "received_at")}
    return row | {"subject_type": each.subject.type, "subject_id": each.subject.id, "typed": dict(each.typed)}


def shape_row_of(each: Fact, seq: int) -> tuple[Table, dict[str, Any]]:
    """The table of the fact's shape, and its row there."""
    shape = KINDS[each.kind].shape_name
    row: dict[str, Any] = {"fact_seq": seq}
    for name in _SHAPE_FIELDS[shape]:
        value = getattr(each, name)
        if name in ("source", "target"):
            row |= {f"{name}_type": value.type, f"{name}_id": value.id}
        elif name == "lengths":
            row[name] = list(value)
        elif name != "correction":
            row[name] = dict(value) if isinstance(value, Mapping) else value
    return SHAPE_TABLES[shape], row


def find_fact(session: Session, fact_id: str) -> Fact | None:
    """The fact of that id, whether it stands or not."""
    rows = session.execute(select_facts().where(fact.c.id == fact_id)).all()
    return facts_from(rows)[0] if rows else None


def get_fact(session: Session, fact_id: str) -> Fact:
    found = find_fact(session, fact_id)
    if found is None:
        raise NotFound("entry", fact_id)
    return found


# Built once: it is asked before every fact that is kept.
_BODY_SHA256 = select(fact.c.body_sha256).where(fact.c.id == bindparam("fact_id"))


def find_body_sha256(session: Session, fact_id: str) -> str | None:
    return session.scalar(_BODY_SHA256, {"fact_id": fact_id})


def list_superseders(session: Session, fact_id: str) -> list[Fact]:
    """The facts that name this one as what they supersede. One that came before it and doesn't fit it is among them."""
    return facts_from(session.execute(select_facts().where(fact.c.supersedes_id == fact_id)).all())


def find_superseder(session: Session, fact_id: str) -> Fact | None:
    """The fact that takes the place of this one, if any has come; as long as this one isn't here, the first for it."""
    named = list_superseders(session, fact_id)
    earlier = find_fact(session, fact_id) if named else None
    if earlier is None:
        return named[0] if named else None
    links = [*reversed(list_superseded(session, earlier)), earlier]
    return next((each for each in named if can_supersede(each, earlier, original_kind(links, each))), None)


def list_superseded(session: Session, later: Fact) -> list[Fact]:
    """What a fact superseded, what that one superseded, and so on, as far as it has come."""
    superseded: list[Fact] = []
    last: Fact | None = later
    while last is not None and last.supersedes_id is not None and last not in superseded[:-1]:
        last = find_fact(session, last.supersedes_id)
        superseded += [last] if last is not None else []
    return superseded


def takes_its_place(later: Any) -> ColumnElement[bool]:
    """That a row of this alias of the fact table supersedes the row of the fact table, and fits it."""
    is_alike = and_(later.c.subject_type == fact.c.subject_type, later.c.subject_id == fact.c.subject_id)
    return and_(later.c.supersedes_id == fact.c.id, is_alike, later.c.kind.in_((fact.c.kind, "withdrawal")))


def stands() -> list[ColumnElement[bool]]:
    """That a fact holds: it fits what it supersedes, and nothing that fits supersedes it."""
    later, earlier = fact.alias("later"), fact.alias("earlier")
    superseded = exists().where(takes_its_place(later))
    misfit = exists().where(
        earlier.c.id == fact.c.supersedes_id,
        or_(
            earlier.c.subject_type != fact.c.subject_type,
            earlier.c.subject_id != fact.c.subject_id,
            earlier.c.kind.not_in((fact.c.kind, "withdrawal")),
        ),
    )
    return [~superseded, ~misfit]


def found_by(*places: Select[Any]) -> ColumnElement[bool]:
    """That one of these selections of places holds a fact, each by its own index.

    One condition of as many alternatives is answered by reading every fact, once the database has counted its rows.
    """
    return fact.c.seq.in_(union(*places))


def places_about(type_: str, ids: Any) -> Select[Any]:
    """The places of the facts about these."""
    return select(_TOLD.c.seq).where(_TOLD.c.subject_type == type_, _TOLD.c.subject_id.in_(ids))


def places_of_parts(*ends: tuple[str, str, Any]) -> list[Select[Any]]:
    """The places of the parts with one of these ends (source or target, type, ids), and of what names such a part as
    superseded: it may be struck out by a fact about the batch at its other end.
    """
    found: list[Select[Any]] = []
    for end, type_, ids in ends:
        touching = (PART.c[f"{end}_type"] == type_) & PART.c[f"{end}_id"].in_(ids)
        moved = fact.alias("moved")
        struck = select(moved.c.id).join(PART, PART.c.fact_seq == moved.c.seq).where(touching)
        found += [select(PART.c.fact_seq).where(touching), select(_TOLD.c.seq).where(_TOLD.c.supersedes_id.in_(struck))]
    return found


def places_of_story(type_: str, ids: Any) -> list[Select[Any]]:
    """The places of all that was ever said of these lots or packs."""
    return [places_about(type_, ids), *places_of_parts(("source", type_, ids), ("target", type_, ids))]


def list_facts_about(session: Session, *subjects: Subject) -> list[Fact]:
    """Every fact whose subject is one of these, superseded ones too, and every part into or out of them."""
    by_type: dict[str, list[str]] = {}
    for subject in subjects:
        by_type.setdefault(subject.type, []).append(subject.id)
    places: list[Select[Any]] = []
    for type_, ids in by_type.items():
        places.append(places_about(type_, ids))
        for end in ("source", "target"):
            places.append(select(PART.c.fact_seq).where(PART.c[f"{end}_type"] == type_, PART.c[f"{end}_id"].in_(ids)))
    return facts_from(session.execute(select_facts().where(found_by(*places))).all()) if places else []


def list_facts_after(session: Session, seq: int, limit: int) -> list[Fact]:
    """Facts that arrived after this one, in order of arrival."""
    return facts_from(session.execute(select_facts().where(fact.c.seq > seq).limit(limit)).all())


def last_seq(session: Session) -> int:
    return session.scalar(select(func.max(fact.c.seq))) or 0


def parts_between(session: Session, subjects: Iterable[Subject]) -> list[Part]:
    """Every part, superseded ones too, that goes into or out of these."""
    return [each for each in list_facts_about(session, *subjects) if isinstance(each, Part)]
