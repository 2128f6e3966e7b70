"""Packs: sacks and jars of malt. What went into them and out of them are facts."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.errors import NotFound
from app.store.base import Base
from app.store.facts import PART
from app.store.types import UtcDateTime


class Pack(Base):
    """A container of malt, by the name on its label."""

    __tablename__ = "pack"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)


def get_pack(session: Session, pack_id: str) -> Pack:
    pack = session.get(Pack, pack_id)
    if pack is None:
        raise NotFound("pack", pack_id)
    return pack


def list_packs(session: Session) -> list[Pack]:
    return list(session.scalars(select(Pack).order_by(Pack.created_at.desc(), Pack.id)))


def list_packs_of(session: Session, batch_id: str) -> list[Pack]:
    """The packs that were filled from a batch."""
    filled = select(PART.c.target_id).where(
        PART.c.source_type == "batch", PART.c.source_id == batch_id, PART.c.target_type == "pack"
    )
    return list(session.scalars(select(Pack).where(Pack.id.in_(filled)).order_by(Pack.created_at, Pack.id)))
