"""The server half of a phone's outbox: entries by their own ids, an answer each; and what opens the app offline."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, current_app, jsonify, render_template, request
from flask_wtf.csrf import generate_csrf

from app.errors import NotFound
from app.judgement.facts.records import record_from_fact
from app.judgement.history.guard import judged_alone
from app.store.batches import find_batch_by_id
from app.store.facts import list_facts_after
from app.store.history import get_history
from app.version import VERSION
from app.web.entries.intake import take_in
from app.web.request.database import db
from app.web.request.failures import failure
from app.web.request.moment import request_now
from app.web.sync.sheet import sheet_of
from app.web.sync.worker import worker_script
from app.web.words.formatting import words

MOST_ENTRIES = 50
MOST_CHANGES = 200
LONGEST_SEQ = 18
"""Digits that the database can still count to."""

sync = Blueprint("sync", __name__)


@sync.get("/sync/hello")
def hello() -> Response:
    return jsonify(csrf_token=generate_csrf(), server_time=request_now().isoformat(), version=VERSION)


@sync.post("/sync/facts")
def keep() -> Response | tuple[Response | str, int]:
    body = _body()
    if body is None:
        text = f"Send {{“entries”: [ … ]}} with 1 to {MOST_ENTRIES} entries."
        return failure(422, "That can't be read", text)
    taken = take_in(body["entries"], body.get("ask"))
    return jsonify(answers=taken.answers, seq=taken.seq)


@sync.get("/changes")
def changes() -> Response | tuple[str, int]:
    text = request.args.get("after", "0")
    after = int(text) if text.isdecimal() and len(text) <= LONGEST_SEQ else 0
    if "batch" in request.args:
        return _changes_of(request.args["batch"], after)
    facts = list_facts_after(db(), after, MOST_CHANGES)
    if not facts:
        return "", 204
    return jsonify(facts=[record_from_fact(fact) for fact in facts], seq=facts[-1].seq)


def _changes_of(batch_id: str, after: int) -> Response | tuple[str, int]:
    """Whether anything came that touches this batch: all that an open page asks."""
    batch = find_batch_by_id(db(), batch_id)
    if batch is None or batch.last_seq <= after:
        return "", 204
    return jsonify(seq=batch.last_seq)


@sync.get("/sync/batches/<batch_id>")
def sheet(batch_id: str) -> Response:
    if find_batch_by_id(db(), batch_id) is None:
        raise NotFound("batch", batch_id)
    return jsonify(judged_alone(get_history(db(), batch_id), lambda history: sheet_of(history, words())))


@sync.get("/sw.js")
def worker() -> Response:
    response = Response(worker_script(current_app.extensions["static_url"]), mimetype="text/javascript")
    response.headers["Cache-Control"] = "no-cache"
    return response


@sync.get("/offline")
def offline() -> str:
    return render_template("offline.html")


def _body() -> dict[str, Any] | None:
    """What was sent, where it is a set with 1 to 50 entries."""
    try:
        body = request.get_json(silent=True)
    except RecursionError:
        return None
    entries = body.get("entries") if isinstance(body, dict) else None
    return body if isinstance(entries, list) and 1 <= len(entries) <= MOST_ENTRIES else None
