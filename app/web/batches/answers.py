"""Answering a flag: from the buttons on its card to a fact."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app import ports
from app.judgement.facts.records import written
from app.operations.facts import record_fact

LEFT_FOR = timedelta(hours=6)
SAID = {
    "seen": "Seen. The flag stays in the record.",
    "acted_on": "Acted on. The flag stays in the record.",
    "false_alarm": "False alarm noted. The flag stays in the record.",
    "leaving": "Left for six hours; it comes back then if its cause is still there.",
}


def record_answer(session: Session, batch_id: str, sent: Mapping[str, str], now: datetime, by: str | None) -> str:
    """Keep an answer, and return what to say of it. Rejected names what is missing."""
    answer = sent.get("answer", "")
    typed = {name: sent.get(name, "") for name in ("rule", "episode", "severity")} | {"answer": answer}
    body = {"id": sent.get("id"), "kind": "flag_answer", "subject": batch_id, **typed}
    if answer == "leaving":
        typed["until"] = (now + LEFT_FOR).isoformat()
    entry_id, about = sent.get("id") or ports.new_id(), ("batch", batch_id)
    new = written("flag_answer", typed, about, (now, now), entry_id=entry_id, clock="now", written_at=now, by=by)
    record_fact(session, new, now=now, body=body)
    return SAID[answer]
