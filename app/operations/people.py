"""The people of the house."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from app.errors import Rejected
from app.store.people import Person, find_person, find_person_by_name

SYSTEMS = frozenset({"metric", "us"})


def add_person(session: Session, *, person_id: str, name: str, units: str, now: datetime) -> Person:
    """Add somebody. The same id again is the same person."""
    known = find_person(session, person_id)
    if known is not None:
        return known
    name = name.strip()
    if not name or len(name) > 80:
        raise Rejected({"name": "Give a name of at most 80 characters."})
    if find_person_by_name(session, name) is not None:
        raise Rejected({"name": f"There is somebody called “{name}” already."})
    person = Person(id=person_id, name=name, units=_system(units), created_at=now)
    session.add(person)
    session.flush()
    return person


def change_units(session: Session, person: Person, units: str) -> Person:
    """Let somebody read in metric or in US customary units; what is stored stays as it is."""
    person.units = _system(units)
    session.flush()
    return person


def _system(units: str) -> str:
    if units not in SYSTEMS:
        raise Rejected({"units": "Choose metric or US customary units."})
    return units
