"""Lots: what they are called. Their stock, tests and declaration are facts."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.errors import NotFound
from app.store.base import Base
from app.store.types import UtcDateTime


class Lot(Base):
    """One delivery of grain of one species, variety and harvest."""

    __tablename__ = "lot"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    species: Mapped[str] = mapped_column(String(20))
    variety: Mapped[str] = mapped_column(String(80), default="")
    harvest: Mapped[str] = mapped_column(String(20), default="")
    supplier: Mapped[str] = mapped_column(String(120), default="")
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)


def get_lot(session: Session, lot_id: str) -> Lot:
    lot = session.get(Lot, lot_id)
    if lot is None:
        raise NotFound("lot", lot_id)
    return lot


def find_lot_by_name(session: Session, name: str) -> Lot | None:
    return session.scalar(select(Lot).where(Lot.name == name))


def list_lots(session: Session) -> list[Lot]:
    """Every lot, the newest first."""
    return list(session.scalars(select(Lot).order_by(Lot.created_at.desc(), Lot.id)))
