"""One session for each request: one that reads for GET, one that holds the write lock from its first statement else."""

from __future__ import annotations

from flask import Flask, current_app, g, request
from sqlalchemy.orm import Session

from app.config import Settings
from app.judgement.forecast import Fits
from app.store.devices import DEVICE_INFO
from app.store.engine import make_engine, make_sessionmaker
from app.store.history import FITS
from app.web.device import device_name


def init_app(app: Flask, settings: Settings) -> None:
    engine = make_engine(settings.database_url)
    app.extensions["engine"] = engine
    info = {FITS: Fits()}
    app.extensions["reading"] = make_sessionmaker(engine, reading=True, info=info)
    app.extensions["writing"] = make_sessionmaker(engine, info=info)
    app.teardown_appcontext(_close)


def db() -> Session:
    """The session of this request. What a writing one did is gone unless the route commits it."""
    if "db" not in g:
        is_reading = request.method in ("GET", "HEAD", "OPTIONS")
        g.db = current_app.extensions["reading" if is_reading else "writing"]()
        if device_name():
            g.db.info[DEVICE_INFO] = device_name()
    session: Session = g.db
    return session


def _close(_error: BaseException | None) -> None:
    session = g.pop("db", None)
    if session is not None:
        session.close()
