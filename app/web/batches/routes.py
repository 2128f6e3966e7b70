"""The pages about batches: the list, one batch with its record, its title, and answers to its flags."""

from __future__ import annotations

from flask import abort, flash, redirect, render_template, request
from werkzeug.wrappers import Response

from app.errors import Conflict, Rejected
from app.judgement.facts.shapes import Part
from app.judgement.history.history import History
from app.operations.batches import rename_batch
from app.store.batches import MOST_BATCHES, Batch, get_batch, list_batches
from app.store.digests import list_digests
from app.store.packs import list_packs_of
from app.web.batches import beginnings, replanning
from app.web.batches.answers import record_answer
from app.web.batches.blueprint import batches
from app.web.batches.forms import TitleForm
from app.web.batches.page import batch_context
from app.web.request.back import local_page
from app.web.request.database import commit, db, only_read
from app.web.request.digests import refresh
from app.web.request.moment import request_now
from app.web.request.reader import reader
from app.web.summary.batch_rows import batch_rows
from app.web.summary.judged_page import judged_page
from app.web.words.formatting import words
from app.web.words.photos import photos_of_batch

__all__ = ["batches", "beginnings", "replanning"]

PER_PAGE = 20


@batches.get("/batches")
def show_list() -> str:
    page = min(max(request.args.get("page", 1, type=int), 1), MOST_BATCHES)
    pairs = list_digests(db(), limit=PER_PAGE + 1, offset=(page - 1) * PER_PAGE)
    rows = batch_rows(db(), pairs[:PER_PAGE], words())
    return render_template("batches/list.html", rows=rows, page=page, has_older=len(pairs) > PER_PAGE)


@batches.get("/batches/<int:number>")
def show(number: int) -> str:
    batch = get_batch(db(), number)
    return _page(batch, TitleForm(data={"title": batch.title, "revision": batch.revision}))


@batches.post("/batches/<int:number>/title")
def rename(number: int) -> Response | tuple[str, int]:
    batch = get_batch(db(), number)
    form = TitleForm(request.form)
    revision = form.revision.data or ""
    if not form.validate() or not revision.isdecimal():
        return _page(batch, form), 422
    try:
        rename_batch(db(), batch, title=form.title.data or "", revision=int(revision))
    except Conflict:
        form.revision.data = str(batch.revision)
        form.title.errors = [f"Somebody has called it “{batch.title}” in the meantime. Keep yours instead?"]
        return _page(batch, form), 409
    where = f"/batches/{number}"
    commit(where)
    flash("The title was changed.", "kept")
    return redirect(where, 303)


@batches.post("/batches/<int:number>/flags")
def answer(number: int) -> Response:
    batch = get_batch(db(), number)
    try:
        said = record_answer(db(), batch.id, request.form, request_now(), reader().name)
    except Rejected as error:
        if "subject" in error.fields:
            abort(400)
        raise
    where = local_page(request.form.get("back", ""), f"/batches/{number}")
    commit(where)
    refresh(batch.id)
    flash(said, "kept")
    return redirect(where, 303)


def _page(batch: Batch, form: TitleForm) -> str:
    only_read()
    return judged_page(batch, lambda history: _drawn(batch, history, form), form)


def _drawn(batch: Batch, history: History, form: TitleForm) -> str:
    context = batch_context(history, words(), photos_of_batch(db(), history, words()))
    return render_template("batches/page.html", batch=batch, form=form, **context, **_relatives(history, batch))


def _relatives(history: History, batch: Batch) -> dict[str, object]:
    """The batches that grain came from or went to, and the packs that were filled: two statements."""
    ends = {end.id for part in history.of_shape(Part) for end in (part.source, part.target) if end.type == "batch"}
    others = {each.id: each for each in list_batches(db(), ids=sorted(ends - {batch.id}))}
    packs = {pack.id: pack for pack in list_packs_of(db(), batch.id)}
    return {
        "came_from": [(others[part.source.id], part) for part in history.charges if part.source.id in others],
        "went_to": [(others[part.target.id], part) for part in history.departures if part.target.id in others],
        "packs": [(packs[part.target.id], part) for part in history.departures if part.target.id in packs],
    }
