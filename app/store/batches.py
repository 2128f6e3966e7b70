"""Batches: their number and title. What happened to them are facts."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import ForeignKey, Integer, String, bindparam, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.errors import NotFound
from app.store.base import Base
from app.store.types import UtcDateTime

MOST_BATCHES = 2**31 - 1
"""The highest number that every database can hold; one beyond it names no batch."""


class Batch(Base):
    """One charge taken from first water to sack. last_seq: of the last fact that touched it; revision: of its title."""

    __tablename__ = "batch"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    number: Mapped[int] = mapped_column(Integer, unique=True)
    title: Mapped[str] = mapped_column(String(80), default="")
    species: Mapped[str] = mapped_column(String(20))
    vessel: Mapped[str] = mapped_column(String(60), default="")
    programme: Mapped[str] = mapped_column(String(64), ForeignKey("programme.digest"))
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    last_seq: Mapped[int] = mapped_column(Integer, default=0)
    revision: Mapped[int] = mapped_column(Integer, default=1)


# Built once: every page about a batch asks it.
_BY_NUMBER = select(Batch).where(Batch.number == bindparam("number"))


def get_batch(session: Session, number: int) -> Batch:
    batch = session.scalar(_BY_NUMBER, {"number": number}) if number <= MOST_BATCHES else None
    if batch is None:
        raise NotFound("batch", number)
    return batch


def find_batch_by_id(session: Session, batch_id: str) -> Batch | None:
    return session.get(Batch, batch_id)


def list_batches(session: Session, ids: list[str] | None = None, numbers: list[int] | None = None) -> list[Batch]:
    """The batches of these ids or numbers, or all, the newest number first."""
    query = select(Batch).order_by(Batch.number.desc())
    if ids is not None:
        query = query.where(Batch.id.in_(ids))
    if numbers is not None:
        query = query.where(Batch.number.in_(numbers))
    return list(session.scalars(query))


def list_last_seqs(session: Session, batch_ids: Sequence[str]) -> dict[str, int]:
    """The last fact that touched each of these batches."""
    rows = session.execute(select(Batch.id, Batch.last_seq).where(Batch.id.in_(batch_ids)))
    return {row.id: row.last_seq for row in rows}


def next_number(session: Session) -> int:
    return (session.scalar(select(func.max(Batch.number))) or 0) + 1


def list_vessels(session: Session, limit: int = 20) -> list[str]:
    """The vessels that batches were put into, those used last first."""
    query = (
        select(Batch.vessel).where(Batch.vessel != "").group_by(Batch.vessel).order_by(func.max(Batch.number).desc())
    )
    return list(session.scalars(query.limit(limit)))


def list_species(session: Session) -> list[str]:
    """The species that batches were made of."""
    return list(session.scalars(select(Batch.species).distinct().order_by(Batch.species)))


def find_last_programme(session: Session, species: str) -> str | None:
    """The digest of the programme that the last batch of this species was begun with."""
    query = select(Batch.programme).where(Batch.species == species).order_by(Batch.number.desc()).limit(1)
    return session.scalar(query)
