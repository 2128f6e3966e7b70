"""The server half of a phone's outbox: entries by their own ids, an answer each, judged once for each batch."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, jsonify, request
from flask_wtf.csrf import generate_csrf
from sqlalchemy.orm import Session

from app.errors import Conflict, KeptOtherwise, Rejected
from app.judgement.facts import Fact, Part, Subject
from app.judgement.meaning import meaning
from app.judgement.records import record_from_fact
from app.operations.facts import record_fact
from app.store.facts import last_seq, list_facts_after
from app.store.history import load_histories
from app.version import VERSION
from app.web.database import db
from app.web.digests import has_ended, refresh
from app.web.failures import failure
from app.web.formatting import request_now, words

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
    entries = _entries()
    if entries is None:
        text = f"Send {{“entries”: [ … ]}} with 1 to {MOST_ENTRIES} entries."
        return failure(422, "That can't be read", text)
    answers = [_keep_one(db(), entry) for entry in entries]
    db().commit()
    _judge(answers)
    return jsonify(answers=[_without_fact(answer) for answer in answers], seq=last_seq(db()))


@sync.get("/changes")
def changes() -> Response | tuple[str, int]:
    after = request.args.get("after", "0")
    is_seq = after.isdecimal() and len(after) <= LONGEST_SEQ
    found = list_facts_after(db(), int(after) if is_seq else 0, MOST_CHANGES)
    if not found:
        return "", 204
    return jsonify(facts=[record_from_fact(fact) for fact in found], seq=found[-1].seq)


def _entries() -> list[Any] | None:
    try:
        body = request.get_json(silent=True)
    except RecursionError:
        return None
    entries = body.get("entries") if isinstance(body, dict) else None
    return entries if isinstance(entries, list) and 1 <= len(entries) <= MOST_ENTRIES else None


def _keep_one(session: Session, entry: Any) -> dict[str, Any]:
    """Keep one entry in a savepoint of its own, so that a refused one takes no other with it."""
    if not isinstance(entry, dict):
        return {"id": None, "status": 422, "errors": {"": "An entry is a set of named values."}}
    answer: dict[str, Any] = {"id": entry.get("id")}
    try:
        with session.begin_nested():
            kept = record_fact(session, entry, now=request_now())
    except KeptOtherwise as error:
        return answer | {"status": 422, "errors": error.fields, "current": record_from_fact(error.current)}
    except Rejected as error:
        return answer | {"status": 422, "errors": error.fields}
    except Conflict as error:
        return answer | {
            "status": 409,
            "errors": {"supersedes_id": str(error)},
            "current": record_from_fact(error.current),
        }
    return answer | {"status": 201 if kept.is_new else 200, "fact": record_from_fact(kept.fact), "kept": kept.fact}


def _judge(answers: list[dict[str, Any]]) -> None:
    """Say of each kept entry what it means; each batch is loaded and judged once."""
    kept: list[Fact] = [answer["kept"] for answer in answers if "kept" in answer]
    ids = sorted({subject.id for fact in kept for subject in _subjects(fact) if subject.type == "batch"})
    histories = load_histories(db(), ids)
    for answer in answers:
        fact = answer.get("kept")
        if fact is not None and fact.subject.id in histories:
            said = meaning(histories[fact.subject.id], fact, request_now(), words())
            answer["meaning"] = {"status": said.status, "text": said.text, "detail": said.detail}
    db().commit()
    for batch_id, history in histories.items():
        if has_ended(history):
            refresh(batch_id)


def _subjects(fact: Fact) -> tuple[Subject, ...]:
    return (fact.subject, fact.source, fact.target) if isinstance(fact, Part) else (fact.subject,)


def _without_fact(answer: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in answer.items() if key != "kept"}
