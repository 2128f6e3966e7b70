"""Packs: sacks and jars of malt. What went into them and out of them are facts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from sqlalchemy import String, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.errors import NotFound
from app.judgement.facts.shapes import Fact, Part, Subject
from app.judgement.history.history import in_order, order
from app.judgement.history.superseding import Chain, chains
from app.store.base import Base
from app.store.facts import PART, facts_from, found_by, places_of_story, select_facts
from app.store.search import holding
from app.store.types import UtcDateTime

CODE_SIGNS = 8


class Pack(Base):
    """A container of malt, by the name on its label."""

    __tablename__ = "pack"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)

    @property
    def code(self) -> str:
        """What stands on its label beside the name, which may be on another jar too: the first signs of its id."""
        return self.id[:CODE_SIGNS].upper()


def get_pack(session: Session, pack_id: str) -> Pack:
    pack = session.get(Pack, pack_id)
    if pack is None:
        raise NotFound("pack", pack_id)
    return pack


def list_packs(session: Session, *, like: str = "", limit: int | None = None, offset: int = 0) -> list[Pack]:
    """The packs, those filled last first. like: words that its name or the beginning of its code holds."""
    query = select(Pack).where(*holding(like, Pack.name, func.substr(Pack.id, 1, CODE_SIGNS)))
    query = query.order_by(Pack.created_at.desc(), Pack.id)
    return list(session.scalars(query.limit(limit).offset(offset)))


def list_packs_of(session: Session, batch_id: str) -> list[Pack]:
    """The packs that were filled from a batch."""
    filled = select(PART.c.target_id).where(
        PART.c.source_type == "batch", PART.c.source_id == batch_id, PART.c.target_type == "pack"
    )
    return list(session.scalars(select(Pack).where(Pack.id.in_(filled)).order_by(Pack.created_at, Pack.id)))


@dataclass(frozen=True)
class PackStory:
    """A pack with all that was ever said of it: facts about it, parts into and out of it, and what superseded those."""

    pack: Pack
    facts: tuple[Fact, ...]

    @cached_property
    def chains(self) -> tuple[Chain, ...]:
        """Everything by what it corrects, in the order of the story."""
        return tuple(sorted(chains(self.facts), key=lambda chain: order(chain.facts[0])))

    @cached_property
    def standing(self) -> tuple[Fact, ...]:
        """What holds, by time."""
        return tuple(in_order(self.chains))

    @cached_property
    def fillings(self) -> tuple[Part, ...]:
        """The standing parts that filled it, by time."""
        own = Subject("pack", self.pack.id)
        return tuple(fact for fact in self.standing if isinstance(fact, Part) and fact.target == own)

    @property
    def batch_ids(self) -> list[str]:
        """The batches that filled it, each once."""
        return list(dict.fromkeys(part.source.id for part in self.fillings if part.source.type == "batch"))


def load_pack_stories(session: Session, packs: Sequence[Pack]) -> list[PackStory]:
    """The stories of these packs, in their order: one statement, however many there are."""
    if not packs:
        return []
    ids = [pack.id for pack in packs]
    wanted = select_facts().where(found_by(*places_of_story("pack", ids)))
    by_pack = _by_pack(facts_from(session.execute(wanted).all()))
    return [PackStory(pack, tuple(by_pack.get(pack.id, ()))) for pack in packs]


def _by_pack(facts: Sequence[Fact]) -> dict[str, list[Fact]]:
    ends = {fact.id: {fact.subject, fact.source, fact.target} for fact in facts if isinstance(fact, Part)}
    by_pack: dict[str, list[Fact]] = {}
    for fact in facts:
        for subject in {fact.subject} | ends.get(fact.id, set()) | ends.get(fact.supersedes_id or "", set()):
            if subject.type == "pack":
                by_pack.setdefault(subject.id, []).append(fact)
    return by_pack
