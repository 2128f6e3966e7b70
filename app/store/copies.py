"""Copies of the database: a backup out of it, and a restore into its place."""

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

from app import ports
from app.errors import CannotStart
from app.folder import make_folder
from app.store.schema import open_at_rest, open_file

_LOGS = ("-wal", "-shm")


def back_up(source: Path, target: Path) -> None:
    """Copy a database, in use or not, into the new file `target`: whole or not at all, for this user only."""
    _copy(target, lambda: open_file(source, "mode=rw"))


def _copy(target: Path, open_source: Callable[[], sqlite3.Connection]) -> None:
    if target.exists():
        raise CannotStart(f"{target} is there already, and a backup never overwrites. Name another file.")
    part = target.with_name(target.name + ".part")
    try:
        os.close(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600))
        with closing(open_source()) as reading, closing(sqlite3.connect(part)) as writing:
            reading.backup(writing)
            # A copy in one file: a backup must not depend on files beside it.
            writing.execute("PRAGMA journal_mode = DELETE")
        _settle(part)
        part.rename(target)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise CannotStart(f"The backup {target} can't be written: {error}.") from error


def replace_database(source: Path, database: Path) -> None:
    """Put a copy of `source` in the place of `database`, in one step. Nobody may have the database open."""
    fresh = database.with_name(database.name + ".new")
    fresh.unlink(missing_ok=True)
    _copy(fresh, lambda: open_at_rest(source))
    _fold_log(database)
    # The old log first: found beside the new file it would be taken for that file's own, and spoil it.
    for suffix in _LOGS:
        database.with_name(database.name + suffix).unlink(missing_ok=True)
    os.replace(fresh, database)
    _settle_folder(database.parent)


def _fold_log(database: Path) -> None:
    """Write what stands only in the log into the file itself: were the power cut now, the file alone has it all."""
    if not database.exists():
        return
    # A damaged database can't: that is why it is replaced, and it was kept aside with its log.
    with suppress(sqlite3.Error), closing(sqlite3.connect(database)) as old:
        old.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    _settle(database)


def keep_aside(database: Path, backup_dir: Path) -> Path | None:
    """Copy a database that nobody uses among the backups, byte by byte: it may be damaged. None if there is none."""
    if not database.exists():
        return None
    make_folder(backup_dir)
    target = backup_dir / f"{ports.now():%Y%m%dT%H%M%S.%f}-replaced.sqlite"
    for suffix in ("", *_LOGS):
        path = database.with_name(database.name + suffix)
        if path.exists():
            kept = target.with_name(target.name + suffix)
            shutil.copy2(path, kept)
            _settle(kept)
    _settle_folder(backup_dir)
    return target


def _settle(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _settle_folder(folder: Path) -> None:
    """Make new names in a folder outlast a power cut, where the system has folders that can be opened for it."""
    if os.name == "nt":
        return
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
