"""Entries written elsewhere, on a phone or in a file: kept one by one, an answer each, judged once for each batch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from flask import current_app
from sqlalchemy.orm import Session

from app.errors import Conflict, KeptOtherwise, Rejected
from app.judgement.facts.fields import BadValues
from app.judgement.facts.records import fact_from_record, record_from_fact
from app.judgement.facts.shapes import Fact, Part, Subject, Weighing
from app.judgement.flags import Flag, each_for_itself
from app.judgement.history.history import History
from app.judgement.meaning.meaning import Meaning, meaning
from app.judgement.slips.questions import Question, is_insisted
from app.operations.facts import on_this_clock, record_fact
from app.store.facts import find_fact, last_seq
from app.store.history import load_histories
from app.web.entries.asking import questions_about
from app.web.request.database import commit, db
from app.web.request.digests import refresh_ended
from app.web.request.moment import request_now
from app.web.words.facts import Said
from app.web.words.formatting import words
from app.web.words.grave import grave_words

Answer = dict[str, Any]


class TakenIn(NamedTuple):
    """An answer for each entry; what was read of each, as it came; and the seq of the last fact in the house then."""

    answers: list[Answer]
    read: list[Fact | None]
    seq: int


def take_in(entries: Sequence[Any], ask: object = None) -> TakenIn:
    """Keep what can be kept, commit it, and answer each entry by its id. ask: the id of an entry that its writer can
    still be asked about."""
    read = [_read(entry) for entry in entries]
    taken = [_take_one(db(), entry, new, ask) for entry, new in zip(entries, read, strict=True)]
    seq = last_seq(db())
    if any(fact is not None for _, fact in taken):
        commit("/", "What could be taken of it is stored.")
        _judge(taken)
    return TakenIn([answer for answer, _ in taken], read, seq)


def _read(entry: Any) -> Fact | None:
    """None where it can't be read: to keep it then says why, or that it was kept by a program that could."""
    try:
        return fact_from_record(entry) if isinstance(entry, dict) else None
    except BadValues:
        return None


def _take_one(session: Session, entry: Any, new: Fact | None, ask: object) -> tuple[Answer, Fact | None]:
    """Keep one entry in a savepoint of its own, so that a refused one takes no other with it."""
    if not isinstance(entry, dict):
        return {"id": None, "status": 422, "errors": {"": "An entry is a set of named values."}}, None
    answer: Answer = {"id": entry.get("id")}
    try:
        is_asked = isinstance(ask, str) and ask.isascii() and ask == entry.get("id")
        asked = _questions(session, new) if is_asked and new is not None else []
        if asked:
            return answer | {"status": 422, "errors": {}, "questions": [_as_json(each) for each in asked]}, None
        wrong = _impossible(session, new) if isinstance(new, Weighing) and is_insisted(new) else {}
        if wrong:
            return answer | {"status": 422, "errors": wrong}, None
        with session.begin_nested():
            kept = record_fact(session, new or entry, now=request_now(), body=entry)
    except KeptOtherwise as error:
        return answer | {"status": 422, "errors": error.fields, "current": record_from_fact(error.current)}, None
    except Rejected as error:
        return answer | {"status": 422, "errors": error.fields}, None
    except Conflict as error:
        told = {"errors": {"supersedes_id": str(error)}, "current": record_from_fact(error.current)}
        return answer | {"status": 409, **told}, None
    return answer | {"status": 201 if kept.is_new else 200, "fact": record_from_fact(kept.fact)}, kept.fact


def _questions(session: Session, new: Fact) -> list[Question]:
    """What is asked about an entry that isn't here yet."""
    return [] if is_insisted(new) else _asked(session, new)


def _impossible(session: Session, new: Fact) -> dict[str, str]:
    """What nobody can insist on, by its field."""
    return {each.field: each.message for each in _asked(session, new) if not each.can_be}


def _asked(session: Session, new: Fact) -> list[Question]:
    if find_fact(session, new.id) is not None:
        return []
    history = load_histories(session, [new.subject.id]).get(new.subject.id)
    return questions_about(on_this_clock(new), history, words())


def _as_json(question: Question) -> dict[str, Any]:
    names = ("message", "alternative", "alternative_words", "as_typed_words", "can_be")
    return {name: getattr(question, name) for name in names}


def _judge(taken: list[tuple[Answer, Fact | None]]) -> None:
    """Say of each kept entry what it means; each batch is loaded and judged once. They are kept already: whatever goes
    wrong here, their phone must hear that they are."""
    kept = [fact for _, fact in taken if fact is not None]
    ids = sorted({subject.id for fact in kept for subject in _subjects(fact) if subject.type == "batch"})
    try:
        histories = load_histories(db(), ids)
    except Exception:
        current_app.logger.exception("batches %s can't be judged", ids)
        return
    standing: dict[str, list[Flag]] = {}
    for answer, fact in taken:
        if fact is not None:
            answer |= _meaning(histories.get(fact.subject.id), fact, standing)
    refresh_ended(histories.values())


def _meaning(history: History | None, fact: Fact, standing: dict[str, list[Flag]]) -> Answer:
    """What a kept fact means, where that can be said. history: of its batch, None where it is about something else.

    standing: by batch, the flags that stand now; each batch's are looked for once.
    """
    try:
        if history is None:
            return _as_meaning(grave_words(db(), fact, words()))
        now, batch_id = request_now(), history.batch.id
        if batch_id not in standing:
            standing[batch_id] = each_for_itself(history, now)
        return _as_meaning(meaning(history, fact, now, words(), standing[batch_id]))
    except Exception:
        current_app.logger.exception("what fact %s means can't be said", fact.id)
        return {}


def _as_meaning(said: Meaning | Said | None) -> Answer:
    if said is None:
        return {}
    return {"meaning": {"status": said.status, "text": said.text, "detail": said.detail}}


def _subjects(fact: Fact) -> tuple[Subject, ...]:
    return (fact.subject, fact.source, fact.target) if isinstance(fact, Part) else (fact.subject,)
