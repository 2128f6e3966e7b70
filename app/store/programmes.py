"""Programme revisions, each named by the digest of its content and never changed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import String, Text, bindparam, func, or_, select, type_coerce
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.errors import NotFound
from app.judgement.programmes.programme import Programme
from app.store.base import Base
from app.store.batches import Batch
from app.store.facts import SHAPE_TABLES, fact, takes_its_place
from app.store.types import JsonText, UtcDateTime, canonical_json

STAGE = SHAPE_TABLES["stage"]


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


def find_revision(session: Session, digest: str) -> ProgrammeRevision | None:
    return session.get(ProgrammeRevision, digest)


def get_revision(session: Session, digest: str) -> ProgrammeRevision:
    revision = find_revision(session, digest)
    if revision is None:
        raise NotFound("programme", digest[:12])
    return revision


def get_programme(session: Session, digest: str) -> Programme:
    return programme_of(get_revision(session, digest))


def list_programmes(session: Session, digests: Iterable[str] | None = None) -> list[Programme]:
    """The revisions of these digests, or every one that is on offer for new batches, by name."""
    if digests is None:
        found = session.scalars(_CONTENTS.where(ProgrammeRevision.is_offered))
    else:
        found = session.scalars(_CONTENTS_OF, {"digests": list(set(digests))})
    return [_read(content) for content in found]


# As text: what was read once need not even be parsed.
_CONTENTS = select(type_coerce(ProgrammeRevision.content, Text)).order_by(ProgrammeRevision.name)
_CONTENTS_OF = _CONTENTS.where(ProgrammeRevision.digest.in_(bindparam("digests", expanding=True)))


def list_offered(session: Session) -> list[ProgrammeRevision]:
    """The revisions that are on offer for new batches, by name."""
    query = select(ProgrammeRevision).where(ProgrammeRevision.is_offered).order_by(ProgrammeRevision.name)
    return list(session.scalars(query))


def list_revisions(session: Session, key: str) -> list[ProgrammeRevision]:
    """Every revision of that key, on offer or not, the newest first."""
    query = select(ProgrammeRevision).where(ProgrammeRevision.key == key)
    return list(session.scalars(query.order_by(ProgrammeRevision.created_at.desc(), ProgrammeRevision.digest)))


def count_batches_by_programme(session: Session) -> dict[str, int]:
    """How many batches were charged with each revision, by its digest; those without any are left out."""
    rows = session.execute(select(Batch.programme, func.count().label("batches")).group_by(Batch.programme))
    return {row.programme: row.batches for row in rows}


def list_batches_of_programme(session: Session, digest: str) -> list[Batch]:
    """The batches that were charged with this revision, or moved to it on the way; the newest number first."""
    later = fact.alias("later")
    moved = (
        select(fact.c.subject_id)
        .join(STAGE, STAGE.c.fact_seq == fact.c.seq)
        .outerjoin(later, takes_its_place(later))
        .where(fact.c.subject_type == "batch", STAGE.c.programme == digest, later.c.seq.is_(None))
    )
    query = select(Batch).where(or_(Batch.programme == digest, Batch.id.in_(moved)))
    return list(session.scalars(query.order_by(Batch.number.desc())))
