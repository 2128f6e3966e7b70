"""Photos of facts: what is known of each in one table, the pictures themselves in another.

A list never reads a picture, and the small one is read without the whole one. Photos are kept in the database, so that
they are saved together with their fact and are in every copy of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, Select, String, bindparam, select, tuple_
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.judgement.facts.shapes import Subject
from app.store.base import Base
from app.store.facts import fact
from app.store.types import UtcDateTime

WHOLE, SMALL = "whole", "small"


class Photo(Base):
    """A photo of what a fact says. sha256: of the file as it came; the other measures: of the whole picture kept.

    A photo that is struck is shown no more, and stays. created_at: by the clock of the phone, where that said so.
    """

    __tablename__ = "photo"
    __table_args__ = (CheckConstraint("width > 0 AND height > 0 AND size_bytes > 0", name="has_a_picture"),)

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    fact_id: Mapped[str] = mapped_column(String(36), ForeignKey("fact.id"), index=True)
    sha256: Mapped[str] = mapped_column(String(64))
    width: Mapped[int]
    height: Mapped[int]
    size_bytes: Mapped[int]
    media_type: Mapped[str] = mapped_column(String(40))
    created_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    entered_by: Mapped[str | None] = mapped_column(String(80))
    device: Mapped[str | None] = mapped_column(String(80))
    struck_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    struck_by: Mapped[str | None] = mapped_column(String(80))


class PhotoPicture(Base):
    """The JPEG of a photo in one of its two sizes."""

    __tablename__ = "photo_picture"
    __table_args__ = (CheckConstraint("size IN ('whole', 'small')", name="size_known"),)

    photo_id: Mapped[str] = mapped_column(String(36), ForeignKey("photo.id"), primary_key=True)
    size: Mapped[str] = mapped_column(String(5), primary_key=True)
    jpeg: Mapped[bytes] = mapped_column(LargeBinary)


def find_photo(session: Session, photo_id: str) -> Photo | None:
    return session.get(Photo, photo_id)


def find_picture(session: Session, photo_id: str, size: str) -> bytes | None:
    """The JPEG of a photo, struck or not: size is whole or small."""
    return session.scalar(select(PhotoPicture.jpeg).where(PhotoPicture.photo_id == photo_id, PhotoPicture.size == size))


def list_photos(session: Session) -> list[Photo]:
    """Every photo, struck ones too, in the order in which they came."""
    return list(session.scalars(_in_order(select(Photo))))


def list_photos_of_chain(session: Session, fact_id: str) -> list[Photo]:
    """Every photo of a fact, of what it corrected and of what corrected it; struck ones too."""
    ids = _chain_ids(session, fact_id)
    return list(session.scalars(_in_order(select(Photo).where(Photo.fact_id.in_(ids)))))


def _chain_ids(session: Session, fact_id: str) -> list[str]:
    ids = [fact_id]
    for given, wanted in ((fact.c.id, fact.c.supersedes_id), (fact.c.supersedes_id, fact.c.id)):
        last: str | None = fact_id
        while (last := session.scalar(select(wanted).where(given == last))) is not None and last not in ids:
            ids.append(last)
    return ids


def list_photos_about(session: Session, subjects: Iterable[Subject]) -> list[Photo]:
    """The photos of all facts about these, without the struck ones, in the order in which they came. One statement."""
    about = list(dict.fromkeys(subjects))
    return list(session.scalars(_ABOUT, {"subjects": about})) if about else []


def _in_order(query: Select[Any]) -> Select[Any]:
    return query.order_by(Photo.received_at, Photo.id)


# Built once: every page about a batch asks it.
_ABOUT = _in_order(
    select(Photo)
    .join(fact, fact.c.id == Photo.fact_id)
    .where(tuple_(fact.c.subject_type, fact.c.subject_id).in_(bindparam("subjects", expanding=True)))
    .where(Photo.struck_at.is_(None))
)
