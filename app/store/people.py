"""The people of the house, and the units that each reads in."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.store.base import Base
from app.store.types import UtcDateTime


class Person(Base):
    """Someone who reads and types. units: metric or us."""

    __tablename__ = "person"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    units: Mapped[str] = mapped_column(String(8), default="metric")
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)


def find_person(session: Session, person_id: str) -> Person | None:
    return session.get(Person, person_id)


def find_person_by_name(session: Session, name: str) -> Person | None:
    return session.scalar(select(Person).where(Person.name == name))


def list_people(session: Session) -> list[Person]:
    return list(session.scalars(select(Person).order_by(Person.name)))
