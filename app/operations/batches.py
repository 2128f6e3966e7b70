"""Beginning batches (charged, split off, merged, charged for roasting), and packing them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import Conflict, Rejected
from app.judgement.facts.kinds import ARRIVALS
from app.judgement.facts.shapes import Fact, Part, Subject
from app.operations.facts import record_fact
from app.store.batches import Batch, next_number
from app.store.packs import Pack
from app.store.programmes import ProgrammeRevision

TITLE_LENGTH, VESSEL_LENGTH, PACK_NAME_LENGTH = 80, 60, 80


def open_batch(
    session: Session,
    *,
    batch_id: str,
    species: str,
    programme: str,
    parts: Sequence[Fact],
    now: datetime,
    vessel: str = "",
    title: str = "",
    number: int | None = None,
) -> Batch:
    """Begin a batch with the grain that comes into it. The same id again is the same batch.

    parts: facts of kind charge, split, merge or roast_charge, about this batch.
    """
    known = session.get(Batch, batch_id)
    if known is not None:
        return known
    if not parts:
        raise Rejected({"source": "A batch begins with some grain: say what goes into it."})
    if session.get(ProgrammeRevision, programme) is None:
        raise Rejected({"programme": "Choose a programme."})
    batch = Batch(
        id=batch_id,
        number=_free_number(session, number),
        title=_fitting("title", title, TITLE_LENGTH),
        species=_needed("species", species, "Say which grain it is."),
        vessel=_fitting("vessel", vessel, VESSEL_LENGTH),
        programme=programme,
        created_at=now,
        last_seq=0,
        revision=1,
    )
    session.add(batch)
    session.flush()
    for part in parts:
        if part.kind not in ARRIVALS:
            raise Rejected({"kind": "Grain comes into a batch by charging, splitting, merging, or for roasting."})
        _record_part(session, part, Subject("batch", batch_id), now)
    session.refresh(batch)
    return batch


def _free_number(session: Session, number: int | None) -> int:
    if number is None:
        return next_number(session)
    if session.scalar(select(Batch.id).where(Batch.number == number)) is not None:
        raise Rejected({"number": f"There is a batch {number} already."})
    return number


def _fitting(name: str, text: str, length: int) -> str:
    text = text.strip()
    if len(text) > length:
        raise Rejected({name: f"The {name} is longer than {length} characters."})
    return text


def _needed(name: str, text: str, message: str) -> str:
    if not text.strip():
        raise Rejected({name: message})
    return text.strip()


def _record_part(session: Session, part: Fact, target: Subject, now: datetime) -> None:
    if not isinstance(part, Part) or part.target != target:
        raise Rejected({"target": "This grain goes elsewhere."})
    record_fact(session, part, now=now)


def rename_batch(session: Session, batch: Batch, *, title: str, revision: int) -> Batch:
    """Give the batch another title; Conflict where somebody did so since that revision was shown."""
    if revision != batch.revision:
        raise Conflict(batch, "Somebody has changed the title in the meantime.")
    batch.title = _fitting("title", title, TITLE_LENGTH)
    batch.revision += 1
    session.flush()
    return batch


def pack_batch(session: Session, *, pack_id: str, name: str, part: Fact, now: datetime) -> Pack:
    """Fill a sack or a jar from a batch, as the part says. The same id again is the same pack."""
    known = session.get(Pack, pack_id)
    if known is not None:
        return known
    name = _needed("name", _fitting("name", name, PACK_NAME_LENGTH), "Give the pack a name, as on its label.")
    pack = Pack(id=pack_id, name=name, created_at=now)
    session.add(pack)
    session.flush()
    _record_part(session, part, Subject("pack", pack_id), now)
    return pack
