"""batch_digest: the measures of each batch, for lists and comparison. Disposable: `chitbook rebuild` makes it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Boolean, ForeignKey, Index, Integer, Select, String, bindparam, delete, exists, func, select
from sqlalchemy.orm import Mapped, Session, aliased, mapped_column

from app.judgement.history.build import MOST_TAUGHT, Taught
from app.store.base import Base
from app.store.batches import Batch
from app.store.facts import PART, fact, takes_its_place
from app.store.types import JsonText, UtcDateTime


class BatchDigest(Base):
    """What the batch came to, as of its fact `seq` and of the rules' version."""

    __tablename__ = "batch_digest"

    batch_id: Mapped[str] = mapped_column(String(36), ForeignKey("batch.id"), primary_key=True)
    seq: Mapped[int] = mapped_column(Integer)
    rules_version: Mapped[int] = mapped_column(Integer)
    is_live: Mapped[bool] = mapped_column(Boolean)
    stage: Mapped[str] = mapped_column(String(20))
    started_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    measures: Mapped[Any] = mapped_column(JsonText)

    # The measures make a row long: what the home page asks of every batch is answered from these alone.
    __table_args__ = (
        Index("ix_batch_digest_state", "batch_id", "seq", "rules_version", "is_live"),
        Index("ix_batch_digest_ended", "is_live", "ended_at"),
    )


def list_live_ids(session: Session, rules_version: int) -> list[str]:
    """The batches that are going on, and those whose digest is behind their facts and so may be."""
    has_ended = exists().where(
        BatchDigest.batch_id == Batch.id,
        BatchDigest.seq == Batch.last_seq,
        BatchDigest.rules_version == rules_version,
        BatchDigest.is_live.is_(False),
    )
    query = select(Batch.id).where(~has_ended).order_by(Batch.number.desc())
    return list(session.scalars(query))


def list_judged_otherwise(session: Session, rules_version: int) -> list[str]:
    """The batches that had ended and are remembered by other rules than these."""
    otherwise = BatchDigest.is_live.is_(False) & (BatchDigest.rules_version != rules_version)
    return list(session.scalars(select(BatchDigest.batch_id).where(otherwise).order_by(BatchDigest.batch_id)))


def list_digests(session: Session, *, limit: int, offset: int = 0) -> list[tuple[Batch, BatchDigest | None]]:
    """Batches, the newest first, with what each came to."""
    query = (
        select(Batch, BatchDigest)
        .outerjoin(BatchDigest, BatchDigest.batch_id == Batch.id)
        .order_by(Batch.number.desc())
        .limit(limit)
        .offset(offset)
    )
    return [(batch, digest) for batch, digest in session.execute(query)]


def list_ended(session: Session, rules_version: int, *, limit: int) -> list[tuple[Batch, BatchDigest]]:
    """Batches that have ended and whose digest is of their last fact, those that ended last first."""
    query = (
        select(Batch, BatchDigest)
        .join(BatchDigest, BatchDigest.batch_id == Batch.id)
        .where(
            BatchDigest.is_live.is_(False),
            BatchDigest.seq == Batch.last_seq,
            BatchDigest.rules_version == rules_version,
        )
        .order_by(BatchDigest.ended_at.desc(), Batch.number.desc())
        .limit(limit)
    )
    return [(batch, digest) for batch, digest in session.execute(query)]


def list_taught(
    session: Session, lot_ids: Collection[str], batch_ids: Collection[str], rules_version: int
) -> list[Taught]:
    """The batches charged from these lots that one of these batches can learn from: for each of them and each lot those
    that had ended last when it was opened, in order of their ends.
    """
    if not lot_ids:
        return []
    given = {"lot_ids": list(lot_ids), "batch_ids": list(batch_ids), "rules_version": rules_version}
    rows = session.execute(_TAUGHT, given).all()
    return [Taught(lot_id, batch_id, ended_at, record) for lot_id, batch_id, ended_at, record in rows]


def forget_taught_by(session: Session, batch_id: str) -> None:
    """Remove the digests of the other batches charged from this one's lots and opened since it ended."""
    lots = select(PART.c.source_id).where(PART.c.source_type == "lot", PART.c.target_id == batch_id)
    ended_at = select(BatchDigest.ended_at).where(BatchDigest.batch_id == batch_id).scalar_subquery()
    taught = (
        select(PART.c.target_id)
        .join(Batch, Batch.id == PART.c.target_id)
        .where(PART.c.source_id.in_(lots), PART.c.target_id != batch_id, Batch.created_at >= ended_at)
    )
    session.execute(delete(BatchDigest).where(BatchDigest.batch_id.in_(taught)))


def _taught() -> Select[Any]:
    later, taught = fact.alias("later"), aliased(Batch)
    place = func.row_number().over(
        partition_by=(taught.id, PART.c.source_id), order_by=(BatchDigest.ended_at.desc(), BatchDigest.batch_id)
    )
    ranked = (
        select(PART.c.source_id, BatchDigest.batch_id, BatchDigest.ended_at, place.label("place"))
        .join(fact, fact.c.seq == PART.c.fact_seq)
        .outerjoin(later, takes_its_place(later))
        .join(BatchDigest, BatchDigest.batch_id == PART.c.target_id)
        .join(taught, (taught.created_at >= BatchDigest.ended_at) & (taught.id != BatchDigest.batch_id))
        .where(
            PART.c.source_type == "lot",
            PART.c.source_id.in_(bindparam("lot_ids", expanding=True)),
            PART.c.target_type == "batch",
            taught.id.in_(bindparam("batch_ids", expanding=True)),
            later.c.seq.is_(None),
            BatchDigest.rules_version == bindparam("rules_version"),
        )
        .subquery()
    )
    chosen = (
        select(ranked.c.source_id, ranked.c.batch_id, ranked.c.ended_at)
        .where(ranked.c.place <= MOST_TAUGHT)
        .distinct()
        .subquery()
    )
    return (
        select(chosen.c.source_id, chosen.c.batch_id, chosen.c.ended_at, BatchDigest.measures)
        .join(BatchDigest, BatchDigest.batch_id == chosen.c.batch_id)
        .order_by(chosen.c.ended_at, chosen.c.batch_id)
    )


# To put the statement together takes longer than to run it, and every page with a batch asks it.
_TAUGHT = _taught()


def get_digests(session: Session, batch_ids: Sequence[str]) -> dict[str, BatchDigest]:
    """What these batches came to, by id; those that have no digest yet are left out."""
    if not batch_ids:
        return {}
    rows = session.scalars(select(BatchDigest).where(BatchDigest.batch_id.in_(batch_ids)))
    return {row.batch_id: row for row in rows}
