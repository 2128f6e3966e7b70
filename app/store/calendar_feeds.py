"""The calendar feeds that were handed out. Of each address only the digest of its secret part is kept."""

from __future__ import annotations

import hashlib
from datetime import datetime

from sqlalchemy import Boolean, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.store.base import Base
from app.store.types import UtcDateTime


class CalendarFeed(Base):
    """An address under which a calendar reads the next steps, until it is revoked. units: metric or us.

    made_by: a device or the desk; None where that was not kept yet.
    """

    __tablename__ = "calendar_feed"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    token_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    units: Mapped[str] = mapped_column(String(8))
    has_alarms: Mapped[bool] = mapped_column(Boolean)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    revoked_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    made_by: Mapped[str | None] = mapped_column(String(36))


def token_digest(token: str) -> str:
    """What is kept of a token, and looked up: how long the look-up takes tells nothing of the token."""
    return hashlib.sha256(token.encode()).hexdigest()


def find_feed(session: Session, feed_id: str) -> CalendarFeed | None:
    return session.get(CalendarFeed, feed_id)


def find_feed_by_token(session: Session, token: str) -> CalendarFeed | None:
    """The feed that this token opens; None where there is none, or where it was revoked."""
    query = select(CalendarFeed).where(
        CalendarFeed.token_sha256 == token_digest(token), CalendarFeed.revoked_at.is_(None)
    )
    return session.scalar(query)


def list_feeds(session: Session) -> list[CalendarFeed]:
    """Those that are open, the newest first, then those that were revoked."""
    order = (CalendarFeed.revoked_at.is_not(None), CalendarFeed.created_at.desc(), CalendarFeed.id)
    return list(session.scalars(select(CalendarFeed).order_by(*order)))


def list_feeds_made_by(session: Session, device_id: str | None) -> list[CalendarFeed]:
    """The open feeds that a device made; those of which nobody knows who made them for None."""
    made = CalendarFeed.made_by == device_id if device_id else CalendarFeed.made_by.is_(None)
    query = select(CalendarFeed).where(made, CalendarFeed.revoked_at.is_(None))
    return list(session.scalars(query.order_by(CalendarFeed.created_at, CalendarFeed.id)))
