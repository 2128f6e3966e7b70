"""Where a fact is at home: the page of what it is about."""

from __future__ import annotations

from app.judgement.facts.shapes import Fact, Part
from app.store.batches import find_batch_by_id
from app.web.request.database import db


def home_of(fact: Fact) -> str:
    """The page of what the fact is about."""
    has_page = fact.subject.type in ("batch", "lot", "pack")
    subject = fact.target if isinstance(fact, Part) and not has_page else fact.subject
    if subject.type == "batch":
        batch = find_batch_by_id(db(), subject.id)
        return f"/batches/{batch.number}" if batch else "/"
    return f"/{subject.type}s/{subject.id}" if subject.type in ("lot", "pack") else "/house"
