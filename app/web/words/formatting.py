"""What the templates need to say quantities and times in the reader's words."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from flask import Flask, current_app, g

from app import ports
from app.config import Settings
from app.judgement.facts.kinds import KINDS
from app.judgement.wording import Words
from app.web.request.reader import reader


def init_app(app: Flask, settings: Settings) -> None:
    app.add_template_filter(lambda moment: words().clock(moment), "clock")
    app.add_template_filter(lambda moment: words().date(moment), "day")
    app.add_template_filter(lambda value: words().mass(value), "mass")
    app.add_template_filter(lambda value: words().temperature(value), "temperature")
    app.add_template_filter(lambda value, half_width=None: words().percent(value, half_width), "percent")
    app.add_template_filter(lambda hours: words().span(hours), "span")
    app.add_template_filter(lambda name: KINDS[name].word if name in KINDS else name, "kind_word")
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True


def zone() -> ZoneInfo:
    settings: Settings = current_app.extensions["settings"]
    return settings.zone


def request_now() -> datetime:
    """The moment of this request: one and the same for all that is judged in it."""
    if "now" not in g:
        g.now = ports.now()
    moment: datetime = g.now
    return moment


def words() -> Words:
    """How to say things to the reader of this request."""
    if "words" not in g:
        g.words = Words(reader().units, zone(), request_now())
    known: Words = g.words
    return known
