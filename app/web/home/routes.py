"""The home page: what is going on, what is due, and what there is to begin with."""

from __future__ import annotations

from flask import Blueprint, current_app, render_template, request

from app.judgement import rules_version
from app.store.digests import list_live_ids
from app.web.home.order import Places
from app.web.home.page import home_context
from app.web.request.database import db
from app.web.words.formatting import words

home = Blueprint("home", __name__)
home.record_once(lambda state: state.app.extensions.update(places=Places()))


@home.get("/")
def show() -> str:
    page = max(request.args.get("page", 1, type=int), 1)
    live_ids, places = list_live_ids(db(), rules_version()), current_app.extensions["places"]
    return render_template("home/page.html", **home_context(db(), live_ids, page, words(), places))
