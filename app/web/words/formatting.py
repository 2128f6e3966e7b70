"""What the templates need to say quantities and times in the reader's words."""

from __future__ import annotations

from flask import Flask, g

from app.config import Settings
from app.judgement.facts.kinds import KINDS
from app.judgement.wording import Words
from app.web.request.moment import request_now, zone
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


def words() -> Words:
    """How to say things to the reader of this request."""
    if "words" not in g:
        g.words = Words(reader().units, zone(), request_now())
    known: Words = g.words
    return known
