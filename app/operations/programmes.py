"""Keeping programme revisions: the built-in ones, and those that the house makes of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.errors import Rejected
from app.judgement.programmes.programme import Programme, ProgrammeInvalid, load_builtin, revise
from app.store.programmes import ProgrammeRevision


def keep_programme(session: Session, programme: Programme, *, now: datetime) -> str:
    """Keep a revision under its digest, and offer it in place of the one it was made from. Twice is once."""
    revision = session.get(ProgrammeRevision, programme.digest)
    if revision is None:
        session.add(
            ProgrammeRevision(
                digest=programme.digest,
                key=programme.key,
                name=programme.name,
                parent=programme.parent,
                content=programme.to_dict(),
                note=programme.note,
                created_at=now,
                is_offered=True,
            )
        )
        if programme.parent is not None:
            session.execute(
                update(ProgrammeRevision).where(ProgrammeRevision.digest == programme.parent).values(is_offered=False)
            )
    session.flush()
    return programme.digest


def revise_programme(session: Session, programme: Programme, changes: Mapping[str, Any], *, now: datetime) -> Programme:
    """Keep what these changes make of a programme as a new revision; where nothing differs it is the programme itself.

    changes: path -> value, None takes it out. Rejected names the paths that can't stand.
    """
    try:
        revised = revise(programme, changes)
    except ProgrammeInvalid as error:
        raise Rejected(error.fields) from error
    keep_programme(session, revised, now=now)
    return revised


def ensure_builtin_programmes(session: Session, *, now: datetime) -> None:
    """Offer the built-in programmes of this version. Older revisions stay for the batches that point to them."""
    present = set(session.scalars(select(ProgrammeRevision.digest)))
    for programme in load_builtin().values():
        if programme.digest in present:
            continue
        older = ProgrammeRevision.key == programme.key, ProgrammeRevision.parent.is_(None)
        session.execute(update(ProgrammeRevision).where(*older).values(is_offered=False))
        keep_programme(session, programme, now=now)
