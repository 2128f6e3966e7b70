"""Taking lots in."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from app.errors import Rejected
from app.judgement.facts.shapes import Fact
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
    facts: Sequence[Fact] = (),
) -> Lot:
    """Open a lot, with what is known of it at once, such as its intake or its declaration. The same id again is the
    same lot."""
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
    for new in facts:
        record_fact(session, new, now=now)
    return lot
