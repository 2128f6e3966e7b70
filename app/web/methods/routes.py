"""Methods and sources: every formula, and how the numbers on the screens are shown and judged."""

from __future__ import annotations

from flask import Blueprint, abort, render_template

from app.science.handbook import chapters, marks_in_words
from app.web.methods.page import mark_rows, programme_rows
from app.web.words.formatting import words
from app.web.words.method_text import text_of

methods = Blueprint("methods", __name__)


@methods.get("/methods")
def index() -> str:
    return render_template("methods/index.html", chapters=chapters(), text_of=text_of)


@methods.get("/methods/<key>")
def chapter(key: str) -> str:
    found = next((each for each in chapters() if each.key == key), None)
    if found is None:
        abort(404)
    return render_template("methods/chapter.html", chapter=found, text_of=text_of, in_words=marks_in_words)


@methods.get("/methods/numbers")
def numbers() -> str:
    rows = {"marks": mark_rows(), "programmes": programme_rows()}
    return render_template("methods/numbers.html", words=words(), **rows)
