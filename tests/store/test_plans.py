"""Once its rows are counted, the database still finds a story by its indexes: it does not read every fact for it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from sqlalchemy import Engine, event, text
from sqlalchemy.orm import Session

from app.judgement.facts.shapes import Subject
from app.serve import furnish
from app.store.engine import count_rows, make_engine, read_session, write_session
from app.store.facts import list_facts_about
from app.store.history import get_history, load_histories
from app.store.kept_facts import FACTS, KeptFacts
from app.store.lots import list_lots, load_lot_stories
from app.store.packs import list_packs, load_pack_stories
from tests.benchmarks.bulk import fill_years
from tests.houses import furnished
from tests.writing import NOW

BATCHES = 120


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory, migrated_file: Any) -> Iterator[Engine]:
    """A record of years, its rows counted."""
    engine = make_engine(furnished(tmp_path_factory.mktemp("years"), migrated_file).database_url)
    fill_years(engine, batches=BATCHES, now=NOW)
    with write_session(engine) as session:
        session.execute(text("ANALYZE"))
    yield engine
    engine.dispose()


def kept(session: Session) -> None:
    session.info[FACTS] = KeptFacts()
    get_history(session, f"batch-{BATCHES}")


READ: dict[str, Callable[[Session], object]] = {
    "one batch": lambda session: get_history(session, f"batch-{BATCHES}"),
    "one batch of which facts are kept": kept,
    "a page of batches": lambda session: load_histories(session, [f"batch-{number}" for number in range(90, 110)]),
    "lots": lambda session: load_lot_stories(session, list_lots(session, limit=20)),
    "packs": lambda session: load_pack_stories(session, list_packs(session, limit=20)),
    "about a lot": lambda session: list_facts_about(session, Subject("lot", "lot-7")),
}


@pytest.mark.parametrize("name", READ)
def test_what_is_read_of_a_story_is_found_by_an_index(name: str, engine: Engine) -> None:
    asked: list[tuple[str, Any]] = []

    def note(_connection: Any, _cursor: Any, statement: str, given: Any, *_rest: Any) -> None:
        asked.append((statement, given))

    event.listen(engine, "before_cursor_execute", note)
    with read_session(engine) as session:
        READ[name](session)
    event.remove(engine, "before_cursor_execute", note)
    with engine.connect() as connection:
        plans = [
            connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", given).all() for statement, given in asked
        ]
    steps = [row.detail for plan in plans for row in plan]
    assert any("ix_fact_subject (subject_type=? AND subject_id=?)" in step for step in steps)
    assert [step for step in steps if is_scan_of_facts(step)] == []


def is_scan_of_facts(step: str) -> bool:
    words = step.split()
    return words[0] == "SCAN" and (words[1].startswith("fact") or words[1] in ("told", "moved", "compared"))


def test_the_rows_are_counted_when_the_house_is_opened(tmp_path: Any, migrated_file: Any) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    settings = furnished(folder, migrated_file)
    furnish(settings)
    engine = make_engine(settings.database_url)
    with read_session(engine) as session:
        assert session.execute(text("SELECT stat FROM sqlite_stat1 WHERE tbl = 'programme'")).all()
    engine.dispose()


def test_rows_are_counted_on_sqlite_alone() -> None:
    said: list[Any] = []
    bind = SimpleNamespace(dialect=SimpleNamespace(name="postgresql"))
    elsewhere: Any = SimpleNamespace(get_bind=lambda: bind, execute=said.append)
    count_rows(elsewhere)
    assert said == []
