"""Recording what happened: once, whole, and never over something else."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Select, String, bindparam, func, insert, select, update
from sqlalchemy.orm import Session

from app.errors import Conflict, KeptOtherwise, Rejected
from app.judgement.facts.records import fact_from_record, record_from_fact, written
from app.judgement.facts.shapes import Fact, Part, StageChange, Subject
from app.judgement.history.superseding import can_supersede, could_share_target, original_kind
from app.judgement.slips.dating import arrives_in, impossible_times
from app.store.batches import Batch
from app.store.devices import DEVICE_INFO
from app.store.facts import (
    PART,
    SHAPE_TABLES,
    fact,
    find_body_sha256,
    find_fact,
    find_superseder,
    list_superseded,
    list_superseders,
    row_of,
    shape_row_of,
    takes_its_place,
)
from app.store.lots import Lot
from app.store.packs import Pack
from app.store.programmes import ProgrammeRevision
from app.store.types import canonical_json

_TABLES: Mapping[str, Any] = {"batch": Batch, "lot": Lot, "pack": Pack}
_SET_BY_THE_STORE = frozenset({"seq", "received_at"})


@dataclass(frozen=True)
class Kept:
    """A fact that is in the store. is_new: False where the same entry had come before."""

    fact: Fact
    is_new: bool


def body_digest(body: Mapping[str, Any]) -> str:
    """SHA-256 of the canonical form of an entry as it was sent."""
    sent = {key: value for key, value in body.items() if key not in _SET_BY_THE_STORE}
    return hashlib.sha256(canonical_json(sent).encode()).hexdigest()


def record_fact(
    session: Session, entry: Fact | Mapping[str, Any], *, now: datetime, body: Mapping[str, Any] | None = None
) -> Kept:
    """Keep one fact, or that of a record. A repeat of the same body is the same fact; nothing is written for it.

    body: the entry as it was sent, where the fact was made of it. Rejected names the fields that can't be taken;
    KeptOtherwise: the id is taken by other content; Conflict: another fact has superseded the same one.
    """
    entry_id = entry.id if isinstance(entry, Fact) else str(entry.get("id"))
    if body is None:
        body = record_from_fact(entry) if isinstance(entry, Fact) else entry
    try:
        digest = body_digest(body)
    except ValueError as error:
        raise Rejected({"": "This entry holds something that is neither a number nor text."}) from error
    kept_body = find_body_sha256(session, entry_id)
    if kept_body is not None:
        kept = find_fact(session, entry_id)
        if kept is not None and kept_body == digest:
            return Kept(kept, is_new=False)
        raise KeptOtherwise(kept)
    new = entry if isinstance(entry, Fact) else fact_from_record(entry)
    new = on_this_clock(_from_its_device(session, new))
    _check_subject(session, new)
    _check_times(session, new, now)
    if new.supersedes_id is not None:
        _check_superseding(session, new)
    return Kept(insert_fact(session, new, digest, now), is_new=True)


def withdraw_fact(
    session: Session, target: Fact, *, new_id: str, now: datetime, reason: str = "", entered_by: str | None = None
) -> Kept:
    """Strike out a fact. It stays in the record, with the reason."""
    told: dict[str, Any] = {"entry_id": new_id, "clock": "now", "written_at": now, "by": entered_by, "person": None}
    new = written("withdrawal", {"reason": reason}, target.subject, (now, now), supersedes_id=target.id, **told)
    said = record_from_fact(new)
    body = {key: said[key] for key in ("id", "kind", "subject", "supersedes_id", "typed")}
    return record_fact(session, new, now=now, body=body)


def insert_fact(session: Session, new: Fact, digest: str, now: datetime) -> Fact:
    """Write the rows of a fact that was checked, and mark the batches it touches as changed."""
    row = row_of(new) | {"received_at": now, "body_sha256": digest}
    seq = session.execute(_INSERT, row).scalar_one()
    table, shape_row = shape_row_of(new, seq)
    session.execute(_INSERT_SHAPE[table.name], shape_row)
    for each in dict.fromkeys(_touched(session, new)):
        session.execute(_MARK_CHANGED, {**_start(each), "seq": seq})
    return replace(new, seq=seq, received_at=now)


def _touched(session: Session, new: Fact) -> list[Subject]:
    """What the fact says something of: a calibration, of every batch that was read with the instrument.

    A part is of both its ends, and so is what moves it elsewhere or strikes it out.
    """
    if new.subject.type == "instrument":
        read_with = select(fact.c.subject_type, fact.c.subject_id).where(fact.c.instrument == new.subject.id)
        return [Subject(*row) for row in session.execute(read_with.distinct())]
    parts = [each for each in (new, *list_superseded(session, new)) if isinstance(each, Part)]
    return [new.subject, *(end for part in parts for end in (part.source, part.target))]


def _descendants() -> Select[str]:
    """The id of a batch, if from_type and from_id name one, and of every batch that got grain of it."""
    start = select(
        bindparam("from_type", type_=String()).label("type"), bindparam("from_id", type_=String()).label("id")
    )
    tree = start.cte("descendants", recursive=True)
    step = select(PART.c.target_type, PART.c.target_id).join(
        tree, (PART.c.source_type == tree.c.type) & (PART.c.source_id == tree.c.id)
    )
    tree = tree.union(step)
    return select(tree.c.id).where(tree.c.type == "batch")


def _first_arrival() -> Select[Any]:
    """When grain first came into the batch of `batch_id`, by what stands."""
    later = fact.alias("later")
    return (
        select(func.min(fact.c.earliest_at))
        .join(PART, PART.c.fact_seq == fact.c.seq)
        .outerjoin(later, takes_its_place(later))
        .where(PART.c.target_type == "batch", PART.c.target_id == bindparam("batch_id"), later.c.seq.is_(None))
    )


def _start(subject: Subject) -> dict[str, str]:
    return {"from_type": subject.type, "from_id": subject.id}


_KNOWN = {name: select(table.id).where(table.id == bindparam("subject_id")) for name, table in _TABLES.items()}
# Built once: to build these anew for each fact takes longer than to run them.
_INSERT = insert(fact).returning(fact.c.seq)
_INSERT_SHAPE = {table.name: insert(table) for table in SHAPE_TABLES.values()}
_DESCENDANTS = _descendants()
_FIRST_ARRIVAL = _first_arrival()
_BATCH: Any = Batch.__table__
_MARK_CHANGED = update(_BATCH).where(_BATCH.c.id.in_(_DESCENDANTS)).values(last_seq=bindparam("seq"))


def _from_its_device(session: Session, new: Fact) -> Fact:
    """What came from a paired device bears its name, whatever it says itself. That is no part of the entry's body: a
    repeat from a device that got another name is still the same entry."""
    device = session.info.get(DEVICE_INFO)
    return replace(new, device=device) if device else new


def on_this_clock(new: Fact) -> Fact:
    """A time taken from the device's clock is put right by the offset measured there; a typed one never is."""
    if new.clock != "now" or not new.clock_offset_s:
        return new
    shift = timedelta(seconds=new.clock_offset_s)
    try:
        return replace(new, earliest_at=new.earliest_at + shift, latest_at=new.latest_at + shift)
    except OverflowError as error:
        raise Rejected({"clock_offset_s": "With this offset the time is in no calendar."}) from error


def _check_subject(session: Session, new: Fact) -> None:
    for name, subject in (("subject", new.subject), *_ends(new)):
        table = _KNOWN.get(subject.type)
        if table is not None and session.scalar(table, {"subject_id": subject.id}) is None:
            raise Rejected({name: f"There is no such {subject.type} here."})
    if isinstance(new, Part) and new.subject not in (new.source, new.target):
        raise Rejected({"subject": "Grain that moves is about what it comes from, or what it goes into."})
    if isinstance(new, Part) and _runs_in_a_circle(session, new):
        raise Rejected({"source": "Grain can't go into what it came from."})
    if (
        isinstance(new, StageChange)
        and new.programme is not None
        and session.get(ProgrammeRevision, new.programme) is None
    ):
        raise Rejected({"programme": "There is no such programme here."})


def _check_times(session: Session, new: Fact, now: datetime) -> None:
    wrong = impossible_times(new, now, begins_at=_begins_at(session, new), harvest=_harvest(session, new))
    if wrong:
        raise Rejected(wrong)


def _begins_at(session: Session, new: Fact) -> datetime | None:
    """When the batch was charged that the fact is about, or takes grain from; nothing where it is told by this fact."""
    subjects = {new.subject, *(subject for _, subject in _ends(new))}
    batches = [each.id for each in subjects if each.type == "batch" and not arrives_in(new, each.id)]
    arrivals = [session.scalar(_FIRST_ARRIVAL, {"batch_id": batch_id}) for batch_id in batches]
    return max((moment for moment in arrivals if moment is not None), default=None)


def _harvest(session: Session, new: Fact) -> str:
    """The harvest of the lot that the fact is about, or takes grain from."""
    subject = new.source if isinstance(new, Part) else new.subject
    lot = session.get(Lot, subject.id) if subject.type == "lot" else None
    return lot.harvest if lot is not None else ""


def _ends(new: Fact) -> tuple[tuple[str, Subject], ...]:
    return (("source", new.source), ("target", new.target)) if isinstance(new, Part) else ()


def _runs_in_a_circle(session: Session, part: Part) -> bool:
    if part.source == part.target:
        return True
    if part.source.type != "batch":
        return False
    descendants: set[str] = set(session.scalars(_DESCENDANTS, _start(part.target)).all())
    return part.source.id in descendants


def _check_superseding(session: Session, new: Fact) -> None:
    supersedes_id = str(new.supersedes_id)
    earlier = list_superseded(session, new)
    if new.id in (supersedes_id, *(each.supersedes_id for each in earlier)):
        raise Rejected({"supersedes_id": "These corrections go round in a circle."})
    other = find_superseder(session, supersedes_id) if earlier else _waiting(session, supersedes_id, new)
    if other is not None:
        raise Conflict(other, "Somebody has corrected this entry in the meantime.")
    if earlier and not can_supersede(new, earlier[0], original_kind(earlier[::-1], new)):
        raise Rejected({"supersedes_id": "A correction must be of the same kind, about the same thing."})


def _waiting(session: Session, target_id: str, new: Fact) -> Fact | None:
    """What waits for the same fact that isn't here yet, and could be meant for it as well as the new one."""
    named = list_superseders(session, target_id)
    return next((each for each in named if could_share_target(each, new)), None)
