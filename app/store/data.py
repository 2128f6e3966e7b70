"""How much the database holds, and which revision it has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import column, func, select, table
from sqlalchemy.orm import Session

from app.store.batches import Batch
from app.store.facts import fact
from app.store.lots import Lot
from app.store.people import Person
from app.store.photos import Photo

_REVISION = table("alembic_version", column("version_num"))


@dataclass(frozen=True)
class Holdings:
    """Rows of each kind, struck-out facts and photos among them; revision: of the database's schema."""

    facts: int
    lots: int
    batches: int
    people: int
    photos: int
    revision: str


def get_holdings(session: Session) -> Holdings:
    """One statement."""
    tables: dict[str, Any] = {"facts": fact, "lots": Lot, "batches": Batch, "people": Person, "photos": Photo}
    asked = [select(func.count()).select_from(each).scalar_subquery().label(name) for name, each in tables.items()]
    revision = select(_REVISION.c.version_num).scalar_subquery().label("revision")
    return Holdings(**session.execute(select(*asked, revision)).mappings().one())
