"""How units of work begin, on a file and with real threads."""

import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy import Column, Engine, Integer, MetaData, Table, event, insert, select, text, update
from sqlalchemy.exc import OperationalError, StatementError

from app.errors import Unavailable
from app.store.engine import make_engine, make_sessionmaker, read_only_from_now, read_session, write_session
from app.store.types import JsonText, UtcDateTime, canonical_json

metadata = MetaData()
counter = Table("counter", metadata, Column("id", Integer, primary_key=True), Column("value", Integer))
moment = Table(
    "moment", metadata, Column("id", Integer, primary_key=True), Column("at", UtcDateTime), Column("what", JsonText)
)


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    engine = make_engine(f"sqlite:///{tmp_path / 'store.sqlite'}")
    metadata.create_all(engine)
    with write_session(engine) as session:
        session.execute(insert(counter).values(id=1, value=0))
    yield engine
    engine.dispose()


def value_of(engine: Engine) -> int:
    with read_session(engine) as session:
        return session.scalars(select(counter.c.value)).one()


def test_eight_threads_reading_then_writing_lose_nothing(engine: Engine) -> None:
    def add_one(_: int) -> None:
        with write_session(engine) as session:
            seen = session.scalars(select(counter.c.value)).one()
            session.execute(update(counter).values(value=seen + 1))

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(add_one, range(200)))
    assert value_of(engine) == 200


def test_a_reader_is_not_held_up_by_a_writer_and_sees_one_snapshot(engine: Engine) -> None:
    with write_session(engine) as writer, read_session(engine) as reader:
        writer.execute(update(counter).values(value=7))
        assert reader.scalars(select(counter.c.value)).one() == 0
        writer.commit()
        assert reader.scalars(select(counter.c.value)).one() == 0
    assert value_of(engine) == 7


def test_a_reading_session_cannot_write(engine: Engine) -> None:
    with read_session(engine) as session, pytest.raises(OperationalError, match="readonly"):
        session.execute(update(counter).values(value=1))


def test_a_connection_that_was_read_with_writes_again(engine: Engine) -> None:
    for expected in range(1, 25):
        assert value_of(engine) == expected - 1
        with write_session(engine) as session:
            session.execute(update(counter).values(value=counter.c.value + 1))
    assert value_of(engine) == 24


def test_the_write_lock_is_taken_before_the_first_read(engine: Engine, tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "store.sqlite", timeout=0, isolation_level=None)
    with make_sessionmaker(engine)() as session:
        session.execute(select(counter.c.value))
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
    other.execute("BEGIN IMMEDIATE")
    other.close()


def test_who_will_not_wait_gives_up_soon_and_leaves_the_connection_as_patient_as_it_was(engine: Engine) -> None:
    said: list[str] = []
    event.listen(engine, "connect", lambda driver, _record: driver.set_trace_callback(said.append))
    brief = make_sessionmaker(engine, wait_ms=1)
    with write_session(engine) as holder:
        holder.execute(update(counter).values(value=7))
        with pytest.raises(Unavailable), brief.begin() as session:
            session.execute(update(counter).values(value=8))
    patience = [each for each in said if each.startswith("PRAGMA busy_timeout = ")]
    assert patience[-2:] == ["PRAGMA busy_timeout = 1", "PRAGMA busy_timeout = 10000"]
    assert said.index("PRAGMA busy_timeout = 1") < len(said) - 1 - said[::-1].index("BEGIN IMMEDIATE")
    assert value_of(engine) == 7


def test_a_session_that_only_reads_from_now_on_holds_nobody_up(engine: Engine, tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "store.sqlite", timeout=0, isolation_level=None)
    with make_sessionmaker(engine)() as session:
        session.execute(update(counter).values(value=5))
        session.commit()
        read_only_from_now(session)
        assert session.scalar(select(counter.c.value)) == 5
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(OperationalError, match="readonly"):
            session.execute(update(counter).values(value=6))
    other.close()


def test_an_exception_rolls_everything_back(engine: Engine) -> None:
    def write_and_fail() -> None:
        with write_session(engine) as session:
            session.execute(update(counter).values(value=9))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        write_and_fail()
    assert value_of(engine) == 0


def test_a_savepoint_gives_back_only_its_own_part(engine: Engine) -> None:
    with write_session(engine) as session:
        session.execute(insert(counter).values(id=2, value=2))
        savepoint = session.begin_nested()
        session.execute(insert(counter).values(id=3, value=3))
        savepoint.rollback()
    with read_session(engine) as session:
        assert session.scalars(select(counter.c.id).order_by(counter.c.id)).all() == [1, 2]


@pytest.mark.parametrize(
    ("pragma", "expected"),
    [("foreign_keys", 1), ("journal_mode", "wal"), ("synchronous", 2), ("busy_timeout", 10_000)],
)
def test_every_connection_carries_the_pragmas(engine: Engine, pragma: str, expected: object) -> None:
    with read_session(engine) as session:
        assert session.scalar(text(f"PRAGMA {pragma}")) == expected


def test_a_time_comes_back_aware_and_in_utc(engine: Engine) -> None:
    at = datetime(2026, 3, 29, 2, 30, 0, 250, tzinfo=timezone(timedelta(hours=2)))
    with write_session(engine) as session:
        session.execute(insert(moment).values(id=1, at=at))
    with read_session(engine) as session:
        kept = session.scalars(select(moment.c.at).where(moment.c.at == at)).one()
        as_text = session.scalar(text("SELECT at FROM moment"))
    assert kept == at
    assert kept.tzinfo is UTC
    assert as_text == "2026-03-29 00:30:00.000250"


def test_a_time_without_a_zone_is_refused(engine: Engine) -> None:
    naive = datetime(2026, 3, 29, 2, 30, tzinfo=UTC).replace(tzinfo=None)
    with write_session(engine) as session, pytest.raises(StatementError, match="without its zone"):
        session.execute(insert(moment).values(id=1, at=naive))


def test_json_has_one_spelling(engine: Engine) -> None:
    assert canonical_json({"b": 1, "a": ["é"]}) == '{"a":["é"],"b":1}'
    with write_session(engine) as session:
        session.execute(insert(moment), [{"id": 1, "what": {"b": 1, "a": None}}, {"id": 2, "what": None}])
    with read_session(engine) as session:
        assert session.scalars(select(moment.c.what).order_by(moment.c.id)).all() == [{"a": None, "b": 1}, None]
        assert session.scalar(text("SELECT what FROM moment WHERE id = 2")) is None
    with pytest.raises(ValueError, match="not JSON compliant"):
        canonical_json(float("nan"))
