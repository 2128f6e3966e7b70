"""The state of a database file: is it sound, is it ours, which revision has it, and how it is brought up to date.

What every start needs is read with bare sqlite3 and from the names in the revision files; Alembic is imported only
when there is something to migrate.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text

from app.errors import CannotStart
from app.folder import find_bundled

if TYPE_CHECKING:
    from alembic.config import Config

CHECKED_AT_START_BYTES = 64 * 2**20
"""Up to this size every page is checked at each start; a larger file only before an upgrade, a backup, a restore."""

WAY_OUT = "Nothing was changed; `chitbook restore` puts a backup in its place."
_REVISION = re.compile(r"^(revision|down_revision)\b[^=\n]*=\s*(?:[\"']([^\"']+)[\"']|None)", re.MULTILINE)


def migrations_folder() -> Path:
    return find_bundled("migrations")


def known_revisions(folder: Path | None = None) -> dict[str, str | None]:
    """Each revision this program knows, with the one before it."""
    revisions: dict[str, str | None] = {}
    for path in sorted(((folder or migrations_folder()) / "versions").glob("*.py")):
        named = {name: value or None for name, value in _REVISION.findall(path.read_text(encoding="utf-8"))}
        if named.get("revision"):
            revisions[str(named["revision"])] = named.get("down_revision")
    return revisions


def head_revision(folder: Path | None = None) -> str:
    """The newest revision this program knows."""
    revisions = known_revisions(folder)
    heads = revisions.keys() - set(revisions.values())
    if len(heads) != 1:
        raise CannotStart(f"The program is incomplete: its migrations have {len(heads)} heads. Install it again.")
    return heads.pop()


def current_revision(engine: Engine) -> str | None:
    """The revision of the database behind `engine`; None while nothing has been made. One or two statements."""
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        revision: str | None = connection.scalar(text("SELECT version_num FROM alembic_version"))
        return revision


def inspect_file(path: Path, *, thoroughly: bool = False) -> str | None:
    """The revision of a database file, None for an absent or empty one. Changes nothing.

    Raises CannotStart for a file that is damaged, not ours, or newer than the program.
    """
    if not path.exists() or path.stat().st_size == 0:
        return None
    try:
        with closing(open_at_rest(path)) as connection:
            if thoroughly or path.stat().st_size <= CHECKED_AT_START_BYTES:
                _check_pages(connection, path)
            revision = _read_revision(connection, path)
    except sqlite3.OperationalError as error:
        raise CannotStart(f"The database {path} can't be opened: {error}.") from error
    except sqlite3.DatabaseError as error:
        raise CannotStart(f"The database {path} is damaged ({error}). {WAY_OUT}") from error
    if revision is not None and revision not in known_revisions():
        raise CannotStart(f"The database {path} was made by a newer Chitbook (revision {revision}). Use that one.")
    return revision


def open_file(path: Path, *options: str) -> sqlite3.Connection:
    address = f"{path.absolute().as_uri()}?{'&'.join(options)}"
    return sqlite3.connect(address, uri=True, isolation_level=None, timeout=10)


def open_at_rest(path: Path) -> sqlite3.Connection:
    """Open a file that nobody writes to, leaving no trace."""
    # Without a log beside it nobody has the file open, and `immutable` spares making an empty one only to read.
    is_at_rest = not any(path.with_name(path.name + suffix).exists() for suffix in ("-wal", "-journal"))
    return open_file(path, "mode=ro", *(["immutable=1"] if is_at_rest else []))


def _check_pages(connection: sqlite3.Connection, path: Path) -> None:
    finding = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if finding != "ok":
        raise CannotStart(f"The database {path} is damaged ({' '.join(finding.split())}). {WAY_OUT}")


def _read_revision(connection: sqlite3.Connection, path: Path) -> str | None:
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    if "alembic_version" in tables:
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        if row is not None:
            return str(row[0])
    if tables - {"alembic_version"}:
        raise CannotStart(f"{path} is a database, but not one of Chitbook's. Nothing was changed.")
    return None


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Migrate to `revision` in one transaction: all of it or nothing."""
    from alembic import command

    with migration_connection(engine) as connection:
        config = alembic_config()
        config.attributes["connection"] = connection
        command.upgrade(config, revision)


def alembic_config() -> "Config":
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.set_main_option("file_template", "%%(year)d%%(month).2d%%(day).2d_%%(hour).2d%%(minute).2d_%%(slug)s")
    config.set_main_option("timezone", "UTC")
    return config


@contextmanager
def migration_connection(engine: Engine) -> Iterator[Connection]:
    """A connection in a writing transaction with foreign keys off, checked as a whole before it commits.

    Altering a table on SQLite means to build it anew and drop the old one, and with foreign keys on the drop would
    cascade into the children. The pragma is deaf inside a transaction, so it is set before it begins.
    """
    is_sqlite = engine.dialect.name == "sqlite"
    with engine.connect() as connection:
        if is_sqlite:
            _speak(connection, "PRAGMA foreign_keys = OFF")
        try:
            with connection.begin():
                yield connection
                if is_sqlite:
                    _check_references(connection)
        finally:
            if is_sqlite:
                _speak(connection, "PRAGMA foreign_keys = ON")


def _speak(connection: Connection, pragma: str) -> None:
    driver = connection.connection.driver_connection
    assert driver is not None
    driver.execute(pragma)


def _check_references(connection: Connection) -> None:
    orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if orphans:
        table, row, parent, _ = orphans[0]
        raise CannotStart(f"The upgrade was undone: row {row} of {table} would point to nothing in {parent}.")
