"""The phones that were let in, the one-time codes that let one in, and the guesses that did not."""

from __future__ import annotations

import hashlib
from datetime import datetime

from sqlalchemy import ForeignKey, Index, Integer, String, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.store.base import Base
from app.store.types import UtcDateTime

MAY_LOG, MAY_MANAGE = "may_log", "may_manage"
ROLES = {MAY_LOG: "may log", MAY_MANAGE: "may manage"}
DESK = "desk"
"""Stands for a device where something was made at the desk itself."""
DEVICE_INFO = "device"
"""Under this name a session knows from which device what it writes has come."""


class Device(Base):
    """A phone, or another machine, that was paired with this house. last_seen_at: to within an hour.

    made_by: the device whose code let it in, or the desk; None where that was not kept yet.
    """

    __tablename__ = "device"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    role: Mapped[str] = mapped_column(String(12))
    person_id: Mapped[str | None] = mapped_column(ForeignKey("person.id"))
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    last_seen_at: Mapped[datetime] = mapped_column(UtcDateTime)
    revoked_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    made_by: Mapped[str | None] = mapped_column(String(36))


class PairingCode(Base):
    """A code that lets one device in, once, before it expires. Of the code only a digest is kept.

    made_by: a device or the desk; None where that was not kept yet.
    """

    __tablename__ = "pairing_code"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    code_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    role: Mapped[str] = mapped_column(String(12))
    person_id: Mapped[str | None] = mapped_column(ForeignKey("person.id"))
    expires_at: Mapped[datetime] = mapped_column(UtcDateTime)
    made_by: Mapped[str | None] = mapped_column(String(36))


class PairingGuess(Base):
    """A code that was sent and let nobody in."""

    __tablename__ = "pairing_guess"
    __table_args__ = (Index(None, "at"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    address: Mapped[str] = mapped_column(String(45))
    at: Mapped[datetime] = mapped_column(UtcDateTime)


def code_digest(code: str) -> str:
    """What is kept of a code, however it was typed."""
    return hashlib.sha256(plain_code(code).encode()).hexdigest()


def plain_code(code: str) -> str:
    """A code as it was made, from what a person typed: in small letters, with gaps, with O for 0 or I for 1."""
    signs = "".join(sign for sign in code.upper() if sign.isalnum())
    return signs.translate(str.maketrans("OIL", "011"))


def find_device(session: Session, device_id: str) -> Device | None:
    return session.get(Device, device_id)


def find_device_by_name(session: Session, name: str) -> Device | None:
    """The device let in under this name, however it is written in large and small."""
    query = select(Device).where(func.lower(Device.name) == name.lower(), Device.revoked_at.is_(None))
    return session.scalars(query).first()


def list_devices(session: Session) -> list[Device]:
    """Those that are let in, by name, then those that were revoked, the latest first."""
    order = (Device.revoked_at.is_not(None), Device.revoked_at.desc(), Device.name, Device.id)
    return list(session.scalars(select(Device).order_by(*order)))


def list_let_in_by(session: Session, device_id: str) -> list[Device]:
    """The devices that its codes let in and that are in still, by name."""
    query = select(Device).where(Device.made_by == device_id, Device.revoked_at.is_(None))
    return list(session.scalars(query.order_by(Device.name, Device.id)))


def find_code(session: Session, code: str) -> PairingCode | None:
    return session.scalars(select(PairingCode).where(PairingCode.code_sha256 == code_digest(code))).first()


def count_guesses(session: Session, since: datetime, address: str | None = None) -> int:
    query = select(func.count()).select_from(PairingGuess).where(PairingGuess.at > since)
    if address is not None:
        query = query.where(PairingGuess.address == address)
    return session.scalar(query) or 0
