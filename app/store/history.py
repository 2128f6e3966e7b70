"""From rows to Histories: everything that judging some batches needs, in a fixed number of statements."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import BindParameter, Select, bindparam, literal, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.judgement import rules_version
from app.judgement.facts.shapes import Fact, StageChange
from app.judgement.history.build import Known, Pool, build_history
from app.judgement.history.history import BatchInfo, History, LotInfo
from app.store.batches import Batch
from app.store.digests import list_taught
from app.store.facts import PART, fact, found_by, places_about, places_of_parts, select_facts
from app.store.kept_facts import load_facts
from app.store.lots import Lot
from app.store.programmes import list_programmes

FITS = "fits"
"""In `Session.info`: the `Fits` in which forecasts are kept from one unit of work to the next."""


def get_history(session: Session, batch_id: str) -> History:
    """The History of one batch."""
    histories = load_histories(session, [batch_id])
    if batch_id not in histories:
        raise NotFound("batch", batch_id)
    return histories[batch_id]


def load_histories(session: Session, batch_ids: Sequence[str]) -> dict[str, History]:
    """The Histories of these batches: six statements, however many there are, and one more for facts that are new.

    A session with `FITS` or `FACTS` in its info has fits or facts kept there, and the histories use them.
    """
    if not batch_ids:
        return {}
    nodes = _list_ancestors(session, batch_ids)
    facts = load_facts(session, _FACTS, _FACT_KEYS, {type_: list(ids) for type_, ids in nodes.items()})
    batches = list(session.scalars(_BATCHES, {"batch": list(batch_ids)}))
    known = Known(
        Pool.read(facts),
        {lot.id: _lot_info(lot) for lot in session.scalars(_LOTS, {"lot": list(nodes["lot"])})},
        {programme.digest: programme for programme in list_programmes(session, _digests(batches, facts))},
        list_taught(session, nodes["lot"], list(batch_ids), rules_version()),
    )
    histories = {batch.id: build_history(info_of(batch), known) for batch in batches}
    fits = session.info.get(FITS)
    return histories if fits is None else {batch_id: fits.lend(history) for batch_id, history in histories.items()}


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


def _list_ancestors(session: Session, batch_ids: Sequence[str]) -> dict[str, set[str]]:
    """The ids of everything that grain of these batches came from, by type, the batches themselves among them."""
    ancestors: dict[str, set[str]] = {"batch": set(), "lot": set(), "pack": set()}
    for type_, id_ in session.execute(_ANCESTORS, {"batch": list(batch_ids)}):
        ancestors.setdefault(type_, set()).add(id_)
    return ancestors


def _ancestors() -> Select[Any]:
    start = select(literal("batch").label("type"), Batch.id.label("id")).where(Batch.id.in_(_ids("batch")))
    tree = start.cte("ancestors", recursive=True)
    step = select(PART.c.source_type, PART.c.source_id).join(
        tree, (PART.c.target_type == tree.c.type) & (PART.c.target_id == tree.c.id)
    )
    tree = tree.union(step)
    return select(tree.c.type, tree.c.id)


def _ids(type_: str) -> BindParameter[Any]:
    return bindparam(type_, expanding=True)


def _facts_of(chosen: Select[Any]) -> Select[Any]:
    ends = ((end, type_, _ids(type_)) for end, type_ in (("source", "batch"), ("target", "batch"), ("target", "pack")))
    about = [places_about(type_, _ids(type_)) for type_ in ("batch", "lot")]
    told = fact.alias("compared")
    calibrations = select(told.c.seq).where(
        told.c.subject_type == "instrument", told.c.kind.in_(("calibrated", "withdrawal"))
    )
    return chosen.where(found_by(*about, *places_of_parts(*ends), calibrations))


# Built once: to put these together takes longer than to run them.
_ANCESTORS = _ancestors()
_FACTS = _facts_of(select_facts())
_FACT_KEYS = _facts_of(select(fact.c.seq, fact.c.id).order_by(fact.c.seq))
_BATCHES = select(Batch).where(Batch.id.in_(_ids("batch"))).order_by(Batch.number.desc())
_LOTS = select(Lot).where(Lot.id.in_(_ids("lot")))


def _digests(batches: Iterable[Batch], facts: Iterable[Fact]) -> set[str]:
    changes = (each.programme for each in facts if isinstance(each, StageChange) and each.programme is not None)
    return {*changes, *(batch.programme for batch in batches)}


def _lot_info(lot: Lot) -> LotInfo:
    return LotInfo(id=lot.id, name=lot.name, species=lot.species, variety=lot.variety, harvest=lot.harvest)
