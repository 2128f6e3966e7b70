"""What comes from a paired phone bears the phone's name; what is read from it writes nothing."""

from __future__ import annotations

from datetime import timedelta
from io import BytesIO

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.operations.people import add_person
from app.store.engine import read_session, write_session
from app.store.facts import find_fact
from app.store.photos import Photo
from tests.network.phone import code_from, device_row, paired, revoke
from tests.pictures import jpeg
from tests.writing import NOW, iso, water


def test_each_fact_from_a_phone_bears_its_name_whatever_was_sent(app: Flask, house: None) -> None:
    phone = paired(app, name="Ide’s phone")
    with write_session(app.extensions["engine"]) as session:
        add_person(session, person_id="p1", name="Ide", units="metric", now=NOW)
    phone.post("/people/choose", data={"person": "p1"})
    sent = water("14", id="w1", device="somebody else", entered_by="Ide", at=iso(NOW))
    assert phone.post("/sync/facts", json={"entries": [sent]}).get_json()["answers"][0]["status"] == 201
    assert phone.post("/batches/1/tub/turned", data={"id": "t1", "when": "now"}).status_code == 303
    assert phone.post("/facts/t1/withdraw", data={"id": "gone-1", "reason": "slip"}).status_code == 303
    with read_session(app.extensions["engine"]) as session:
        kept = {name: find_fact(session, name) for name in ("w1", "t1", "gone-1")}
    assert {name: each.device if each else None for name, each in kept.items()} == dict.fromkeys(kept, "Ide’s phone")
    assert kept["t1"] is not None
    assert kept["t1"].entered_by == "Ide"


def test_a_repeat_after_pairing_again_under_another_name_is_the_same_entry(app: Flask, house: None) -> None:
    phone = paired(app, name="First")
    entries = {"entries": [water("14", id="w1", at=iso(NOW))]}
    assert phone.post("/sync/facts", json=entries).get_json()["answers"][0]["status"] == 201
    revoke(app)
    assert phone.post("/sync/facts", json=entries).get_json()["reason"] == "revoked"
    assert phone.pair(code_from(app.test_client()), "Second").status_code == 303
    assert phone.post("/sync/facts", json=entries).get_json()["answers"][0]["status"] == 200


def test_at_the_desk_a_fact_keeps_the_device_it_was_written_on(app: Flask, desk: FlaskClient, house: None) -> None:
    sent = water("14", id="w1", device="Ide’s phone", at=iso(NOW))
    desk.post("/sync/facts", json={"entries": [sent]})
    with read_session(app.extensions["engine"]) as session:
        kept = find_fact(session, "w1")
    assert kept is not None
    assert kept.device == "Ide’s phone"


def test_reading_pages_writes_nothing_of_the_phone_and_writing_notes_the_hour(
    app: Flask, house: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone = paired(app)
    first = device_row(app).last_seen_at
    later = first + timedelta(hours=3)
    monkeypatch.setattr("app.web.access.gate.ports.now", lambda: later)
    phone.get("/")
    assert device_row(app).last_seen_at == first
    phone.post("/batches/1/tub/turned", data={"id": "t1", "when": "now"})
    assert device_row(app).last_seen_at == later


def test_a_photo_from_a_phone_bears_its_name_too(app: Flask, house: None) -> None:
    phone = paired(app, name="Ide’s phone")
    phone.post("/sync/facts", json={"entries": [water("14", id="w1", at=iso(NOW))]})
    sent = {"id": "photo-1", "fact_id": "w1", "file": (BytesIO(jpeg()), "seen.jpg")}
    assert phone.post("/sync/photos", data=sent).status_code == 201
    with read_session(app.extensions["engine"]) as session:
        kept = session.get(Photo, "photo-1")
    assert kept is not None
    assert kept.device == "Ide’s phone"
