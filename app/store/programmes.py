"""Programme revisions, each named by the digest of its content and never changed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import String, Text, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.errors import NotFound
from app.judgement.programme import Programme
from app.store.base import Base
from app.store.types import JsonText, UtcDateTime, canonical_json


class ProgrammeRevision(Base):
    """One revision. parent: the revision that it was made from."""

    __tablename__ = "programme"

    digest: Mapped[str] = mapped_column(String(64), primary_key=True)
    key: Mapped[str] = mapped_column(String(60), index=True)
    name: Mapped[str] = mapped_column(String(120))
    parent: Mapped[str | None] = mapped_column(String(64))
    content: Mapped[Any] = mapped_column(JsonText)
    note: Mapped[str] = mapped_column(Text, default="")
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    is_offered: Mapped[bool] = mapped_column(default=True)


@lru_cache(maxsize=256)
def _read(content: str) -> Programme:
    import json

    return Programme.from_dict(json.loads(content))


def programme_of(revision: ProgrammeRevision) -> Programme:
    """The programme of a revision; read once for each content, since revisions never change."""
    return _read(canonical_json(revision.content))


def get_programme(session: Session, digest: str) -> Programme:
    revision = session.get(ProgrammeRevision, digest)
    if revision is None:
        raise NotFound("programme", digest[:12])
    return programme_of(revision)


def list_programmes(session: Session, digests: Iterable[str] | None = None) -> list[Programme]:
    """The revisions of these digests, or every one that is on offer for new batches, by name."""
    query = select(ProgrammeRevision).order_by(ProgrammeRevision.name)
    if digests is None:
        query = query.where(ProgrammeRevision.is_offered)
    else:
        query = query.where(ProgrammeRevision.digest.in_(set(digests)))
    return [programme_of(revision) for revision in session.scalars(query)]
