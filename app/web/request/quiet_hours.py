"""The quiet hours of this screen: what is due in them makes no sound, and only *act now* stands out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time

from flask import Flask, current_app, session
from markupsafe import Markup

from app.config import Settings
from app.judgement.wording import in_zone
from app.quiet import is_quiet
from app.web.request.moment import request_now, zone


@dataclass(frozen=True)
class QuietHours:
    """From when to when, by the house's clock. is_own: chosen at this screen; else they are the house's.

    house: the house's, in words.
    """

    starts: time
    ends: time
    is_own: bool
    house: str

    def holds_at(self, moment: datetime) -> bool:
        return is_quiet(in_zone(moment, zone()).time(), self.starts, self.ends)


def quiet_hours() -> QuietHours:
    """Those that were chosen at this screen, or the house's."""
    settings: Settings = current_app.extensions["settings"]
    house = f"{settings.quiet_from:%H:%M} to {settings.quiet_until:%H:%M}"
    try:
        starts, ends = (time.fromisoformat(text) for text in session["quiet"].split())
    except (KeyError, ValueError, AttributeError):
        return QuietHours(settings.quiet_from, settings.quiet_until, is_own=False, house=house)
    return QuietHours(starts, ends, is_own=True, house=house)


def keep_quiet_hours(starts: time, ends: time) -> None:
    """For this screen, whoever is at it."""
    session.permanent = True
    session["quiet"] = f"{starts:%H:%M} {ends:%H:%M}"


def keep_the_house_s() -> None:
    session.pop("quiet", None)


def due_mark(moment: datetime, severity: str = "") -> Markup:
    """What the bell reads off an element: when it is due, and whether it stays silent or is loud at any hour."""
    loud = " data-loud" if severity == "act" else ""
    silent = " data-silent" if not loud and quiet_hours().holds_at(moment) else ""
    return Markup(' data-due="{}"{}').format(f"{moment:%Y-%m-%dT%H:%MZ}", Markup(loud or silent))


def init_app(app: Flask, settings: Settings) -> None:
    app.add_template_filter(due_mark, "due_mark")

    @app.context_processor
    def about_quiet() -> dict[str, object]:
        return {"quiet_until": _quiet_until}


def _quiet_until() -> str:
    """When the quiet hours end that it is now; empty outside of them."""
    hours = quiet_hours()
    return f"{hours.ends:%H:%M}" if hours.holds_at(request_now()) else ""
