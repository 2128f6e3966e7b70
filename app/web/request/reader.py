"""Who is at the screen, and in which units that person reads."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Flask, current_app, g, session

from app.config import Settings
from app.store.people import find_person
from app.web.request.database import db

SYSTEM_NAMES = {"metric": "metric", "us": "US customary"}


@dataclass(frozen=True)
class Reader:
    """The person at this screen: name None where nobody said who it is."""

    name: str | None
    units: str


def reader() -> Reader:
    """Who reads this page; asked once for each request."""
    if "reader" not in g:
        settings: Settings = current_app.extensions["settings"]
        person = find_person(db(), session["person"]) if "person" in session else None
        g.reader = Reader(person.name, person.units) if person else Reader(None, session.get("units", settings.units))
    who: Reader = g.reader
    return who


def assume_nobody() -> None:
    """For the page of a failure: it must not ask of a database that may be the trouble."""
    if "reader" not in g:
        g.reader = Reader(None, current_app.extensions["settings"].units)


def init_app(app: Flask, settings: Settings) -> None:
    @app.context_processor
    def about_reader() -> dict[str, object]:
        who = reader()
        return {
            "writer": who.name or "",
            "person_name": who.name or "Your name",
            "units_name": SYSTEM_NAMES[who.units],
            "units": who.units,
            "theme": session.get("theme"),
        }
