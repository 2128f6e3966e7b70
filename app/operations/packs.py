"""Letting malt go out of the house."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from app.operations.facts import Kept, record_fact
from app.store.house import HOUSE


def dispatch_pack(
    session: Session, *, pack_id: str, part: Mapping[str, Any], now: datetime, body: Mapping[str, Any] | None = None
) -> Kept:
    """Malt of a pack leaves the house; its note says to whom. The same entry again is the same dispatch."""
    typed = {**part.get("typed", {}), "source": f"pack:{pack_id}", "target": f"{HOUSE.type}:{HOUSE.id}"}
    subject = {"type": "pack", "id": pack_id}
    return record_fact(session, {**part, "kind": "dispatch", "typed": typed, "subject": subject}, now=now, body=body)
