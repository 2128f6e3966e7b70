"""What is kept where, how to take it away, and how what a phone couldn't send is brought in."""

from __future__ import annotations

from flask import Blueprint, Response, current_app, render_template, request

from app.config import Settings
from app.errors import Rejected
from app.store.data import get_holdings
from app.version import VERSION
from app.web.data.page import backed_up, exported, file_name, kept_backups, size_words
from app.web.data.unsent import take_in_file
from app.web.request.database import db
from app.web.request.moment import request_now
from app.web.words.formatting import words

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


@data.get("/data/unsent")
def unsent() -> str:
    return render_template("data/unsent.html", lines=None, wrong="")


@data.post("/data/unsent")
def take_unsent_in() -> str | tuple[str, int]:
    sent = request.files.get("file")
    try:
        lines = take_in_file(sent.read() if sent is not None else b"", words())
    except Rejected as error:
        return render_template("data/unsent.html", lines=None, wrong=str(error)), 422
    return render_template("data/unsent.html", lines=lines, wrong="")


def _settings() -> Settings:
    settings: Settings = current_app.extensions["settings"]
    return settings
