"""The tub page, and what is logged there."""

from __future__ import annotations

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.judgement.history.guard import judged_alone
from app.judgement.history.history import History
from app.store.batches import Batch, get_batch
from app.store.facts import find_fact
from app.store.history import get_history
from app.store.people import list_people
from app.web.entries.forms import entry_form, unscoped
from app.web.entries.keeping import Answer
from app.web.entries.photographed import keep_photographed
from app.web.request.database import commit, db, only_read
from app.web.request.digests import refresh, refresh_ended
from app.web.request.moment import request_now, zone
from app.web.request.photo_uploads import sent_photos
from app.web.request.reader import reader
from app.web.tub.page import closed_up, kept_view, tub_context
from app.web.tub.tiles import tub_kinds
from app.web.words.formatting import words
from app.web.words.photos import photos_of_batch

ENDING_KINDS = frozenset({"finished", "abandoned"})

tub = Blueprint("tub", __name__)


@tub.get("/batches/<int:number>/tub")
def show(number: int) -> str:
    return _page(get_batch(db(), number))


@tub.post("/batches/<int:number>/tub")
def keep_chosen(number: int) -> Response | tuple[str, int]:
    """The kind is said by the button: said by an address of its own for each, the page would be the longer for it."""
    return keep(number, request.form.get("kind", ""))


@tub.post("/batches/<int:number>/tub/<kind>")
def keep(number: int, kind: str) -> Response | tuple[str, int]:
    if kind not in tub_kinds():
        abort(404)
    batch = get_batch(db(), number)
    form = entry_form(kind, unscoped(request.form, kind), system=reader().units, zone=zone(), now=request_now())
    history = get_history(db(), batch.id)
    answer = keep_photographed(db(), form, history, ("batch", batch.id), reader().name, sent_photos())
    if answer.fact is None:
        return _page(batch, answer), 422
    again = None if answer.is_new else 1
    # Without an anchor of its own the answer would open at the entry's: browsers carry a fragment over.
    where = url_for("tub.show", number=number, kept=answer.fact.id, again=again, _anchor="kept")
    commit(where)
    if kind in ENDING_KINDS:
        refresh(batch.id)
    else:
        refresh_ended([history])
    return redirect(where, 303)


def _page(batch: Batch, asked: Answer | None = None) -> str:
    only_read()
    return judged_alone(get_history(db(), batch.id), lambda history: _drawn(batch, history, asked))


def _drawn(batch: Batch, history: History, asked: Answer | None) -> str:
    context = tub_context(history, words(), list_people(db()), asked)
    wanted = request.args.get("kept", "")
    said = (fact for chain in history.chains for fact in chain.facts if fact.id == wanted)
    fact = next(said, None) or (find_fact(db(), wanted) if wanted else None)
    if fact is not None and fact.subject.id == batch.id:
        context["kept"] = kept_view(history, fact, words(), "again" not in request.args)
    photos = photos_of_batch(db(), history, words())
    return closed_up(render_template("tub/page.html", batch=batch, photos=photos, **context))
