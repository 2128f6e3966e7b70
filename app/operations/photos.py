"""Photos on facts: kept once under their own ids, and struck when they should be seen no more."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import NotFound, Rejected
from app.operations.pictures import MEDIA_TYPE, Picture
from app.store.devices import DEVICE_INFO
from app.store.facts import fact
from app.store.photos import SMALL, WHOLE, Photo, PhotoPicture, find_photo

MOST_OF_ONE_FACT = 12
_ID = re.compile(r"[A-Za-z0-9-]{1,36}")


@dataclass(frozen=True)
class KeptPhoto:
    """A photo that is in the store. is_new: False where the same one had come before."""

    photo: Photo
    is_new: bool


def add_photo(
    session: Session,
    *,
    photo_id: str,
    fact_id: str,
    picture: Picture,
    now: datetime,
    created_at: datetime | None = None,
    entered_by: str | None = None,
    device: str | None = None,
) -> KeptPhoto:
    """Keep a photo of a fact that is here. The same file under the same id again is the same photo.

    Rejected names what can't be taken: an id that another photo has, a fact that is not here, one photo too many.
    """
    if not _ID.fullmatch(photo_id):
        raise Rejected({"id": "The id of a photo is of 1 to 36 letters, digits and hyphens."})
    known = find_photo(session, photo_id)
    if known is not None:
        if (known.sha256, known.fact_id) != (picture.sha256, fact_id):
            raise Rejected({"id": "Another photo is kept under this id. Nothing was changed."})
        return KeptPhoto(known, is_new=False)
    _check_fact(session, fact_id)
    photo = Photo(
        id=photo_id, fact_id=fact_id, sha256=picture.sha256, width=picture.width, height=picture.height,
        size_bytes=len(picture.whole), media_type=MEDIA_TYPE, created_at=created_at, received_at=now,
        entered_by=entered_by, device=session.info.get(DEVICE_INFO, device),
    )  # fmt: skip
    session.add(photo)
    session.flush()
    insert_pictures(session, photo_id, picture.whole, picture.small)
    return KeptPhoto(photo, is_new=True)


def insert_pictures(session: Session, photo_id: str, whole: bytes, small: bytes) -> None:
    """Write both sizes of a photo whose row is there."""
    session.add_all(
        PhotoPicture(photo_id=photo_id, size=size, jpeg=jpeg) for size, jpeg in ((WHOLE, whole), (SMALL, small))
    )
    session.flush()


def photo_id_for(fact_id: str, picture: Picture) -> str:
    """The id of a photo that came with its fact in one form: the form sent again is the same photo again."""
    return hashlib.sha256(f"{fact_id} {picture.sha256}".encode()).hexdigest()[:32]


def strike_photo(session: Session, photo_id: str, *, now: datetime, struck_by: str | None = None) -> Photo:
    """Show a photo no more. It stays in the record, with who struck it; struck twice it is struck once."""
    photo = _get(session, photo_id)
    if photo.struck_at is None:
        photo.struck_at, photo.struck_by = now, struck_by
        session.flush()
    return photo


def restore_photo(session: Session, photo_id: str) -> Photo:
    """Show a photo again that was struck."""
    photo = _get(session, photo_id)
    photo.struck_at = photo.struck_by = None
    session.flush()
    return photo


def _get(session: Session, photo_id: str) -> Photo:
    photo = find_photo(session, photo_id)
    if photo is None:
        raise NotFound("photo", photo_id)
    return photo


def _check_fact(session: Session, fact_id: str) -> None:
    if session.scalar(select(fact.c.seq).where(fact.c.id == fact_id)) is None:
        raise Rejected({"fact_id": "The entry of this photo is not here. Send the entry first."})
    count = session.scalar(select(func.count()).select_from(Photo).where(Photo.fact_id == fact_id)) or 0
    if count >= MOST_OF_ONE_FACT:
        raise Rejected({"photo": f"This entry has {count} photos already; it can have no more."})
