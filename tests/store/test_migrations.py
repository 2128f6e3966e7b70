"""Migrations with something in the tables: what was recorded outlives every one of them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, MetaData, Table, func, select, text
from sqlalchemy.exc import IntegrityError

from app.errors import CannotStart
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Result
from app.operations.facts import record_fact
from app.operations.programmes import ensure_builtin_programmes
from app.store import schema
from app.store.calendar_feeds import CalendarFeed, find_feed_by_token, token_digest
from app.store.devices import code_digest, find_code, find_device
from app.store.engine import open_database, read_session, write_session
from app.store.facts import SHAPE_TABLES, list_facts_after
from app.store.history import get_history
from tests.writing import BATCH, NOW, add_batch, water

REVISIONS = [each.revision for each in ScriptDirectory.from_config(schema.alembic_config()).walk_revisions()][::-1]


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    with open_database(f"sqlite:///{tmp_path / 'chitbook.sqlite'}") as engine:
        yield engine


def _value(column: Any) -> Any:
    kind = column.type.python_type
    if column.name == "clock":
        return "now"
    if column.name in ("typed", "counts", "lengths", "findings", "content", "measures", "beside"):
        return "{}"
    if column.name == "size":
        return "small"
    plain = {"int": 1, "float": 0.5, "bool": True, "str": "1", "bytes": b"1"}
    return plain.get(kind.__name__, NOW.replace(tzinfo=None))


def fill_every_table(connection: Connection) -> dict[str, int]:
    """One row in each table, as it stands at this revision; and how many rows each has then."""
    found = MetaData()
    found.reflect(connection)
    tables = [table for table in found.sorted_tables if table.name != "alembic_version"]
    for table in tables:
        connection.execute(table.insert().values({column.name: _value(column) for column in table.c}))
    return rows_of(connection, tables)


def rows_of(connection: Connection, tables: list[Table]) -> dict[str, int]:
    return {each.name: connection.scalar(select(func.count()).select_from(each)) or 0 for each in tables}


@pytest.mark.parametrize("revision", REVISIONS)
def test_rows_of_every_table_survive_the_way_to_the_newest_revision(engine: Engine, revision: str) -> None:
    schema.upgrade(engine, revision)
    with engine.begin() as connection:
        before = fill_every_table(connection)
    schema.upgrade(engine)
    assert schema.current_revision(engine) == schema.head_revision()
    found = MetaData()
    with engine.connect() as connection:
        found.reflect(connection)
        assert before.items() <= rows_of(connection, list(found.sorted_tables)).items()
        assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
        assert connection.scalar(text("PRAGMA integrity_check")) == "ok"


def test_a_story_is_the_same_after_the_migrations_ran_again(engine: Engine) -> None:
    schema.upgrade(engine)
    with write_session(engine) as session:
        ensure_builtin_programmes(session, now=NOW)
        add_batch(session)
        record_fact(session, water(), now=NOW)
        before = get_history(session, BATCH)
    schema.upgrade(engine)
    with read_session(engine) as session:
        assert get_history(session, BATCH) == before
        assert len(list_facts_after(session, 0, 10)) == 3


def test_a_migration_that_breaks_a_reference_is_undone_whole(engine: Engine) -> None:
    schema.upgrade(engine)
    with engine.begin() as connection:
        before = fill_every_table(connection)

    def drop_the_facts() -> None:
        with schema.migration_connection(engine) as connection:
            connection.execute(text("DELETE FROM fact"))

    with pytest.raises(CannotStart, match="undone"):
        drop_the_facts()
    with engine.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM fact")) == before["fact"] == 1


def test_every_shape_of_every_kind_has_its_table_after_the_migrations(engine: Engine) -> None:
    schema.upgrade(engine)
    found = MetaData()
    with engine.connect() as connection:
        found.reflect(connection)
    assert {SHAPE_TABLES[kind.shape_name].name for kind in KINDS.values()} <= set(found.tables)


def test_results_of_before_have_nothing_beside_them(engine: Engine) -> None:
    """What was kept by the first version, read by this one."""
    schema.upgrade(engine, REVISIONS[0])
    at = "2026-03-14 09:30:00"
    fact = {"id": "t", "subject_type": "lot", "subject_id": "l", "kind": "moisture_test", "clock": "typed", "v": 1}
    fact |= {"quality": "measured", "body_sha256": "0", "typed": "{}", "earliest_at": at, "latest_at": at}
    fact |= {"received_at": at}
    with engine.begin() as connection:
        names = ", ".join(fact)
        values = ", ".join(f":{name}" for name in fact)
        connection.execute(text(f"INSERT INTO fact (seq, {names}) VALUES (1, {values})"), fact)
        connection.execute(text("INSERT INTO fact_result (fact_seq, value) VALUES (1, 0.125)"))
    schema.upgrade(engine)
    with read_session(engine) as session:
        found = list_facts_after(session, 0, 10)
    assert [(fact.kind, fact.value, dict(fact.beside)) for fact in found if isinstance(fact, Result)] == [
        ("moisture_test", 0.125, {})
    ]


def test_two_feeds_never_share_a_token_after_the_migrations(engine: Engine) -> None:
    schema.upgrade(engine)
    feed = {"name": "phone", "token_sha256": "0" * 64, "units": "us", "has_alarms": True, "created_at": NOW}
    with write_session(engine) as session:
        session.add(CalendarFeed(id="one", **feed))
        session.flush()
        session.add(CalendarFeed(id="other", **feed))
        with pytest.raises(IntegrityError):
            session.flush()
        session.rollback()


def test_corrections_of_before_stand_and_numbers_go_on_once_another_kind_may_wait(engine: Engine) -> None:
    """The table of facts is built anew for it: its checks, its numbers and what points to it must all be there."""
    schema.upgrade(engine, "5e7d20c4b1a9")
    at = "2026-03-14 09:30:00"
    common = {"subject_type": "batch", "subject_id": "b", "kind": "water_temperature", "clock": "typed", "v": 1}
    common |= {"quality": "measured", "body_sha256": "0", "typed": "{}", "received_at": at}
    common |= {"earliest_at": at, "latest_at": at}
    add = f"INSERT INTO fact (id, supersedes_id, {', '.join(common)}) VALUES (:id, :target, :{', :'.join(common)})"
    with engine.begin() as connection:
        for id_, target in (("a", None), ("b", "a"), ("c", None)):
            connection.execute(text(add), common | {"id": id_, "target": target})
            connection.execute(text("INSERT INTO fact_reading (fact_seq, value) SELECT max(seq), 12 FROM fact"))
    schema.upgrade(engine)
    with engine.begin() as connection:
        rows = connection.execute(text("SELECT seq, id, supersedes_id FROM fact ORDER BY seq")).all()
        assert [tuple(row) for row in rows] == [(1, "a", None), (2, "b", "a"), (3, "c", None)]
        assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
        connection.execute(text(add), common | {"id": "d", "target": "a", "kind": "grain_temperature"})
        assert connection.scalar(text("SELECT seq FROM fact WHERE id = 'd'")) == 4
        made = connection.scalar(text("SELECT sql FROM sqlite_schema WHERE name = 'fact'")) or ""
        assert "AUTOINCREMENT" in made
        plan = connection.execute(text("EXPLAIN QUERY PLAN SELECT * FROM fact WHERE supersedes_id = 'a'")).all()
        assert "USING INDEX" in str(plan)
    for wrong in ({"id": "e", "target": "a"}, {"id": "f", "target": None, "clock": "sundial"}):
        with engine.begin() as connection, pytest.raises(IntegrityError):
            connection.execute(text(add), common | wrong)


def test_keys_of_before_are_open_still_and_nobody_knows_who_made_them(engine: Engine) -> None:
    schema.upgrade(engine, "e27b5c18f3a4")
    at = "2026-03-14 09:30:00.000000"
    feed = {"id": "f", "name": "Nora’s", "token_sha256": token_digest("T"), "units": "us", "has_alarms": 1}
    code = {"id": "c", "code_sha256": code_digest("ABC"), "role": "may_log", "expires_at": at}
    device = {"id": "d", "name": "Kiln", "role": "may_log", "created_at": at, "last_seen_at": at}
    with engine.begin() as connection:
        for table, row in (("calendar_feed", feed | {"created_at": at}), ("pairing_code", code), ("device", device)):
            connection.execute(text(f"INSERT INTO {table} ({', '.join(row)}) VALUES (:{', :'.join(row)})"), row)
    schema.upgrade(engine)
    with read_session(engine) as session:
        found = (find_feed_by_token(session, "T"), find_code(session, "ABC"), find_device(session, "d"))
        assert [each and each.id for each in found] == ["f", "c", "d"]
        assert [each and each.made_by for each in found] == [None, None, None]
