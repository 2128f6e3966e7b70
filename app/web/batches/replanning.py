"""Giving a batch another programme on its way. What was judged before stays judged by the earlier one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import flash, redirect, render_template, request
from werkzeug.wrappers import Response

from app import ports
from app.judgement.history.guard import judged_alone
from app.judgement.history.history import History
from app.judgement.programmes.programme import Programme
from app.store.batches import Batch, get_batch
from app.store.history import get_history
from app.store.programmes import list_programmes
from app.web.batches.blueprint import batches
from app.web.batches.choices import programme_cards
from app.web.entries.forms import EntryForm, entry_form
from app.web.entries.keeping import Answer, keep_entry
from app.web.entries.times import local_text
from app.web.request.database import commit, db, only_read
from app.web.request.digests import refresh
from app.web.request.moment import request_now, zone
from app.web.request.reader import reader
from app.web.words.formatting import words
from app.web.words.programme_changes import ChangeRow, plan_differences


@batches.get("/batches/<int:number>/programme")
def choose_programme(number: int) -> str:
    batch = get_batch(db(), number)
    clock = local_text(request_now(), zone())
    blank = {"id": ports.new_id(), "at": clock, "earliest": clock, "latest": clock}
    return _page(batch, get_history(db(), batch.id), Answer(_form(None, **blank)))


@batches.post("/batches/<int:number>/programme")
def change_programme(number: int) -> Response | tuple[str, int]:
    batch = get_batch(db(), number)
    history, form = get_history(db(), batch.id), _form(request.form)
    answer = keep_entry(db(), form, history, ("batch", batch.id), reader().name)
    if answer.fact is None:
        return _page(batch, history, answer), 422
    where = f"/batches/{number}"
    commit(where)
    refresh(batch.id)
    flash("The programme was changed. What was read before stays judged by the earlier one.", "kept")
    return redirect(where, 303)


def _form(sent: Any, **defaults: str) -> EntryForm:
    return entry_form("programme_change", sent, system=reader().units, zone=zone(), now=request_now(), **defaults)


def _page(batch: Batch, history: History, answer: Answer) -> str:
    only_read()
    return judged_alone(history, lambda each: _drawn(batch, each, answer))


def _drawn(batch: Batch, history: History, answer: Answer) -> str:
    current = history.programme_at(request_now())
    offered = [
        programme for programme in list_programmes(db()) if current is None or programme.digest != current.digest
    ]
    is_roast = current is not None and current.purpose == "roasted"
    cards = programme_cards(offered, batch.species, "roast_charge" if is_roast else "charge")
    context = {"current": current, "cards": cards, "form": answer.form, "asked": answer}
    return render_template("batches/programme.html", batch=batch, differing=_differing(current, offered), **context)


def _differing(current: Programme | None, offered: Sequence[Programme]) -> dict[str, list[ChangeRow]]:
    """What each of the programmes would change, by its digest."""
    if current is None:
        return {}
    return {each.digest: plan_differences(current, each, words()) for each in offered}
