"""An older database is backed up, then brought to the newest revision: all of it, or nothing."""

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from app.config import Settings
from app.errors import CannotStart
from app.serve import migrate
from app.store import schema

ROOT = Path(__file__).parents[2]

FIRST = """
    op.create_table("mother", sa.Column("id", sa.Integer, primary_key=True), sa.Column("name", sa.Text))
    op.create_table(
        "child",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("mother_id", sa.Integer, sa.ForeignKey("mother.id", ondelete="CASCADE"), nullable=False),
    )
    op.execute("INSERT INTO mother VALUES (1, 'first')")
    op.execute("INSERT INTO child VALUES (10, 1)")
"""
REBUILDING = """
    with op.batch_alter_table("mother") as batch_op:
        batch_op.alter_column("name", nullable=False, server_default="")
        batch_op.add_column(sa.Column("age", sa.Integer))
"""
FAILING = """
    op.create_table("half", sa.Column("id", sa.Integer, primary_key=True))
    op.execute("INSERT INTO half VALUES (1)")
    op.execute("INSERT INTO nowhere VALUES (1)")
"""
ORPHANING = """
    op.execute("DELETE FROM mother")
"""

Write = Callable[[int, str], None]


@pytest.fixture
def write_revision(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Write:
    """Writes the revisions of a small program of its own, whose env.py is the real one."""
    migrations = tmp_path / "migrations"
    (migrations / "versions").mkdir(parents=True)
    shutil.copy(ROOT / "migrations" / "env.py", migrations)
    monkeypatch.setattr(schema, "migrations_folder", lambda: migrations)

    def write(number: int, body: str) -> None:
        before = repr(f"r{number - 1}") if number > 1 else None
        (migrations / "versions" / f"{number}.py").write_text(
            f"import sqlalchemy as sa\nfrom alembic import op\n\nrevision = 'r{number}'\ndown_revision = {before}\n\n\n"
            f"def upgrade() -> None:{body}\n"
        )

    return write


@pytest.fixture
def settings(tmp_path: Path, write_revision: Write) -> Settings:
    """A folder whose database is at the first revision."""
    settings = Settings(data_dir=tmp_path / "malthouse")
    settings.data_dir.mkdir()
    write_revision(1, FIRST)
    migrate(settings)
    return settings


def rows(database: Path, query: str) -> list[Any]:
    with closing(sqlite3.connect(database)) as connection:
        return connection.execute(query).fetchall()


def backups(settings: Settings) -> list[Path]:
    return sorted(settings.backup_dir.glob("*")) if settings.backup_dir.exists() else []


def test_a_fresh_database_needs_no_backup(settings: Settings) -> None:
    assert schema.inspect_file(settings.database_file) == "r1"
    assert backups(settings) == []


def test_nothing_is_done_when_there_is_nothing_to_do(settings: Settings) -> None:
    before = settings.database_file.read_bytes()
    assert migrate(settings) is None
    assert settings.database_file.read_bytes() == before
    assert backups(settings) == []


def test_an_older_database_is_backed_up_and_upgraded(settings: Settings, write_revision: Write) -> None:
    write_revision(2, REBUILDING)
    said = migrate(settings)
    (kept,) = backups(settings)
    assert said is not None
    assert str(kept) in said
    assert schema.inspect_file(settings.database_file) == "r2"
    assert schema.inspect_file(kept) == "r1"
    assert kept.stat().st_mode & 0o077 == 0


def test_rebuilding_a_table_keeps_the_rows_that_point_to_it(settings: Settings, write_revision: Write) -> None:
    write_revision(2, REBUILDING)
    migrate(settings)
    assert rows(settings.database_file, "SELECT * FROM child") == [(10, 1)]
    assert rows(settings.database_file, "SELECT * FROM mother") == [(1, "first", None)]


@pytest.mark.parametrize("body", [FAILING, ORPHANING])
def test_a_failed_migration_changes_nothing(body: str, settings: Settings, write_revision: Write) -> None:
    write_revision(2, REBUILDING)
    write_revision(3, body)
    tables = rows(settings.database_file, "SELECT sql FROM sqlite_schema")
    with pytest.raises(CannotStart, match="could not be brought to revision r3") as refusal:
        migrate(settings)
    assert str(backups(settings)[0]) in str(refusal.value)
    assert schema.inspect_file(settings.database_file) == "r1"
    assert rows(settings.database_file, "SELECT sql FROM sqlite_schema") == tables
    assert rows(settings.database_file, "SELECT * FROM mother") == [(1, "first")]


def test_a_failed_migration_can_be_tried_again(settings: Settings, write_revision: Write) -> None:
    write_revision(2, FAILING)
    with pytest.raises(CannotStart):
        migrate(settings)
    write_revision(2, REBUILDING)
    assert migrate(settings) is not None
    assert schema.inspect_file(settings.database_file) == "r2"
