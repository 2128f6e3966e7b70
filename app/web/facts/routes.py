"""Correcting and striking out what was said. Both add a fact; neither changes one."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, abort, flash, redirect, render_template, request
from werkzeug.wrappers import Response

from app import ports
from app.charts.hover import fact_words
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Withdrawal
from app.judgement.history.guard import judged_alone
from app.judgement.history.history import History
from app.operations.facts import withdraw_fact
from app.store.facts import find_superseder, get_fact
from app.store.history import get_history
from app.store.photos import list_photos_of_chain
from app.web.entries.corrections import correction_form
from app.web.entries.keeping import Answer, keep_entry
from app.web.request.database import commit, db, only_read
from app.web.request.digests import refresh, refresh_touched_by
from app.web.request.moment import request_now, zone
from app.web.request.reader import reader
from app.web.words.fact_home import home_of
from app.web.words.formatting import words
from app.web.words.grave import grave_words

facts = Blueprint("facts", __name__)
FIXED = {"part": "Where the grain came from and went", "stage": "The programme"}
"""What a correction leaves as it is, by the shape of the fact."""


@facts.get("/facts/<fact_id>/correct")
def correct(fact_id: str) -> str:
    fact = get_fact(db(), fact_id)
    form = correction_form(fact, None, reader().units, zone(), request_now())
    return _page(fact, Answer(form))


@facts.post("/facts/<fact_id>/correct")
def keep_correction(fact_id: str) -> Response | tuple[str, int]:
    fact = get_fact(db(), fact_id)
    form = correction_form(fact, request.form, reader().units, zone(), request_now())
    answer = keep_entry(db(), form, _history(fact), fact.subject, reader().name)
    if answer.fact is None:
        return _page(fact, answer), 409 if answer.current is not None else 422
    return _done(answer.fact, "Saved. What it said before stays in the record, struck through.", is_judged=True)


@facts.post("/facts/<fact_id>/withdraw")
def withdraw(fact_id: str) -> Response:
    fact = get_fact(db(), fact_id)
    new_id = request.form.get("id") or ports.new_id()
    reason = request.form.get("reason", "").strip()[:500]
    kept = withdraw_fact(db(), fact, new_id=new_id, now=request_now(), reason=reason, entered_by=reader().name)
    return _done(fact, f"{KINDS[fact.kind].word} struck out. It stays in the record.", kept.fact.seq)


def _history(fact: Fact) -> History | None:
    return get_history(db(), fact.subject.id) if fact.subject.type == "batch" else None


def _page(fact: Fact, answer: Answer) -> str:
    if isinstance(fact, Withdrawal):
        abort(404)
    only_read()
    later = find_superseder(db(), fact.id)
    history = _history(fact)
    outside = history is not None and judged_alone(history, _is_huskless)
    context: dict[str, Any] = {"fact": fact, "form": answer.form, "asked": answer, "outside": outside}
    kind = KINDS[fact.kind]
    context["fixed"] = FIXED.get(kind.shape_name) if kind.fields else None
    context |= {"later": later, "back": home_of(fact), "undo_id": ports.new_id(), "words": words()}
    context["photos"] = [photo for photo in list_photos_of_chain(db(), fact.id) if photo.struck_at is None]
    context |= {"told": _told(fact), "done": context["back"], "was": fact_words(fact, words().system)}
    return render_template("facts/correct.html", **context)


def _is_huskless(history: History) -> bool:
    return history.programme is not None and not history.programme.husked


def _told(fact: Fact) -> dict[str, str]:
    """What a phone must know of the fact to say it anew by itself."""
    return {
        "kind": fact.kind,
        "word": KINDS[fact.kind].word,
        "subject": ":".join(fact.subject),
        "zone": zone().key,
        "person": reader().name or "",
        "exact": " ".join(dict.fromkeys(each.isoformat() for each in (fact.at, fact.earliest_at, fact.latest_at))),
    }


def _done(fact: Fact, message: str, seq: int | None = None, is_judged: bool = False) -> Response:
    home = home_of(fact)
    back = f"{home}/tub" if request.form.get("back") == "tub" else home
    subject, last_seq = fact.subject, seq or fact.seq
    commit(back)
    if subject.type == "batch":
        refresh(subject.id)
    elif subject.type == "instrument" and last_seq is not None:
        refresh_touched_by(last_seq)
    grave = grave_words(db(), fact, words()) if is_judged else None
    if grave is not None:
        flash(f"{grave.text.rstrip('.')}. {grave.detail}", grave.status)
    flash(message, "kept")
    return redirect(back, 303)
