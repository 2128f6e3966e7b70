"""Photos of facts: shown, added, struck; and taken in from a phone, one by one, after their facts."""

from __future__ import annotations

from datetime import UTC, datetime

from flask import Blueprint, Response, flash, jsonify, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from app.errors import NotFound, Rejected
from app.judgement.facts.shapes import Fact
from app.operations.photos import KeptPhoto, add_photo, photo_id_for, restore_photo, strike_photo
from app.operations.pictures import MEDIA_TYPE, Picture, make_picture
from app.store.facts import get_fact
from app.store.photos import SMALL, WHOLE, Photo, find_picture, list_photos_of_chain
from app.web.request.database import commit, db, only_read
from app.web.request.moment import request_now
from app.web.request.photo_uploads import content_of, sent_photos
from app.web.request.reader import reader
from app.web.words.fact_home import home_of
from app.web.words.formatting import words
from app.web.words.photos import alt_of, struck_words

KEPT_BY_THIS_BROWSER = "private, max-age=31536000, immutable"
"""What stands at a photo's address never changes; but it is nobody else's to keep."""

NONE_CHOSEN = "Choose a photo first."

photos = Blueprint("photos", __name__)


@photos.get("/photos/<photo_id>")
def whole(photo_id: str) -> Response:
    return _picture(photo_id, WHOLE)


@photos.get("/photos/<photo_id>/small")
def small(photo_id: str) -> Response:
    return _picture(photo_id, SMALL)


@photos.get("/facts/<fact_id>/photos")
def show(fact_id: str) -> str:
    return _page(get_fact(db(), fact_id))


@photos.post("/facts/<fact_id>/photos")
def add(fact_id: str) -> AnyResponse | tuple[str, int]:
    sent = sent_photos()
    wrong = sent.wrong or ("" if sent.pictures else NONE_CHOSEN)
    try:
        for picture in sent.pictures:
            _keep(photo_id_for(fact_id, picture), fact_id, picture)
    except Rejected as error:
        wrong = str(error)
    if wrong:
        only_read()
        return _page(get_fact(db(), fact_id), wrong), 422
    where = f"/facts/{fact_id}/photos"
    commit(where)
    flash("Saved.", "kept")
    return redirect(where, 303)


@photos.post("/photos/<photo_id>/strike")
def strike(photo_id: str) -> AnyResponse:
    photo = strike_photo(db(), photo_id, now=request_now(), struck_by=reader().name)
    return _changed(photo, "Struck out. The photo stays in the record, and is shown only here.")


@photos.post("/photos/<photo_id>/restore")
def restore(photo_id: str) -> AnyResponse:
    return _changed(restore_photo(db(), photo_id), "The photo is shown again.")


@photos.post("/sync/photos")
def receive() -> tuple[Response, int]:
    photo_id, fact_id, file = request.form.get("id", ""), request.form.get("fact_id", ""), request.files.get("file")
    answer = {"id": photo_id or None, "fact_id": fact_id or None}
    try:
        if file is None:
            raise Rejected({"photo": "There is no file in what was sent."})
        created_at = _moment(request.form.get("created_at", ""))
        # Decoded before the database is asked anything: a route that writes holds its lock.
        kept = _keep(photo_id, fact_id, make_picture(content_of(file)), created_at)
    except Rejected as error:
        told = {"status": 422, "title": "Not kept", "text": str(error), "fields": error.fields}
        return jsonify({**answer, "status": 422, "error": told}), 422
    commit(f"/facts/{fact_id}/photos")
    status = 201 if kept.is_new else 200
    size = {"width": kept.photo.width, "height": kept.photo.height}
    return jsonify({**answer, **size, "status": status}), status


def _keep(photo_id: str, fact_id: str, picture: Picture, created_at: datetime | None = None) -> KeptPhoto:
    return add_photo(
        db(), photo_id=photo_id, fact_id=fact_id, picture=picture, now=request_now(), created_at=created_at,
        entered_by=reader().name,
    )  # fmt: skip


def _moment(text: str) -> datetime | None:
    """When the phone says that a photo was taken; it need not."""
    if not text:
        return None
    wrong = Rejected({"created_at": "Say when as 2026-03-14T09:30:00Z, or not at all."})
    try:
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is None:
            raise wrong
        return moment.astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise wrong from error


def _picture(photo_id: str, size: str) -> Response:
    content = find_picture(db(), photo_id, size)
    if content is None:
        raise NotFound("photo", photo_id)
    response = Response(content, mimetype=MEDIA_TYPE)
    response.headers["Cache-Control"] = KEPT_BY_THIS_BROWSER
    return response


def _changed(photo: Photo, message: str) -> AnyResponse:
    where = f"/facts/{photo.fact_id}/photos"
    commit(where)
    flash(message, "kept")
    return redirect(where, 303)


def _page(fact: Fact, wrong: str = "") -> str:
    found = [(photo, struck_words(photo, words())) for photo in list_photos_of_chain(db(), fact.id)]
    alt = alt_of(fact, words())
    return render_template("photos/page.html", fact=fact, found=found, alt=alt, wrong=wrong, back=home_of(fact))
