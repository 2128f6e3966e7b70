"""What is kept where, and how to take it away: counts, an export as JSON lines, a backup of the database."""

from __future__ import annotations

from flask import Blueprint, Response, current_app, render_template

from app.config import Settings
from app.store.data import get_holdings
from app.version import VERSION
from app.web.data.page import backed_up, exported, file_name, kept_backups, size_words
from app.web.database import db
from app.web.formatting import request_now

data = Blueprint("data", __name__)


@data.get("/data")
def index() -> str:
    settings = _settings()
    return render_template(
        "data/index.html",
        settings=settings,
        holdings=get_holdings(db()),
        size=size_words(settings.database_file),
        version=VERSION,
        backups=kept_backups(settings),
    )


@data.get("/data/export")
def export() -> Response:
    return exported(db(), file_name("jsonl", request_now(), _settings()))


@data.get("/data/backup")
def backup() -> Response:
    return backed_up(_settings(), file_name("sqlite", request_now(), _settings()))


def _settings() -> Settings:
    settings: Settings = current_app.extensions["settings"]
    return settings
