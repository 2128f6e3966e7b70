"""Migrations as a whole: one head, a way from nothing to it, and the same tables at its end as the program has."""

import importlib
import pkgutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, text

import app.store
from app.errors import CannotStart
from app.store import schema
from app.store.base import metadata
from app.store.engine import make_engine, open_database, read_session


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    with open_database(f"sqlite:///{tmp_path / 'empty.sqlite'}") as engine:
        yield engine


def test_there_is_one_head_and_the_cheap_reading_finds_the_same() -> None:
    script = ScriptDirectory.from_config(schema.alembic_config())
    assert [schema.head_revision()] == script.get_heads()
    assert schema.known_revisions() == {each.revision: each.down_revision for each in script.walk_revisions()}


def test_every_revision_is_named_by_its_minute() -> None:
    names = [path.stem for path in (schema.migrations_folder() / "versions").glob("*.py")]
    assert names
    assert all(name[:8].isdecimal() and name[8] == "_" and name[9:13].isdecimal() for name in names)


def test_an_empty_database_comes_to_the_head(engine: Engine) -> None:
    assert schema.current_revision(engine) is None
    schema.upgrade(engine)
    assert schema.current_revision(engine) == schema.head_revision()


def test_the_migrations_make_the_tables_that_the_program_has(engine: Engine) -> None:
    for module in pkgutil.iter_modules(app.store.__path__):
        importlib.import_module(f"app.store.{module.name}")
    schema.upgrade(engine)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_every_revision_can_be_undone_and_done_again(engine: Engine) -> None:
    from alembic import command

    schema.upgrade(engine)
    with schema.migration_connection(engine) as connection:
        config = schema.alembic_config()
        config.attributes["connection"] = connection
        command.downgrade(config, "base")
    assert schema.current_revision(engine) is None
    schema.upgrade(engine)
    assert schema.current_revision(engine) == schema.head_revision()


def test_foreign_keys_are_on_again_after_a_migration(engine: Engine) -> None:
    schema.upgrade(engine)
    with read_session(engine) as session:
        assert session.scalar(text("PRAGMA foreign_keys")) == 1


def test_a_file_is_looked_at_without_leaving_a_trace(tmp_path: Path) -> None:
    path = tmp_path / "made.sqlite"
    assert schema.inspect_file(path) is None
    with open_database(f"sqlite:///{path}") as engine:
        schema.upgrade(engine)
    before = {each.name: each.read_bytes() for each in tmp_path.iterdir()}
    assert schema.inspect_file(path, thoroughly=True) == schema.head_revision()
    assert {each.name: each.read_bytes() for each in tmp_path.iterdir()} == before


def test_what_a_killed_server_left_in_its_log_counts(tmp_path: Path) -> None:
    path = tmp_path / "made.sqlite"
    engine = make_engine(f"sqlite:///{path}")
    held = engine.connect()
    held.execute(text("SELECT 1"))
    held.rollback()
    schema.upgrade(engine)
    assert path.with_name("made.sqlite-wal").stat().st_size > 0
    assert schema.inspect_file(path) == schema.head_revision()
    held.close()
    engine.dispose()


def test_two_heads_are_not_started(tmp_path: Path) -> None:
    versions = tmp_path / "versions"
    versions.mkdir()
    for name in ("a", "b"):
        (versions / f"{name}.py").write_text(f'revision: str = "{name}"\ndown_revision = None\n')
    with pytest.raises(CannotStart, match="2 heads"):
        schema.head_revision(tmp_path)
