"""Everything that knows Flask: a route parses, calls one operation or query, and answers; it alone commits."""

from __future__ import annotations

from flask import Flask
from flask_compress import Compress
from flask_wtf import CSRFProtect
from werkzeug.utils import import_string

from app.config import Settings

PAGES = (
    "ahead",
    "batches",
    "calendar",
    "compare",
    "data",
    "devices",
    "facts",
    "health",
    "home",
    "house",
    "how",
    "lots",
    "malt",
    "methods",
    "packs",
    "people",
    "photos",
    "programmes",
    "sync",
    "tub",
    "workings",
)
"""Each a folder whose routes.py has a blueprint of the folder's name. A test holds that every folder stands here."""


def init_app(app: Flask, settings: Settings) -> None:
    """Join every part of the web layer to the application."""
    from app.web.access import gate, peer, security
    from app.web.assets import plotly_script, static_files
    from app.web.entries import words
    from app.web.request import back, database, device, digests, failures, photo_uploads, quiet_hours, reader
    from app.web.words import formatting, method_links

    # Who asks is known and let in, or turned away, before anything is read of what was sent.
    for guard in (peer, security, gate):
        guard.init_app(app, settings)
    CSRFProtect(app)
    app.config["COMPRESS_MIMETYPES"] = ["text/html", "application/json", "text/css", "text/javascript", "image/svg+xml"]
    app.config["COMPRESS_ALGORITHM"] = ["br", "gzip"]
    app.config["COMPRESS_BR_LEVEL"] = 8
    Compress(app)
    for part in (back, database, digests, device, static_files, failures, formatting, reader, words, method_links):
        part.init_app(app, settings)
    for part in (plotly_script, photo_uploads, quiet_hours):
        part.init_app(app, settings)
    for page in PAGES:
        app.register_blueprint(import_string(f"app.web.{page}.routes:{page}"))
