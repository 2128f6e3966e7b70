"""One session for each request. GET reads. What else comes holds the write lock from its first statement on, until its
route commits or a page is drawn; from then on it reads too, so that nobody waits for that page."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Flask, current_app, g, request
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from app.config import Settings
from app.judgement.forecasts.forecast import Fits
from app.store.devices import DEVICE_INFO
from app.store.engine import is_held, make_engine, make_sessionmaker, read_only_from_now
from app.store.history import FITS
from app.store.kept_facts import FACTS, KEEPS, KeptFacts
from app.web.request.device import device_name

READS = ("GET", "HEAD", "OPTIONS")
BRIEF_MS = 250
"""How long a write waits that nobody misses: it is made up for later."""


@dataclass(frozen=True)
class Stored:
    """What a request has stored, in words, and where it is to be read. is_sure: False where the commit itself failed,
    so that nobody can say."""

    what: str
    where: str
    is_sure: bool = True


def init_app(app: Flask, settings: Settings) -> None:
    engine = make_engine(settings.database_url)
    app.extensions["engine"] = engine
    info: dict[str, object] = {FITS: Fits(), FACTS: KeptFacts()}
    app.extensions["reading"] = make_sessionmaker(engine, reading=True, info={**info, KEEPS: True})
    app.extensions["writing"] = make_sessionmaker(engine, info=info)
    app.extensions["writing_briefly"] = make_sessionmaker(engine, wait_ms=BRIEF_MS, info=info)
    app.teardown_appcontext(_close)

    @app.context_processor
    def draw_without_the_lock() -> dict[str, object]:
        only_read()
        return {}


def db() -> Session:
    """The session of this request. What it wrote is gone unless the route keeps it."""
    if "db" not in g:
        is_reading = request.method in READS or g.get("only_reads", False)
        g.db = current_app.extensions["reading" if is_reading else "writing"]()
        g.only_reads = is_reading
        if device_name():
            g.db.info[DEVICE_INFO] = device_name()
    session: Session = g.db
    return session


def commit(where: str, what: str = "It is stored.") -> None:
    """Commit what this request did. From here on it is answered as stored, whatever fails after.

    where: the address of the page on which it is to be read. what: said of it where the answer itself fails.
    """
    session = db()
    if g.only_reads:
        raise RuntimeError("What was written has been let go already.")
    session.flush()
    g.stored = Stored(what, where, is_sure=False)
    try:
        session.commit()
    except OperationalError as error:
        if is_held(error):
            del g.stored
        raise
    g.stored = Stored(what, where)
    only_read()


def only_read() -> None:
    """From here on this request reads, and holds nobody up. What it wrote and didn't keep is gone."""
    if not g.get("only_reads", False) and "db" in g:
        g.db.rollback()
        read_only_from_now(g.db)
    g.only_reads = True


def stored() -> Stored | None:
    """What this request has stored, as far as it came; None where that is nothing."""
    found: Stored | None = g.get("stored")
    return found


def _close(_error: BaseException | None) -> None:
    session = g.pop("db", None)
    if session is not None:
        session.close()
