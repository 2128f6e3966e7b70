"""How the database is opened, and how a unit of work begins.

SQLite's driver begins a transaction late and without the write lock, which loses updates in silence. So the driver's
own transactions are switched off: a *writing* unit of work takes the write lock at its first statement (`BEGIN
IMMEDIATE`) and waits its turn for it; a *reading* one begins plainly, sees one snapshot, never waits for a writer, and
can't write. Writing is the default, for a forgotten choice then costs a wait and never a lost update. On any other
database all of this does nothing.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.orm import Session, sessionmaker

from app.errors import Unavailable

BUSY_TIMEOUT_MS = 10_000
POOL_SIZE = 8
"""As many as there are request threads: no request waits for a connection."""
SPARE_CONNECTIONS = 2
ROWS_SAMPLED = 1000
"""Of each index: so many take no longer in a long record than in a short one."""

_READING, _WAIT_MS = "chitbook_reading", "chitbook_wait_ms"
_HELD = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_PRAGMAS = (
    f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}",
    "PRAGMA journal_mode = WAL",
    # WAL's usual NORMAL may lose the last answered saves at a power cut; FULL loses none.
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
)


def make_engine(url: str | URL) -> Engine:
    """An engine for the database at `url`. Opens nothing yet."""
    url = make_url(url)
    if url.get_backend_name() != "sqlite":
        return create_engine(url, pool_size=POOL_SIZE, max_overflow=SPARE_CONNECTIONS, pool_pre_ping=True)
    options: dict[str, Any] = {"connect_args": {"isolation_level": None}}
    if url.database not in (None, "", ":memory:"):
        options |= {"pool_size": POOL_SIZE, "max_overflow": SPARE_CONNECTIONS}
    engine = create_engine(url, **options)
    event.listen(engine, "connect", _prepare_connection)
    event.listen(engine, "begin", _begin)
    return engine


def make_sessionmaker(
    engine: Engine, *, reading: bool = False, wait_ms: int | None = None, info: dict[str, Any] | None = None
) -> sessionmaker[Session]:
    """Sessions on `engine` whose units of work all write, or all read.

    wait_ms: how long they wait for the write lock, where that is not as long as all others do. info: what each
    carries with it.
    """
    options = {_READING: True} if reading else {_WAIT_MS: wait_ms} if wait_ms is not None else {}
    bound = engine.execution_options(**options) if options else engine
    return sessionmaker(bound, expire_on_commit=False, info=info or {})


def read_only_from_now(session: Session) -> None:
    """Whatever this session begins from now on is a unit of work that reads. Nothing may be under way in it."""
    assert isinstance(session.bind, Engine)
    session.bind = session.bind.execution_options(**{_READING: True})


def count_rows(session: Session) -> None:
    """Let SQLite learn how many rows answer to each index, by a sample: it then chooses among them. Others do so by
    themselves.
    """
    if session.get_bind().dialect.name == "sqlite":
        session.execute(text(f"PRAGMA analysis_limit = {ROWS_SAMPLED}"))
        session.execute(text("ANALYZE"))


def is_held(error: Exception) -> bool:
    """Whether a statement failed only because somebody else holds the database: nothing of it was done."""
    told = getattr(error, "orig", error)
    return getattr(told, "sqlite_errorcode", sqlite3.SQLITE_OK) & 0xFF in _HELD


@contextmanager
def open_database(url: str | URL) -> Iterator[Engine]:
    """An engine for the length of a block, with every connection closed at its end."""
    engine = make_engine(url)
    try:
        yield engine
    finally:
        engine.dispose()


@contextmanager
def write_session(engine: Engine) -> Iterator[Session]:
    """A session that holds the write lock from its first statement; commits at the end, rolls back on an exception."""
    with make_sessionmaker(engine).begin() as session:
        yield session


@contextmanager
def read_session(engine: Engine) -> Iterator[Session]:
    """A session on one unchanging snapshot, in which a write raises."""
    with make_sessionmaker(engine, reading=True)() as session:
        yield session


def _prepare_connection(dbapi_connection: Any, _record: Any) -> None:
    cursor = dbapi_connection.cursor()
    for pragma in _PRAGMAS:
        cursor.execute(pragma)
    cursor.close()


def _begin(connection: Connection) -> None:
    # Straight to the driver: these are no statements of the page that is being answered, and are not counted as such.
    driver: Any = connection.connection.driver_connection
    options = connection.get_execution_options()
    is_reading = options.get(_READING, False)
    try:
        driver.execute(f"PRAGMA query_only = {'ON' if is_reading else 'OFF'}")
        with _patience(driver, options.get(_WAIT_MS)):
            driver.execute("BEGIN" if is_reading else "BEGIN IMMEDIATE")
    except sqlite3.OperationalError as error:
        if is_held(error):
            raise Unavailable("The record is being written by somebody else. Try again in a moment.") from error
        raise


@contextmanager
def _patience(driver: Any, wait_ms: int | None) -> Iterator[None]:
    """Wait so long for the write lock, and leave the connection as patient as it was."""
    if wait_ms is None:
        yield
        return
    (usual,) = driver.execute("PRAGMA busy_timeout").fetchone()
    driver.execute(f"PRAGMA busy_timeout = {wait_ms}")
    try:
        yield
    finally:
        driver.execute(f"PRAGMA busy_timeout = {usual}")
