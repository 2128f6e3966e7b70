"""Backup and restore: the copy is whole, nothing is overwritten, and nothing is lost on the way back."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from threading import Event, Thread

import pytest

from tests.patience import PATIENCE_S

from .conftest import QuickCommand, Server, snapshot

Start = Callable[..., Server]


def put_mark(database: Path, mark: str) -> None:
    with closing(sqlite3.connect(database)) as connection, connection:
        connection.execute("CREATE TABLE IF NOT EXISTS mark (text TEXT)")
        connection.execute("INSERT INTO mark VALUES (?)", (mark,))


def marks(database: Path) -> list[str]:
    with closing(sqlite3.connect(database)) as connection:
        return [text for (text,) in connection.execute("SELECT text FROM mark ORDER BY rowid")]


def test_a_backup_comes_back_whole(quick: QuickCommand, folder: Path, tmp_path: Path) -> None:
    database, copy = folder / "chitbook.sqlite", tmp_path / "copy.sqlite"
    put_mark(database, "first")
    assert quick("backup", "--data", folder, copy).returncode == 0
    put_mark(database, "second")
    assert quick("restore", "--data", folder, copy).returncode == 0
    assert marks(database) == ["first"]
    (kept,) = (folder / "backups").glob("*-replaced.sqlite")
    assert marks(kept) == ["first", "second"]


def test_a_backup_is_private_and_stands_alone(quick: QuickCommand, folder: Path, tmp_path: Path) -> None:
    quick("backup", "--data", folder, tmp_path / "copy.sqlite")
    assert (tmp_path / "copy.sqlite").stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.glob("copy*")] == ["copy.sqlite"]


def test_a_backup_may_be_restored_into_a_new_folder_and_served(
    start: Start, quick: QuickCommand, folder: Path, tmp_path: Path
) -> None:
    quick("backup", "--data", folder, tmp_path / "copy.sqlite")
    assert quick("restore", "--data", tmp_path / "other", tmp_path / "copy.sqlite").returncode == 0
    assert start("--data", tmp_path / "other").answers()


def test_a_backup_in_the_middle_of_writing_is_sound(
    start: Start, quick: QuickCommand, folder: Path, tmp_path: Path
) -> None:
    start("--data", folder)
    database, enough, stop = folder / "chitbook.sqlite", Event(), Event()
    put_mark(database, "0")

    def write() -> None:
        with closing(sqlite3.connect(database, timeout=PATIENCE_S)) as connection:
            for number in range(1, 100_000):
                with connection:
                    connection.execute("INSERT INTO mark VALUES (?)", (str(number),))
                if number == 50:
                    enough.set()
                if stop.is_set():
                    return

    writer = Thread(target=write)
    writer.start()
    try:
        assert enough.wait(PATIENCE_S)
        done = quick("backup", "--data", folder, tmp_path / "copy.sqlite")
    finally:
        stop.set()
        writer.join()
    assert done.returncode == 0, done
    copied = marks(tmp_path / "copy.sqlite")
    assert len(copied) > 50
    assert copied == [str(number) for number in range(len(copied))]


def test_a_backup_never_overwrites(quick: QuickCommand, folder: Path, tmp_path: Path) -> None:
    (tmp_path / "copy.sqlite").write_text("precious")
    assert "never overwrites" in quick.refused("backup", "--data", folder, tmp_path / "copy.sqlite")
    assert (tmp_path / "copy.sqlite").read_text() == "precious"


def test_a_backup_into_nowhere_is_refused(quick: QuickCommand, folder: Path, tmp_path: Path) -> None:
    assert "can't be written" in quick.refused("backup", "--data", folder, tmp_path / "none" / "copy.sqlite")


def test_a_restore_under_a_running_server_is_refused(
    start: Start, quick: QuickCommand, folder: Path, tmp_path: Path
) -> None:
    quick("backup", "--data", folder, tmp_path / "copy.sqlite")
    server = start("--data", folder)
    assert "Another Chitbook" in quick.refused("restore", "--data", folder, tmp_path / "copy.sqlite")
    assert server.answers()


@pytest.mark.parametrize("content", [None, b"", b"no database at all" * 100])
def test_a_restore_from_something_else_changes_nothing(
    content: bytes | None, quick: QuickCommand, folder: Path, tmp_path: Path
) -> None:
    if content is not None:
        (tmp_path / "copy.sqlite").write_bytes(content)
    before = snapshot(folder)
    quick.refused("restore", "--data", folder, tmp_path / "copy.sqlite")
    assert snapshot(folder) == before


def test_a_damaged_database_is_mended_by_a_restore_and_kept_aside(
    quick: QuickCommand, folder: Path, tmp_path: Path
) -> None:
    quick("backup", "--data", folder, tmp_path / "copy.sqlite")
    (folder / "chitbook.sqlite").write_bytes(b"ruin" * 5000)
    assert quick("restore", "--data", folder, tmp_path / "copy.sqlite").returncode == 0
    assert quick("upgrade", "--data", folder).stdout == "There is nothing to upgrade.\n"
    (kept,) = (folder / "backups").iterdir()
    assert kept.read_bytes() == b"ruin" * 5000


def test_a_left_over_log_is_not_mixed_into_the_restored_file(quick: QuickCommand, folder: Path, tmp_path: Path) -> None:
    database, copy = folder / "chitbook.sqlite", tmp_path / "copy.sqlite"
    put_mark(database, "first")
    quick("backup", "--data", folder, copy)
    with closing(sqlite3.connect(database)) as held:
        held.execute("PRAGMA journal_mode = WAL")
        put_mark(database, "in the log only")
        logs = {path.name: path.read_bytes() for path in folder.glob("chitbook.sqlite-*")}
    for name, content in logs.items():
        (folder / name).write_bytes(content)
    assert "chitbook.sqlite-wal" in logs
    assert quick("restore", "--data", folder, copy).returncode == 0
    assert marks(database) == ["first"]
