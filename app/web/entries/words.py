"""What the entry templates need beside the form: which field is drawn how."""

from __future__ import annotations

from flask import Flask

from app.config import Settings
from app.judgement.facts.kind_parts import GROWTH_CLASSES, SET_ASIDE_CLASSES
from app.web.entries.fields import has_unit, widget_of

PICTURED = frozenset({*GROWTH_CLASSES, *SET_ASIDE_CLASSES})
SELDOM = ["net", "lowest", "highest", "lengths"]


def init_app(app: Flask, settings: Settings) -> None:
    app.jinja_env.globals.update(widget_of=widget_of, has_unit=has_unit, pictured=PICTURED, seldom=SELDOM)
