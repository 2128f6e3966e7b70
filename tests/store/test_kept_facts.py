"""Facts that were read once are not read anew, and are those that stand in the database."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from shutil import copy

import pytest
from sqlalchemy import Engine, event
from sqlalchemy.orm import Session, sessionmaker

from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Reading
from app.operations.facts import record_fact, withdraw_fact
from app.store.engine import make_sessionmaker, open_database
from app.store.facts import find_fact
from app.store.history import get_history, load_histories
from app.store.kept_facts import FACTS, KEEPS, KeptFacts
from tests.writing import BATCH, NOW, OTHER, add_batch, charge, water


@pytest.fixture
def engine(tmp_path: Path, migrated_file: Path) -> Iterator[Engine]:
    copy(migrated_file, tmp_path / "kept.sqlite")
    with open_database(f"sqlite:///{tmp_path / 'kept.sqlite'}") as engine:
        with make_sessionmaker(engine).begin() as session:
            add_batch(session)
            add_batch(session, OTHER, charge(id="charge-other"))
            record_fact(session, water(id="first"), now=NOW)
        yield engine


@pytest.fixture
def kept() -> KeptFacts:
    return KeptFacts()


@pytest.fixture
def reading(engine: Engine, kept: KeptFacts) -> sessionmaker[Session]:
    return make_sessionmaker(engine, reading=True, info={FACTS: kept, KEEPS: True})


@pytest.fixture
def writing(engine: Engine, kept: KeptFacts) -> sessionmaker[Session]:
    return make_sessionmaker(engine, info={FACTS: kept})


def test_a_history_of_kept_facts_is_that_of_facts_read_anew(
    engine: Engine, reading: sessionmaker[Session], writing: sessionmaker[Session]
) -> None:
    def is_alike() -> bool:
        with reading() as session, make_sessionmaker(engine, reading=True)() as anew:
            ids = [BATCH, OTHER]
            return load_histories(session, ids) == load_histories(anew, ids)

    assert is_alike()
    with writing.begin() as session:
        record_fact(session, water(id="second"), now=NOW)
    assert is_alike()
    with writing.begin() as session:
        first = find_fact(session, "first")
        assert first is not None
        withdraw_fact(session, first, new_id="struck", now=NOW)
    assert is_alike()
    with reading() as session:
        assert [fact.id for fact in get_history(session, BATCH).facts] == [f"charge-{BATCH}", "second"]


def test_what_is_kept_is_not_read_again(engine: Engine, reading: sessionmaker[Session]) -> None:
    said: list[str] = []
    event.listen(engine, "before_cursor_execute", lambda *told: said.append(told[2]))
    for _ in range(2):
        said.clear()
        with reading() as session:
            get_history(session, BATCH)
    assert not [statement for statement in said if "fact_reading" in statement]


def read_in(session: Session) -> Sequence[Reading]:
    return get_history(session, BATCH).readings("water_temperature")


def test_what_a_unit_of_work_that_failed_had_read_is_kept_by_nobody(
    reading: sessionmaker[Session], writing: sessionmaker[Session]
) -> None:
    with writing() as session:
        record_fact(session, water(id="third", value="11"), now=NOW)
        assert [reading.value for reading in read_in(session)] == [12.0, 11.0]
        session.rollback()
    with writing.begin() as session:
        record_fact(session, water(id="third", value="12"), now=NOW)
    with reading() as session:
        assert [reading.value for reading in read_in(session)] == [12.0, 12.0]


def test_no_more_are_kept_than_a_bounded_number() -> None:
    kept, fact = KeptFacts(most=3), fact_from_record(water())
    for seq in range(10):
        kept.keep({(seq, "id"): fact})
        assert len(kept.of([(each, "id") for each in range(10)])) <= 3
    assert set(kept.of([(each, "id") for each in range(10)])) == {(7, "id"), (8, "id"), (9, "id")}
    kept.keep({(seq, "id"): fact for seq in range(20, 30)})
    assert set(kept.of([(each, "id") for each in range(40)])) == {(27, "id"), (28, "id"), (29, "id")}
