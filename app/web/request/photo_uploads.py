"""Photos that come with a request: how much may come, and what is made of it before the route begins."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Flask, g, request
from werkzeug.datastructures import FileStorage

from app.config import Settings
from app.errors import Rejected
from app.operations.pictures import MOST_BYTES, Picture, make_picture

MOST_AT_ONCE = 4
ROOM_BESIDE = 64 * 1024
"""For the fields that come with one photo, in bytes."""

TAKES_PHOTOS = frozenset({"tub.keep", "tub.keep_chosen", "photos.add"})
"""The routes whose form has a field for photos."""

SYNC = "photos.receive"
"""The route by which a phone sends one at a time. Twice the size is read there, so that the answer can say what is
wrong; what is larger yet is refused unread, with 413."""


@dataclass(frozen=True)
class SentPhotos:
    """The photos of a form, made our own; or, where one can't be kept, none of them and what is wrong."""

    pictures: tuple[Picture, ...] = ()
    wrong: str = ""

    @property
    def were_sent(self) -> bool:
        return bool(self.pictures or self.wrong)


def largest_body(settings: Settings) -> int:
    """The largest request that is read at all, in bytes: a form with as many photos as it may have."""
    return settings.max_body_bytes + MOST_AT_ONCE * MOST_BYTES


def sent_photos() -> SentPhotos:
    """The photos that came with this request's form."""
    photos: SentPhotos = g.get("sent_photos", SentPhotos())
    return photos


def init_app(app: Flask, settings: Settings) -> None:
    @app.url_value_preprocessor
    def make_room(endpoint: str | None, _values: object) -> None:
        # Before anything reads the form: the check of its token does.
        if endpoint in TAKES_PHOTOS and request.mimetype == "multipart/form-data":
            request.max_content_length = largest_body(settings)
        elif endpoint == SYNC:
            request.max_content_length = 2 * MOST_BYTES + ROOM_BESIDE

    @app.before_request
    def read_photos() -> None:
        # Before the route asks the database anything: to decode takes long, and a route that writes holds its lock.
        if request.method == "POST" and request.endpoint in TAKES_PHOTOS:
            g.sent_photos = _read(request.files.getlist("photo"))


def _read(files: list[FileStorage]) -> SentPhotos:
    # A field that was left empty comes as a file without a name.
    chosen = [file for file in files if file.filename or file.stream.read(1)]
    if len(chosen) > MOST_AT_ONCE:
        return SentPhotos(wrong=f"At most {MOST_AT_ONCE} photos at once. Add further ones afterwards.")
    try:
        return SentPhotos(tuple(make_picture(content_of(file)) for file in chosen))
    except Rejected as error:
        return SentPhotos(wrong=error.fields["photo"])


def content_of(file: FileStorage) -> bytes:
    """What came, up to just too much."""
    file.stream.seek(0)
    return file.stream.read(MOST_BYTES + 1)
