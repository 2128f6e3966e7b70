"""Letting a phone in by a one-time code, and putting it out again."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import delete, or_
from sqlalchemy.orm import Session

from app import ports
from app.errors import ChitbookError, NotFound, Rejected
from app.store.calendar_feeds import list_feeds_made_by
from app.store.devices import (
    DESK,
    ROLES,
    Device,
    PairingCode,
    PairingGuess,
    code_digest,
    count_guesses,
    find_code,
    find_device,
    find_device_by_name,
)
from app.store.people import find_person

CODE_LIFE = timedelta(minutes=10)
GUESSES_FROM_ONE_ADDRESS = 5
GUESSES_IN_ALL = 30
"""Wrong codes within the life of one. 60 bits would stand more; but so nobody fills the table either."""
SEEN_EVERY = timedelta(hours=1)


class TooManyGuesses(ChitbookError):
    """Wrong codes came too often. Trying again helps when a code's life has passed."""

    is_worth_retrying = True


def make_code(session: Session, *, role: str, person_id: str | None, made_by: str, now: datetime) -> str:
    """A new code, which is nowhere kept: it can be shown now, and never again. made_by: a device, or DESK."""
    check_maker(session, made_by)
    if role not in ROLES:
        raise Rejected({"role": "Choose what the phone may do."})
    if person_id and find_person(session, person_id) is None:
        raise Rejected({"person": "That person is not known here. Choose again."})
    session.execute(delete(PairingCode).where(PairingCode.expires_at <= now))
    code = ports.new_code()
    made = PairingCode(
        id=ports.new_id(),
        code_sha256=code_digest(code),
        role=role,
        person_id=person_id or None,
        expires_at=now + CODE_LIFE,
        made_by=made_by,
    )
    session.add(made)
    session.flush()
    return code


def pair_device(session: Session, *, code: str, name: str, address: str, now: datetime) -> Device | None:
    """Let the bearer of a code in under a name, and use the code up. None: no such code; the guess is noted.

    A name that can't be taken is Rejected and leaves the code as it was.
    """
    _check_guesses(session, address, now)
    code_row = find_code(session, code)
    if code_row is None or code_row.expires_at <= now:
        _note_guess(session, address, now)
        return None
    name = " ".join(name.split())
    if not name or len(name) > 80:
        raise Rejected({"name": "Give this phone a name of at most 80 characters."})
    if find_device_by_name(session, name) is not None:
        raise Rejected({"name": f"There is a phone called “{name}” already. Choose another name."})
    device = Device(
        id=ports.new_id(),
        name=name,
        role=code_row.role,
        person_id=code_row.person_id,
        created_at=now,
        last_seen_at=now,
        made_by=code_row.made_by,
    )
    session.delete(code_row)
    session.add(device)
    session.flush()
    return device


def revoke_device(session: Session, device_id: str, *, now: datetime) -> Device:
    """From now on it is let in no more, and the codes and calendar feeds that it made open nothing.

    Revoked again, it was revoked the first time.
    """
    device = find_device(session, device_id)
    if device is None:
        raise NotFound("phone", device_id)
    if device.revoked_at is None:
        device.revoked_at = now
        # A code of which nobody knows who made it is from before that was kept: minutes old, and soon made anew.
        session.execute(delete(PairingCode).where(or_(PairingCode.made_by == device_id, PairingCode.made_by.is_(None))))
        for feed in list_feeds_made_by(session, device_id):
            feed.revoked_at = now
        session.flush()
    return device


def check_maker(session: Session, made_by: str) -> None:
    """Refuse a key to a device that was put out while it asked for one: nobody would know to take that back."""
    maker = None if made_by == DESK else find_device(session, made_by)
    if made_by != DESK and (maker is None or maker.revoked_at is not None):
        raise NotFound("phone", made_by)


def note_seen(session: Session, device: Device, *, now: datetime) -> bool:
    """Remember that the device was here, to within an hour: says whether anything was written."""
    if now - device.last_seen_at < SEEN_EVERY:
        return False
    device.last_seen_at = now
    session.flush()
    return True


def _check_guesses(session: Session, address: str, now: datetime) -> None:
    since = now - CODE_LIFE
    if (
        count_guesses(session, since, address) >= GUESSES_FROM_ONE_ADDRESS
        or count_guesses(session, since) >= GUESSES_IN_ALL
    ):
        raise TooManyGuesses("Too many wrong codes have come. Wait ten minutes, then make a new code at the desk.")


def _note_guess(session: Session, address: str, now: datetime) -> None:
    session.execute(delete(PairingGuess).where(PairingGuess.at <= now - CODE_LIFE))
    session.add(PairingGuess(address=address[:45], at=now))
    session.flush()
