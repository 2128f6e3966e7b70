"""Lots: what they are called. Their stock, tests and declaration are facts."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from sqlalchemy import String, func, or_, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.errors import NotFound
from app.judgement.facts.shapes import Fact, Part, Subject, Weighing
from app.judgement.history.history import LotInfo, in_order, order
from app.judgement.history.superseding import Chain, chains
from app.store.base import Base
from app.store.batches import Batch
from app.store.facts import PART, SHAPE_TABLES, facts_from, found_by, places_of_story, select_facts, stands
from app.store.facts import fact as fact_table
from app.store.search import holding
from app.store.types import UtcDateTime

_REMARK = SHAPE_TABLES["remark"]


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


def find_lot(session: Session, lot_id: str) -> Lot | None:
    return session.get(Lot, lot_id)


def find_lot_by_name(session: Session, name: str) -> Lot | None:
    return session.scalar(select(Lot).where(Lot.name == name))


def list_lots(
    session: Session,
    *,
    ids: Collection[str] | None = None,
    first: Collection[str] = (),
    like: str = "",
    limit: int | None = None,
    offset: int = 0,
) -> list[Lot]:
    """Lots, the newest first: those of these ids, or all. first: those that come before all others.

    like: words that its name, grain, harvest or supplier holds, each of them.
    """
    query = select(Lot).order_by(Lot.id.in_(first).desc(), Lot.created_at.desc(), Lot.id)
    if ids is not None:
        query = query.where(Lot.id.in_(ids))
    return list(session.scalars(query.where(*holding(like, *_SEARCHED)).limit(limit).offset(offset)))


_SEARCHED = (Lot.name, Lot.species, Lot.variety, Lot.harvest, Lot.supplier)


@dataclass(frozen=True)
class LotStory:
    """A lot with all that was ever said of it: facts about it, parts into and out of it, and what superseded those."""

    lot: Lot
    facts: tuple[Fact, ...]

    @cached_property
    def chains(self) -> tuple[Chain, ...]:
        """Everything by what it corrects, in the order of the story."""
        return tuple(sorted(chains(self.facts), key=lambda chain: order(chain.facts[0])))

    @cached_property
    def info(self) -> LotInfo:
        """The lot as judgement knows it."""
        about = [fact for fact in in_order(self.chains) if fact.subject == Subject("lot", self.lot.id)]
        words = {name: getattr(self.lot, name) for name in ("id", "name", "species", "variety")}
        return LotInfo(**words, facts=tuple(about))

    @property
    def taken_in_kg(self) -> float:
        """All that ever came into the lot by weight."""
        return sum(fact.net_kg for fact in self.info.facts if isinstance(fact, Weighing) and fact.kind == "intake")

    @cached_property
    def charges(self) -> tuple[Part, ...]:
        """The standing parts that went out of the lot into batches, by time."""
        own = Subject("lot", self.lot.id)
        parts = [fact for fact in in_order(self.chains) if isinstance(fact, Part) and fact.source == own]
        return tuple(part for part in parts if part.target.type == "batch")


def list_batches_with_ergot(session: Session, lot_id: str) -> list[int]:
    """The numbers of the batches that were charged from a lot and in which somebody found ergot."""
    charged = select(PART.c.target_id).join(fact_table, PART.c.fact_seq == fact_table.c.seq)
    charged = charged.where(PART.c.source_type == "lot", PART.c.source_id == lot_id, *stands())
    found = or_(_REMARK.c.ergot_kg > 0.0, func.json_extract(_REMARK.c.findings, "$.ergot") == "yes")
    query = (
        select(Batch.number)
        .join(fact_table, (fact_table.c.subject_type == "batch") & (fact_table.c.subject_id == Batch.id))
        .join(_REMARK, _REMARK.c.fact_seq == fact_table.c.seq)
        .where(Batch.id.in_(list(session.scalars(charged))), found, *stands())
    )
    return sorted(set(session.scalars(query)))


def load_lot_stories(session: Session, lots: Sequence[Lot]) -> list[LotStory]:
    """The stories of these lots, in their order: one statement, however many there are."""
    if not lots:
        return []
    ids = [lot.id for lot in lots]
    wanted = select_facts().where(found_by(*places_of_story("lot", ids)))
    by_lot = _by_lot(facts_from(session.execute(wanted).all()))
    return [LotStory(lot, tuple(by_lot.get(lot.id, ()))) for lot in lots]


def _by_lot(facts: Sequence[Fact]) -> dict[str, list[Fact]]:
    ends = {fact.id: {fact.subject, fact.source, fact.target} for fact in facts if isinstance(fact, Part)}
    by_lot: dict[str, list[Fact]] = {}
    for fact in facts:
        subjects = {fact.subject} | ends.get(fact.id, set()) | ends.get(fact.supersedes_id or "", set())
        for subject in subjects:
            if subject.type == "lot":
                by_lot.setdefault(subject.id, []).append(fact)
    return by_lot
