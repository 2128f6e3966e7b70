"""What was said about the house, its vessels and its instruments; and which instruments there are."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Subject, Weighing
from app.judgement.history.calibrations import is_corrected
from app.judgement.upkeep.cleaning import Emptied
from app.store.batches import Batch
from app.store.digests import BatchDigest
from app.store.facts import SHAPE_TABLES, fact, facts_from, select_facts, takes_its_place

HOUSE = Subject("house", "house")
SUBJECT_TYPES = ("house", "vessel", "instrument")
CORRECTED = tuple(name for name in KINDS if is_corrected(name))
"""The kinds of reading that are seen with the correction of their instrument."""
WEIGHED = tuple(name for name, kind in KINDS.items() if kind.shape is Weighing)
MOST_NAMED = 20
"""As many names as one still looks through; any other can be typed."""


@dataclass(frozen=True)
class InstrumentUse:
    """How often an instrument is named, and when last."""

    name: str
    entries: int
    last_at: datetime


@dataclass(frozen=True)
class ReadWith:
    """A reading that is seen with the correction of its instrument: when it was taken, and of which batch."""

    at: datetime
    subject: Subject


def list_house_facts(session: Session) -> list[Fact]:
    """Every fact about the house, a vessel or an instrument, superseded ones too."""
    return facts_from(session.execute(select_facts().where(fact.c.subject_type.in_(SUBJECT_TYPES))).all())


def list_instruments(session: Session, kinds: Collection[str] = CORRECTED) -> list[InstrumentUse]:
    """The instruments that entries of these kinds named last: without any, those that a calibration can be of."""
    return list_uses(session, {"": kinds})[""]


def list_uses(session: Session, groups: Mapping[str, Collection[str]]) -> dict[str, list[InstrumentUse]]:
    """The instruments that entries of each of these groups of kinds named last, the last first; one statement."""
    group = case(*((fact.c.kind.in_(kinds), name) for name, kinds in groups.items()))
    query = (
        select(group, fact.c.instrument, func.count(), func.max(fact.c.latest_at))
        .where(fact.c.instrument.is_not(None), group.is_not(None))
        .group_by(group, fact.c.instrument)
        .order_by(func.max(fact.c.latest_at).desc(), fact.c.instrument)
    )
    found: dict[str, list[InstrumentUse]] = {name: [] for name in groups}
    for name, instrument, entries, last_at in session.execute(query):
        found[name].append(InstrumentUse(instrument, entries, last_at))
    return {name: uses[:MOST_NAMED] for name, uses in found.items()}


def last_emptied(session: Session) -> dict[str, Emptied | None]:
    """By vessel that a batch names: the last one that has ended in it, as far as the digests know."""
    began = func.coalesce(BatchDigest.started_at, BatchDigest.ended_at)
    query = (
        select(Batch.vessel, func.max(began), func.max(BatchDigest.ended_at))
        .outerjoin(BatchDigest, (BatchDigest.batch_id == Batch.id) & BatchDigest.is_live.is_(False))
        .group_by(Batch.vessel)
    )
    rows = session.execute(query).all()
    return {vessel: Emptied(began, ended) if began and ended else None for vessel, began, ended in rows}


def list_readings_with(session: Session, instrument: str) -> list[ReadWith]:
    """The standing temperatures that were read with an instrument."""
    later = fact.alias("later")
    query = (
        select(fact.c.earliest_at, fact.c.latest_at, fact.c.subject_type, fact.c.subject_id)
        .outerjoin(later, takes_its_place(later))
        .where(fact.c.instrument == instrument, fact.c.kind.in_(CORRECTED), later.c.seq.is_(None))
    )
    return [
        ReadWith(earliest_at + (latest_at - earliest_at) / 2, Subject(type_, id_))
        for earliest_at, latest_at, type_, id_ in session.execute(query)
    ]


def list_scorched(session: Session) -> list[str]:
    """The ids of the batches of which somebody ever said that they were scorched, or smoked."""
    remark = SHAPE_TABLES["remark"]
    found = func.json_extract(remark.c.findings, "$.scorch").in_(("scorched", "smoke"))
    query = select(fact.c.subject_id).join(remark, remark.c.fact_seq == fact.c.seq)
    return sorted(set(session.scalars(query.where(fact.c.subject_type == "batch", found))))


def list_touched_by(session: Session, seq: int, limit: int) -> list[str]:
    """The ids of the batches that nothing has touched since this fact, the newest first."""
    query = select(Batch.id).where(Batch.last_seq == seq).order_by(Batch.number.desc()).limit(limit)
    return list(session.scalars(query))
