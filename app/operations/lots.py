"""Taking lots in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from app.errors import Rejected
from app.operations.facts import record_fact
from app.store.lots import Lot, find_lot_by_name


def create_lot(
    session: Session,
    *,
    lot_id: str,
    name: str,
    species: str,
    variety: str = "",
    harvest: str = "",
    supplier: str = "",
    now: datetime,
    intake: Mapping[str, Any] | None = None,
    entries: Sequence[Mapping[str, Any]] = (),
) -> Lot:
    """Open a lot, with its intake weighing where there is one. The same id again is the same lot.

    entries: records of what else is known of it at once, such as a moisture test or its declaration.
    """
    known = session.get(Lot, lot_id)
    if known is not None:
        return known
    name = name.strip()
    if not name:
        raise Rejected({"name": "The lot needs a name, as written on its sacks."})
    if not species.strip():
        raise Rejected({"species": "Say which grain it is."})
    if find_lot_by_name(session, name) is not None:
        raise Rejected({"name": f"There is a lot called “{name}” already."})
    lot = Lot(
        id=lot_id,
        name=name,
        species=species.strip(),
        variety=variety.strip(),
        harvest=harvest.strip(),
        supplier=supplier.strip(),
        created_at=now,
    )
    session.add(lot)
    session.flush()
    for entry in ([{**intake, "kind": "intake"}] if intake is not None else []) + list(entries):
        record_fact(session, {**entry, "subject": {"type": "lot", "id": lot_id}}, now=now)
    return lot
