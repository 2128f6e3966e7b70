"""The tests of a batch's malt: what was found, and the form of each. Apart from the tub's page, which stays light."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app import ports
from app.judgement.facts.kinds import KINDS, MALT_TESTS
from app.judgement.history.guard import judged_alone
from app.judgement.history.history import History
from app.judgement.meaning.meaning import meaning
from app.store.batches import Batch, get_batch
from app.store.history import get_history
from app.store.people import list_people
from app.web.entries.forms import EntryForm
from app.web.entries.keeping import Answer, keep_entry
from app.web.malt.page import ABOUTS, CAUTIONS, malt_form
from app.web.request.database import commit, db, only_read
from app.web.request.digests import refresh
from app.web.request.moment import request_now
from app.web.request.reader import reader
from app.web.summary.judged_page import judged_page
from app.web.words.formatting import words
from app.web.words.kept import said_if_it_can_be
from app.web.words.malt import malt_context

malt = Blueprint("malt", __name__)


@malt.get("/batches/<int:number>/tests")
def show(number: int) -> str:
    batch = get_batch(db(), number)
    return judged_page(batch, lambda history: _page(batch, history))


@malt.get("/batches/<int:number>/tests/<kind>")
def entry(number: int, kind: str) -> str:
    batch = _batch_for(number, kind)
    form = _form(kind, get_history(db(), batch.id), None)
    return _entry_page(batch, Answer(form))


@malt.post("/batches/<int:number>/tests/<kind>")
def keep(number: int, kind: str) -> Response | tuple[str, int]:
    batch = _batch_for(number, kind)
    history = get_history(db(), batch.id)
    form = _form(kind, history, request.form)
    answer = keep_entry(db(), form, history, ("batch", batch.id), reader().name)
    if answer.fact is None:
        return _entry_page(batch, answer), 422
    where = url_for("malt.show", number=number, kept=answer.fact.id, again=None if answer.is_new else 1)
    commit(where)
    refresh(batch.id)
    return redirect(where, 303)


def _page(batch: Batch, history: History) -> str:
    kinds = [(name, KINDS[name].word) for name in MALT_TESTS]
    context = {**malt_context(history, words()), "kept": _kept(history), "kinds": kinds}
    return render_template("malt/page.html", batch=batch, history=history, **context)


def _form(kind: str, history: History, sent: Any) -> EntryForm:
    return judged_alone(history, lambda each: malt_form(kind, each, sent, words()))


def _batch_for(number: int, kind: str) -> Batch:
    if kind not in MALT_TESTS:
        abort(404)
    return get_batch(db(), number)


def _kept(history: History) -> dict[str, object] | None:
    """What was just kept and what it means; nothing where the address names no standing entry of this batch."""
    fact = history.by_id(request.args.get("kept", ""))
    if fact is None:
        return None
    said = said_if_it_can_be(lambda: meaning(history, fact, request_now(), words()))
    return {"fact": fact, "said": said, "is_new": "again" not in request.args, "undo_id": ports.new_id()}


def _entry_page(batch: Batch, answer: Answer) -> str:
    only_read()
    form = answer.form
    kind = form.kind.name
    return render_template(
        "malt/entry.html",
        batch=batch,
        form=form,
        asked=answer,
        about=ABOUTS.get(kind),
        title=form.kind.word,
        people=list_people(db()),
        cautions=CAUTIONS.get(kind, ()),
    )
