"""A restore, with the power cut at its worst moment: what was saved last is somewhere on the disk at every step."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from app.store import copies


def saved(path: Path) -> list[int]:
    with closing(sqlite3.connect(path)) as connection:
        return [row[0] for row in connection.execute("SELECT value FROM saves ORDER BY value")]


def database(path: Path, *values: int) -> Path:
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("CREATE TABLE saves (value INTEGER)")
        connection.executemany("INSERT INTO saves VALUES (?)", [(value,) for value in values])
    return path


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A database whose last save stands in its log alone, as after the power was cut."""
    living = database(tmp_path / "living.sqlite", 1)
    left = tmp_path / "chitbook.sqlite"
    with closing(sqlite3.connect(living)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA wal_autocheckpoint = 0")
        connection.execute("INSERT INTO saves VALUES (2)")
        connection.commit()
        for suffix in ("", "-wal"):
            (tmp_path / f"chitbook.sqlite{suffix}").write_bytes((tmp_path / f"living.sqlite{suffix}").read_bytes())
    return left


def test_the_last_saves_are_in_the_old_file_itself_before_its_log_goes(
    tmp_path: Path, old: Path, monkeypatch: pytest.MonkeyPatch
):
    source = database(tmp_path / "backup.sqlite", 9)
    monkeypatch.setattr(copies.os, "replace", _power_cut)
    with pytest.raises(InterruptedError):
        copies.replace_database(source, old)
    assert saved(old) == [1, 2]


def _power_cut(_source: Path, _target: Path) -> None:
    raise InterruptedError


def test_after_it_the_backup_stands_there_without_the_old_log(tmp_path: Path, old: Path):
    copies.replace_database(database(tmp_path / "backup.sqlite", 9), old)
    assert saved(old) == [9]


def test_a_damaged_database_is_replaced_all_the_same(tmp_path: Path):
    damaged = tmp_path / "chitbook.sqlite"
    damaged.write_bytes(b"no database at all" * 100)
    copies.replace_database(database(tmp_path / "backup.sqlite", 9), damaged)
    assert saved(damaged) == [9]


def test_what_is_kept_aside_is_on_the_disk_with_its_log_and_its_folder(
    tmp_path: Path, old: Path, monkeypatch: pytest.MonkeyPatch
):
    settled = []
    really = os.fsync

    def note(handle: int) -> None:
        settled.append(os.fstat(handle).st_ino)
        really(handle)

    monkeypatch.setattr(copies.os, "fsync", note)
    kept = copies.keep_aside(old, tmp_path / "backups")
    assert kept is not None
    log = kept.with_name(kept.name + "-wal")
    assert {path.stat().st_ino for path in (kept, log, kept.parent)} <= set(settled)
    assert saved(kept) == [1, 2]
