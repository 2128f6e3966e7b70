"""Everything that knows Flask: a route parses, calls one operation or query, and answers; it alone commits."""

from __future__ import annotations

from flask import Flask
from flask_compress import Compress
from flask_wtf import CSRFProtect

from app.config import Settings

csrf = CSRFProtect()
compress = Compress()


def init_app(app: Flask, settings: Settings) -> None:
    """Join every part of the web layer to the application."""
    from app.web.access import device, gate, peer, security
    from app.web.ahead.routes import ahead
    from app.web.assets import plotly_script, static_files
    from app.web.batches.routes import batches
    from app.web.calendar.routes import calendar
    from app.web.compare.routes import compare
    from app.web.data.routes import data
    from app.web.devices.routes import devices
    from app.web.entries import words as entry_words
    from app.web.facts.routes import facts
    from app.web.health import health
    from app.web.home.routes import home
    from app.web.house.routes import house
    from app.web.lots.routes import lots
    from app.web.malt.routes import malt
    from app.web.methods.routes import methods
    from app.web.packs.routes import packs
    from app.web.people.routes import people as people_pages
    from app.web.photos.routes import photos
    from app.web.programmes.routes import programmes
    from app.web.request import back, database, digests, failures, photo_uploads, reader
    from app.web.request import quiet_hours as quiet
    from app.web.sync.routes import sync
    from app.web.tub.routes import tub
    from app.web.words import formatting, method_links
    from app.web.workings.routes import workings

    # First who asks, and whether that is let in; only then is anything read of what was sent.
    for part in (peer, security, gate):
        part.init_app(app, settings)
    csrf.init_app(app)
    app.config["COMPRESS_MIMETYPES"] = ["text/html", "application/json", "text/css", "text/javascript", "image/svg+xml"]
    app.config["COMPRESS_ALGORITHM"] = ["br", "gzip"]
    app.config["COMPRESS_BR_LEVEL"] = 8
    compress.init_app(app)
    for part in (
        back,
        database,
        digests,
        device,
        static_files,
        failures,
        formatting,
        reader,
        entry_words,
        method_links,
        plotly_script,
        photo_uploads,
        quiet,
    ):
        part.init_app(app, settings)
    for blueprint in (home, batches, tub, facts, lots, compare, programmes, people_pages, data, sync, health):
        app.register_blueprint(blueprint)
    for blueprint in (house, packs, calendar, ahead, devices):
        app.register_blueprint(blueprint)
    for blueprint in (malt, methods, workings, photos):
        app.register_blueprint(blueprint)
