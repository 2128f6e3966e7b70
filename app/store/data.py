"""How much the database holds, and which revision it has."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import column, func, select, table
from sqlalchemy.orm import Session

from app.store.batches import Batch
from app.store.facts import fact
from app.store.lots import Lot
from app.store.people import Person

_REVISION = table("alembic_version", column("version_num"))


@dataclass(frozen=True)
class Holdings:
    """Rows of each kind, struck-out facts among them; revision: of the database's schema."""

    facts: int
    lots: int
    batches: int
    people: int
    revision: str


def get_holdings(session: Session) -> Holdings:
    """One statement."""
    counted = (select(func.count()).select_from(each).scalar_subquery() for each in (fact, Lot, Batch, Person))
    revision = select(_REVISION.c.version_num).scalar_subquery()
    facts, lots, batches, people, name = session.execute(select(*counted, revision)).one()
    return Holdings(facts, lots, batches, people, name)
