"""From rows to Histories: everything that judging some batches needs, in a fixed number of statements."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import literal, or_, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.judgement.facts.shapes import Answer, Fact, Part, StageChange, Subject
from app.judgement.flags import RULES_VERSION
from app.judgement.forecasts.priors import priors_from_digests
from app.judgement.history.history import BatchInfo, History, LotInfo, order, standing
from app.judgement.history.superseding import chains
from app.judgement.programmes.programme import Programme
from app.store.batches import Batch, list_batches
from app.store.digests import MOST_TAUGHT, Taught, list_taught
from app.store.facts import PART, fact, facts_from, select_facts
from app.store.lots import Lot
from app.store.programmes import list_programmes

FITS = "fits"
"""In `Session.info`: the `Fits` in which forecasts are kept from one unit of work to the next."""


def get_history(session: Session, batch_id: str) -> History:
    """The History of one batch."""
    found = load_histories(session, [batch_id])
    if batch_id not in found:
        raise NotFound("batch", batch_id)
    return found[batch_id]


def load_histories(session: Session, batch_ids: Sequence[str]) -> dict[str, History]:
    """The Histories of these batches: six statements, however many there are.

    A session with `FITS` in its info has fits kept there, and the histories use them.
    """
    if not batch_ids:
        return {}
    nodes = _list_ancestors(session, batch_ids)
    pool = _Pool.read(_list_facts(session, nodes))
    lots = {lot.id: lot for lot in session.scalars(select(Lot).where(Lot.id.in_(nodes["lot"])))}
    batches = list_batches(session, ids=list(batch_ids))
    programmes = {each.digest: each for each in list_programmes(session, _digests(batches, pool))}
    taught = list_taught(session, nodes["lot"], list(batch_ids), RULES_VERSION)
    found = {batch.id: _history(batch, pool, lots, programmes, taught) for batch in batches}
    fits = session.info.get(FITS)
    return found if fits is None else {batch_id: fits.lend(history) for batch_id, history in found.items()}


def info_of(batch: Batch) -> BatchInfo:
    """A batch's row as judgement knows it."""
    return BatchInfo(
        id=batch.id,
        number=batch.number,
        title=batch.title,
        species=batch.species,
        vessel=batch.vessel,
        programme=batch.programme,
        created_at=batch.created_at,
    )


@dataclass
class _Pool:
    """Facts by what they are about; parts also by each of their ends."""

    about: dict[Subject, list[Fact]] = field(default_factory=dict)
    instruments: list[Fact] = field(default_factory=list)

    @classmethod
    def read(cls, facts: Iterable[Fact]) -> _Pool:
        pool, facts = cls(), list(facts)
        ends = {each.id: {each.source, each.target} for each in facts if isinstance(each, Part)}
        for each in facts:
            if each.subject.type == "instrument":
                pool.instruments.append(each)
            for subject in {each.subject} | ends.get(each.id, set()) | ends.get(each.supersedes_id or "", set()):
                pool.about.setdefault(subject, []).append(each)
        return pool

    def chained(self, subject: Subject) -> list[Fact]:
        """The facts about a subject, and those that supersede them (a part may be about another subject)."""
        return self.about.get(subject, [])


def _list_ancestors(session: Session, batch_ids: Sequence[str]) -> dict[str, set[str]]:
    """The ids of everything that grain of these batches came from, by type, the batches themselves among them."""
    start = select(literal("batch").label("type"), Batch.id.label("id")).where(Batch.id.in_(batch_ids))
    tree = start.cte("ancestors", recursive=True)
    step = select(PART.c.source_type, PART.c.source_id).join(
        tree, (PART.c.target_type == tree.c.type) & (PART.c.target_id == tree.c.id)
    )
    tree = tree.union(step)
    found: dict[str, set[str]] = {"batch": set(), "lot": set(), "pack": set()}
    for type_, id_ in session.execute(select(tree.c.type, tree.c.id)):
        found.setdefault(type_, set()).add(id_)
    return found


def _list_facts(session: Session, nodes: dict[str, set[str]]) -> list[Fact]:
    touching = or_(
        *(
            (PART.c[f"{end}_type"] == type_) & PART.c[f"{end}_id"].in_(nodes[type_])
            for end, type_ in (("source", "batch"), ("target", "batch"), ("target", "pack"))
        )
    )
    parts = select(PART.c.fact_seq).where(touching)
    moved = fact.alias("moved")
    struck = select(moved.c.id).join(PART, PART.c.fact_seq == moved.c.seq).where(touching)
    # A part may be struck out by a fact that is about its other end.
    ends = [fact.c.seq.in_(parts), fact.c.supersedes_id.in_(struck)]
    subjects = [(fact.c.subject_type == type_) & fact.c.subject_id.in_(nodes[type_]) for type_ in ("batch", "lot")]
    calibrations = (fact.c.subject_type == "instrument") & (fact.c.kind.in_(("calibrated", "withdrawal")))
    return facts_from(session.execute(select_facts().where(or_(*subjects, *ends, calibrations))).all())


def _digests(batches: Iterable[Batch], pool: _Pool) -> set[str]:
    changed = {
        each.programme
        for facts in pool.about.values()
        for each in facts
        if isinstance(each, StageChange) and each.programme is not None
    }
    return changed | {batch.programme for batch in batches}


def _history(
    batch: Batch, pool: _Pool, lots: dict[str, Lot], programmes: dict[str, Programme], taught: Sequence[Taught]
) -> History:
    own = Subject("batch", batch.id)
    lot_ids = sorted(_lot_ids(own, pool, set()))
    return History.build(
        info_of(batch),
        [*pool.chained(own), *_inherited(own, pool, {own})],
        programmes=programmes,
        lots=[_lot_info(lots[lot_id], pool) for lot_id in lot_ids if lot_id in lots],
        instruments=pool.instruments,
        prior=_prior(batch, lot_ids, taught),
    )


def _prior(batch: Batch, lot_ids: Sequence[str], taught: Sequence[Taught]) -> dict[str, list[Mapping[str, Any]]]:
    """What the lot's earlier batches taught: the last of those that had ended when this one was opened."""
    # Grain of several lots together is like none of them.
    if len(lot_ids) != 1:
        return {}
    of_lot = (each for each in taught if each.lot_id == lot_ids[0] and each.batch_id != batch.id)
    ended = [each.record for each in of_lot if each.ended_at <= batch.created_at]
    return priors_from_digests(ended[-MOST_TAUGHT:])


def _sources(subject: Subject, pool: _Pool) -> list[Part]:
    """The standing parts that came into a subject, the largest first."""
    parts = [each for each in standing(chains(pool.chained(subject))) if isinstance(each, Part)]
    return sorted((part for part in parts if part.target == subject), key=lambda part: -part.dry_kg)


def _inherited(subject: Subject, pool: _Pool, seen: set[Subject]) -> list[Fact]:
    """What happened to the grain before it was split off or merged: told by the largest of the batches it came from."""
    origin = next((part for part in _sources(subject, pool) if part.kind in ("split", "merge")), None)
    if origin is None or origin.source in seen:
        return []
    seen.add(origin.source)
    before = [
        each
        for each in pool.chained(origin.source)
        if each.subject == origin.source
        and each.at <= origin.at
        and not isinstance(each, Answer)
        and not (isinstance(each, Part) and each.source == origin.source)
    ]
    return before + _inherited(origin.source, pool, seen)


def _lot_ids(subject: Subject, pool: _Pool, seen: set[Subject]) -> set[str]:
    if subject in seen:
        return set()
    seen.add(subject)
    found: set[str] = set()
    for part in _sources(subject, pool):
        found |= {part.source.id} if part.source.type == "lot" else _lot_ids(part.source, pool, seen)
    return found


def _lot_info(lot: Lot, pool: _Pool) -> LotInfo:
    facts = [each for each in pool.chained(Subject("lot", lot.id)) if each.subject.type == "lot"]
    return LotInfo(
        id=lot.id,
        name=lot.name,
        species=lot.species,
        variety=lot.variety,
        facts=tuple(sorted(standing(chains(facts)), key=order)),
        harvest=lot.harvest,
    )
