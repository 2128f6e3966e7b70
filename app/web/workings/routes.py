"""Workings: each calculation done by hand, without a batch. The address holds the numbers, so that it can be sent."""

from __future__ import annotations

from flask import Blueprint, render_template, request

from app.errors import NotFound
from app.science.handbook import methods
from app.web.request.reader import reader
from app.web.words.formatting import words
from app.web.words.method_text import text_of
from app.web.workings.form import answer, form_of, is_asked
from app.web.workings.registry import WORKINGS, WORKINGS_BY_METHOD, grouped
from app.web.workings.working import Working

workings = Blueprint("workings", __name__)


@workings.app_template_global()
def workings_by(anchor: str) -> list[Working]:
    """The workings that use a formula, for whichever page shows it."""
    return WORKINGS_BY_METHOD.get(anchor, [])


@workings.get("/workings")
def index() -> str:
    return render_template("workings/index.html", groups=grouped())


@workings.get("/workings/<key>")
def show(key: str) -> str | tuple[str, int]:
    working = WORKINGS.get(key)
    if working is None:
        raise NotFound("working", key)
    asked = is_asked(working, request.args)
    form = form_of(working, reader().units, request.args if asked else None)
    outcome = answer(working, form, words()) if asked else None
    sources = [methods()[anchor] for anchor in working.methods]
    page = render_template(
        "workings/page.html", working=working, form=form, outcome=outcome, sources=sources, text_of=text_of
    )
    return page, 422 if asked and outcome is None else 200
