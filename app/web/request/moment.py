"""The moment of a request, and the zone of the house in which it is told."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from flask import current_app, g

from app import ports
from app.config import Settings


def zone() -> ZoneInfo:
    settings: Settings = current_app.extensions["settings"]
    return settings.zone


def request_now() -> datetime:
    """The moment of this request: one and the same for all that is judged in it."""
    if "now" not in g:
        g.now = ports.now()
    moment: datetime = g.now
    return moment
