"""Comparing two to six batches; the choice stands in the address."""

from __future__ import annotations

from flask import Blueprint, render_template, request

from app.web.compare.choice import read_choice
from app.web.compare.page import compare_context
from app.web.request.database import db
from app.web.words.formatting import words

compare = Blueprint("compare", __name__)


@compare.get("/compare")
def show() -> str:
    choice = read_choice(db(), request.args)
    return render_template("compare/page.html", **compare_context(db(), choice, words()))
