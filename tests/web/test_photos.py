"""Photos on facts: with a form and from a phone, shown where the fact is shown, and refused with a reason."""

from __future__ import annotations

import json
import re
from io import BytesIO
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.datastructures import FileStorage, MultiDict
from werkzeug.test import TestResponse, encode_multipart

from app.operations.photos import strike_photo
from app.operations.pictures import MOST_BYTES
from app.store.engine import read_session, write_session
from app.store.photos import SMALL, WHOLE, Photo, find_picture
from tests.pages import Tub
from tests.pictures import encoded, jpeg, opened, picture, png_bomb
from tests.web.keeping import asked, facts_of, kept, said, text_of, the_fact, wrong_fields
from tests.writing import NOW, Opened, iso, water

ONE, OTHER = jpeg(64, 48), jpeg(80, 60)


def photos(app: Flask) -> list[Photo]:
    with read_session(app.extensions["engine"]) as session:
        return list(session.scalars(select(Photo).order_by(Photo.received_at, Photo.id)))


def post(client: FlaskClient, path: str, fields: dict[str, str], *files: tuple[str, str, bytes]) -> TestResponse:
    """As a browser sends a form with files, each given by field, name and content."""
    pairs = [*fields.items(), *((field, FileStorage(BytesIO(content), name)) for field, name, content in files)]
    # Encoded here, for the client would leave a temporary file open behind a large body.
    boundary, body = encode_multipart(MultiDict(pairs))
    return client.post(path, data=body, content_type=f'multipart/form-data; boundary="{boundary}"')


def send_with(tub: Tub, *contents: bytes, values: dict[str, str] | None = None, **own: str) -> TestResponse:
    sent = values or tub.values("water_temperature", {"value": "12"}) | own
    path = f"{tub.path}/water_temperature"
    return post(tub.client, path, sent, *(("photo", "IMG_1.jpg", content) for content in contents))


def sync(client: FlaskClient, content: bytes | None = ONE, **fields: str) -> TestResponse:
    files = [] if content is None else [("file", "p.jpg", content)]
    return post(client, "/sync/photos", {"id": "photo-1", "fact_id": "water-1"} | fields, *files)


@pytest.fixture
def reading(app: Flask, batch: Opened) -> str:
    said(app, water())
    return "water-1"


# With the form, without script


def test_a_photo_chosen_in_the_form_is_kept_with_its_entry(app: Flask, client: FlaskClient, tub: Tub) -> None:
    fact_id = kept(send_with(tub, ONE, OTHER))
    found = photos(app)
    assert [photo.fact_id for photo in found] == [fact_id, fact_id]
    assert {photo.width for photo in found} == {64, 80}


def test_the_form_of_the_page_can_carry_files(client: FlaskClient, tub: Tub) -> None:
    page = client.get(tub.path).text
    form = page[page.index('<form class="tub-form"') :].partition("</form>")[0]
    assert 'enctype="multipart/form-data"' in form.partition(">")[0]
    (field,) = re.findall(r'<input[^>]*type="file"[^>]*>', form)
    assert 'name="photo"' in field
    assert "multiple" in field
    assert "capture" not in field


def test_a_field_left_empty_is_no_photo(app: Flask, tub: Tub) -> None:
    sent = tub.values("water_temperature", {"value": "12"})
    kept(post(tub.client, f"{tub.path}/water_temperature", sent, ("photo", "", b"")))
    assert photos(app) == []


def test_the_form_sent_twice_keeps_one_photo(app: Flask, tub: Tub) -> None:
    values = tub.values("water_temperature", {"value": "12"})
    assert kept(send_with(tub, ONE, values=values)) == kept(send_with(tub, ONE, values=values))
    assert len(photos(app)) == 1


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"not a picture at all", "JPEG, PNG or WebP"),
        (ONE[:400], "damaged or cut short"),
        (png_bomb(30_000, 30_000), "40 million pixels"),
        (ONE.ljust(MOST_BYTES + 1, b"\0"), "8 MB"),
    ],
    ids=["text", "cut short", "bomb", "too large"],
)
def test_a_bad_photo_is_told_at_its_field_and_nothing_is_kept(
    app: Flask, tub: Tub, content: bytes, reason: str
) -> None:
    answer = send_with(tub, ONE, content, note="by the door")
    assert answer.status_code == 422
    assert wrong_fields(answer) == {"photo"}
    assert reason in text_of(answer)
    assert 'value="12"' in answer.text
    assert "by the door" in answer.text
    assert facts_of(app) == []
    assert photos(app) == []


def test_five_photos_are_too_many_at_once(app: Flask, tub: Tub) -> None:
    answer = send_with(tub, *[jpeg(10 + number, 10) for number in range(5)])
    assert answer.status_code == 422
    assert "At most 4 photos" in text_of(answer)
    assert facts_of(app) == []


def test_a_wrong_number_beside_a_good_photo_says_to_choose_the_photo_again(app: Flask, tub: Tub) -> None:
    answer = send_with(tub, ONE, **{"water_temperature-value": "warm"})
    assert answer.status_code == 422
    assert wrong_fields(answer) == {"value", "photo"}
    assert "Choose the photos once more" in text_of(answer)
    assert photos(app) == []


def test_a_question_says_to_choose_the_photo_again_too(app: Flask, tub: Tub) -> None:
    answer = send_with(tub, ONE, **{"water_temperature-value": "54"})
    assert "54" in asked(answer)
    assert "Choose the photos once more" in text_of(answer)
    assert facts_of(app) == []


def test_a_form_without_photos_says_nothing_of_them(tub: Tub) -> None:
    answer = tub.keep("water_temperature", {"value": "warm"})
    assert "Choose the photos" not in text_of(answer)


def test_four_large_photos_fit_into_one_form(app: Flask, tub: Tub) -> None:
    large = [jpeg(50 + number, 40).ljust(MOST_BYTES, b"\0") for number in range(4)]
    kept(send_with(tub, *large))
    assert len(photos(app)) == 4


# From a phone


def test_a_phone_gets_its_photo_confirmed_by_its_id(app: Flask, client: FlaskClient, reading: str) -> None:
    answer = sync(client, created_at="2026-03-14T09:00:00+01:00")
    assert answer.status_code == 201
    assert answer.get_json() == {"id": "photo-1", "fact_id": "water-1", "status": 201, "width": 64, "height": 48}
    (photo,) = photos(app)
    assert (photo.received_at, photo.created_at) == (NOW, NOW.replace(hour=8, minute=0))


def test_the_same_photo_again_is_confirmed_again(app: Flask, client: FlaskClient, reading: str) -> None:
    sync(client)
    answer = sync(client)
    assert (answer.status_code, answer.get_json()["status"], answer.get_json()["id"]) == (200, 200, "photo-1")
    assert len(photos(app)) == 1


def refused(answer: TestResponse, status: int = 422) -> dict[str, str]:
    body = answer.get_json()
    assert (answer.status_code, body["status"], body["error"]["status"]) == (status, status, status)
    fields: dict[str, str] = body["error"]["fields"]
    return fields


@pytest.mark.parametrize(
    ("fields", "content", "wrong"),
    [
        ({}, OTHER, "id"),
        ({"fact_id": "not here yet", "id": "photo-2"}, ONE, "fact_id"),
        ({"fact_id": "", "id": "photo-2"}, ONE, "fact_id"),
        ({"id": ""}, ONE, "id"),
        ({"id": "../../../etc/passwd"}, ONE, "id"),
        ({"id": "x" * 37}, ONE, "id"),
        ({"id": "photo-2"}, None, "photo"),
        ({"id": "photo-2"}, b"", "photo"),
        ({"id": "photo-2"}, b"plain text", "photo"),
        ({"id": "photo-2"}, b'<svg xmlns="http://www.w3.org/2000/svg"/>', "photo"),
        ({"id": "photo-2"}, ONE[:400], "photo"),
        ({"id": "photo-2"}, png_bomb(30_000, 30_000), "photo"),
        ({"id": "photo-2"}, ONE.ljust(MOST_BYTES + 1, b"\0"), "photo"),
        ({"id": "photo-2", "created_at": "lately"}, ONE, "created_at"),
        ({"id": "photo-2", "created_at": "2026-03-14T09:00:00"}, ONE, "created_at"),
        ({"id": "photo-2", "created_at": "0001-01-01T00:00:00+14:00"}, ONE, "created_at"),
    ],
)
def test_what_cannot_be_kept_is_answered_with_the_reason_and_nothing_is_stored(
    app: Flask, client: FlaskClient, reading: str, fields: dict[str, str], content: bytes | None, wrong: str
) -> None:
    sync(client)
    assert set(refused(sync(client, content, **fields))) == {wrong}
    assert [photo.id for photo in photos(app)] == ["photo-1"]


def test_a_photo_before_its_entry_is_kept_once_the_entry_came(app: Flask, client: FlaskClient, batch: Opened) -> None:
    assert "Send the entry first" in refused(sync(client))["fact_id"]
    said(app, water())
    assert sync(client).status_code == 201


def test_far_too_much_is_refused_unread_in_json(app: Flask, client: FlaskClient, reading: str) -> None:
    answer = sync(client, b"\0" * (2 * MOST_BYTES + 2**20))
    assert answer.status_code == 413
    assert answer.get_json()["error"]["status"] == 413
    assert photos(app) == []


def test_only_the_ways_for_photos_take_large_bodies(app: Flask, client: FlaskClient, reading: str) -> None:
    assert post(client, "/people", {}, ("photo", "p.jpg", b"\0" * 3 * 2**20)).status_code == 413


def test_a_phone_without_a_token_is_refused(app: Flask, client: FlaskClient, reading: str) -> None:
    app.config["WTF_CSRF_ENABLED"] = True
    assert sync(client).status_code == 400
    assert photos(app) == []


# Seen again


def test_a_photo_is_served_as_what_it_is_and_to_nobody_else(client: FlaskClient, reading: str) -> None:
    sync(client, encoded(picture(640, 480), "PNG"))
    for address, size in (("/photos/photo-1", (640, 480)), ("/photos/photo-1/small", (320, 240))):
        answer = client.get(address)
        assert opened(answer.data).size == size
        assert answer.mimetype == "image/jpeg"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Cache-Control"] == "private, max-age=31536000, immutable"


@pytest.mark.parametrize("name", ["photo-9", "..%2f..%2fsecret", "../../secret", "photo-1/large", "%00", "x" * 5000])
def test_nothing_else_can_be_had_from_there(client: FlaskClient, reading: str, name: str) -> None:
    sync(client)
    answer = client.get(f"/photos/{name}")
    assert answer.status_code == 404
    assert answer.mimetype == "text/html"


@pytest.mark.parametrize("path", ["/batches/1/tub", "/batches/1", "/facts/water-1/correct", "/facts/water-1/photos"])
def test_a_photo_is_shown_where_its_entry_is(client: FlaskClient, reading: str, path: str) -> None:
    assert "/photos/photo-1" not in client.get(path).text
    sync(client)
    (shown, *_) = re.findall(r'<img[^>]*src="/photos/photo-1[^>]*>', client.get(path).text)
    assert re.search(r'alt="[^"]+"', shown)


def test_what_a_photo_shows_is_said_in_the_words_of_its_entry(client: FlaskClient, app: Flask, batch: Opened) -> None:
    said(app, water(note="ice <at> the rim"))
    sync(client)
    page = client.get("/batches/1").text
    assert 'alt="Photo: Water temperature 12.0 °C. ice &lt;at&gt; the rim, hour' in page.replace("\u00a0", " ")


def test_the_timeline_has_a_mark_that_leads_to_the_photo(client: FlaskClient, reading: str) -> None:
    def marks() -> list[dict[str, Any]]:
        found = re.search(r"data-chart>(.*?)</script>", client.get("/batches/1").text, re.DOTALL)
        assert found is not None
        return [trace for trace in json.loads(found[1])["data"] if trace.get("name") == "photos"]

    assert marks() == []
    sync(client)
    sync(client, OTHER, id="photo-2")
    (trace,) = marks()
    assert trace["customdata"] == ["/facts/water-1/photos"]
    assert "2 photos" in trace["hovertext"][0]


def test_a_photo_goes_over_to_the_correction_of_its_entry(app: Flask, client: FlaskClient, reading: str) -> None:
    sync(client)
    said(app, water("13", id="water-2", supersedes_id="water-1"))
    row = client.get("/batches/1").text.partition('id="fact-water-2"')[2].partition("</tr>")[0]
    assert "/photos/photo-1/small" in row
    assert "/photos/photo-1" in client.get("/facts/water-2/correct").text


def test_the_record_names_each_photo_by_the_number_that_it_has_in_the_strip(
    app: Flask, client: FlaskClient, reading: str
) -> None:
    said(app, water("11", id="water-0", at=iso(NOW.replace(hour=8))))
    sync(client)
    sync(client, OTHER, id="photo-0", fact_id="water-0")
    page = client.get("/batches/1").text
    numbers = {
        row: re.findall(r"photo (\d)", page.partition(f'id="fact-{row}"')[2].partition("</tr>")[0])
        for row in ("water-0", "water-1")
    }
    assert numbers == {"water-0": ["1"], "water-1": ["2"]}
    strip = page.partition('class="photo-strip"')[2].partition("</ul>")[0]
    assert re.findall(r"/photos/(photo-\d)/small.*?<small>(\d)", strip) == [("photo-0", "1"), ("photo-1", "2")]


# Added afterwards, struck, and shown again


def add(client: FlaskClient, *contents: bytes) -> TestResponse:
    return post(client, "/facts/water-1/photos", {}, *(("photo", "p.jpg", content) for content in contents))


def test_photos_can_be_added_to_an_entry_afterwards(app: Flask, client: FlaskClient, reading: str) -> None:
    assert add(client, ONE, OTHER).location == "/facts/water-1/photos"
    add(client, ONE)
    assert len(photos(app)) == 2


@pytest.mark.parametrize(("contents", "reason"), [((), "Choose a photo first"), ((ONE, b"text"), "JPEG, PNG or WebP")])
def test_what_cannot_be_added_is_told_and_nothing_is_kept(
    app: Flask, client: FlaskClient, reading: str, contents: tuple[bytes, ...], reason: str
) -> None:
    answer = add(client, *contents)
    assert answer.status_code == 422
    assert reason in text_of(answer)
    assert photos(app) == []


def test_a_struck_photo_is_shown_no_more_and_can_be_shown_again(app: Flask, client: FlaskClient, reading: str) -> None:
    sync(client)
    client.post("/photos/photo-1/strike")
    assert "/photos/photo-1" not in client.get("/batches/1").text
    page = client.get("/facts/water-1/photos").text
    assert "struck out" in page
    assert "<img" not in page
    client.post("/photos/photo-1/restore")
    assert "/photos/photo-1/small" in client.get("/batches/1").text


def test_striking_takes_nothing_away(app: Flask, client: FlaskClient, reading: str) -> None:
    sync(client)
    with write_session(app.extensions["engine"]) as session:
        before = [find_picture(session, "photo-1", size) for size in (WHOLE, SMALL)]
        strike_photo(session, "photo-1", now=NOW)
    with read_session(app.extensions["engine"]) as session:
        assert [find_picture(session, "photo-1", size) for size in (WHOLE, SMALL)] == before


def test_no_photo_can_be_added_to_what_is_not_there(client: FlaskClient, batch: Opened) -> None:
    assert client.get("/facts/nothing/photos").status_code == 404
    assert post(client, "/facts/nothing/photos", {}, ("photo", "p.jpg", ONE)).status_code == 404
    assert client.post("/photos/nothing/strike").status_code == 404


def test_the_entry_itself_is_as_it_is_without_a_photo(app: Flask, tub: Tub) -> None:
    kept(send_with(tub, ONE))
    assert the_fact(app).value == 12.0
    assert "photo" not in the_fact(app).typed
