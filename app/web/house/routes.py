"""The house: its instruments and vessels, and what is said of them and of the house as a whole."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app import ports
from app.judgement.facts.kinds import KINDS
from app.store.batches import list_vessels
from app.store.facts import find_fact
from app.store.house import (
    CORRECTED,
    last_emptied,
    list_house_facts,
    list_instruments,
    list_readings_with,
    list_uses,
)
from app.store.people import list_people
from app.web.entries.keeping import Answer, keep_entry
from app.web.house.forms import HouseForm, house_form
from app.web.house.guidance import ABOUT, CAUTIONS, HOUSE_KINDS, NAMED_IN, TEXTS
from app.web.house.page import INSTRUMENTS, house_context
from app.web.house.saying import kept_words
from app.web.request.database import commit, db, only_read
from app.web.request.digests import refresh_touched_by
from app.web.request.moment import request_now, zone
from app.web.request.reader import reader
from app.web.words.formatting import words
from app.web.words.grave import anything_smoulders
from app.web.words.kept import said_if_it_can_be

house = Blueprint("house", __name__)
MOST_PAGES = 10_000


@house.get("/house")
def show() -> str:
    page = min(max(request.args.get("page", 1, type=int), 1), MOST_PAGES)
    used, emptied = list_uses(db(), INSTRUMENTS), last_emptied(db())
    context = house_context(list_house_facts(db()), used, list_vessels(db()), emptied, words(), page, _is_shut)
    return render_template("house/page.html", kept=_kept(), **context)


@house.get("/house/entries/<kind>")
def entry(kind: str) -> str:
    return _entry_page(Answer(_form(kind, None)))


@house.post("/house/entries/<kind>")
def keep(kind: str) -> Response | tuple[str, int]:
    form = _form(kind, request.form)
    answer = keep_entry(db(), form, None, form.subject, reader().name)
    if answer.fact is None:
        return _entry_page(answer), 422
    where = url_for("house.show", kept=answer.fact.id, again=None if answer.is_new else 1)
    commit(where)
    if answer.fact.subject.type == "instrument" and answer.fact.seq is not None:
        refresh_touched_by(answer.fact.seq)
    return redirect(where, 303)


def _form(kind: str, sent: Any) -> HouseForm:
    if kind not in HOUSE_KINDS:
        abort(404)
    about = request.args.get("about", "")
    return house_form(kind, sent, system=reader().units, zone=zone(), now=request_now(), about=about)


def _kept() -> dict[str, Any] | None:
    """What was just kept, and what it means; nothing where the address names none of the house's."""
    fact = find_fact(db(), request.args["kept"]) if "kept" in request.args else None
    if fact is None or fact.kind not in HOUSE_KINDS or fact.subject.type not in ("house", "vessel", "instrument"):
        return None
    read_with = list_readings_with(db(), fact.subject.id) if fact.subject.type == "instrument" else []
    said = said_if_it_can_be(lambda: kept_words(fact, read_with, words(), _is_shut))
    return {"fact": fact, "said": said, "is_new": "again" not in request.args, "undo_id": ports.new_id()}


def _is_shut() -> bool:
    return anything_smoulders(db(), request_now())


def _entry_page(answer: Answer) -> str:
    only_read()
    kind = answer.form.kind.name
    return render_template(
        "house/entry.html",
        form=answer.form,
        asked=answer,
        title=KINDS[kind].word,
        text=TEXTS[kind],
        about=ABOUT.get(kind),
        cautions=CAUTIONS.get(kind, ()),
        instruments=[use.name for use in list_instruments(db(), NAMED_IN.get(kind, CORRECTED))],
        vessels=list_vessels(db()),
        people=list_people(db()),
    )
