"""A probe found to read wrong: its readings are seen corrected, and whatever was made of them is made anew."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from app.judgement.facts.shapes import Reading
from app.operations.digests import rebuild
from app.store.batches import Batch
from app.store.digests import BatchDigest
from app.store.engine import read_session, write_session
from app.store.facts import find_fact
from app.store.history import get_history
from tests.pages import forms_of
from tests.stories import add_fact, add_story
from tests.writing import NOW

OLD = "old probe"
pytestmark = pytest.mark.usefixtures("morning")


@pytest.fixture
def ended(app: Flask) -> Batch:
    """A batch that ended yesterday, and whose grain was read twice with old probe while it germinated."""
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=300)
        add_fact(session, batch, "grain_temperature", {"value": 18.0}, id="early", hours_ago=220, instrument=OLD)
        add_fact(session, batch, "grain_temperature", {"value": 24.0}, id="late", hours_ago=200, instrument=OLD)
        add_story(session, hours_ago=310)
        rebuild(session, NOW)
    return batch


def calibrate(client: FlaskClient, **changes: str) -> TestResponse:
    sheet = next(each for each in forms_of(client.get("/house/entries/calibrated").text) if "when" in each.choices)
    return client.post(sheet.action, data=sheet.filled(about=OLD, amount="-3", **changes))


def at(hours_ago: float) -> dict[str, str]:
    """The time in Dublin, which keeps Greenwich time in March."""
    return {"when": "at", "at": (NOW - timedelta(hours=hours_ago)).strftime("%Y-%m-%dT%H:%M")}


def seen(app: Flask, batch: Batch) -> dict[str, float | None]:
    with read_session(app.extensions["engine"]) as session:
        readings = get_history(session, batch.id).of_shape(Reading)
        return {reading.id: reading.value for reading in readings if reading.instrument == OLD}


def digest(app: Flask, number: int) -> BatchDigest:
    with read_session(app.extensions["engine"]) as session:
        query = select(BatchDigest).join(Batch, Batch.id == BatchDigest.batch_id).where(Batch.number == number)
        return session.scalars(query).one()


def warmest(app: Flask, number: int) -> float:
    return float(digest(app, number).measures["germination_temperature_max"]["value"])


def test_readings_from_that_time_on_are_seen_corrected_and_none_is_rewritten(
    app: Flask, client: FlaskClient, ended: Batch
):
    answer = calibrate(client, **at(210))
    assert seen(app, ended) == {"early": 18.0, "late": 21.0}
    with read_session(app.extensions["engine"]) as session:
        kept = find_fact(session, "late")
    assert isinstance(kept, Reading)
    assert kept.value == 24.0
    page = client.get(answer.location).text
    assert "1 reading of 1 batch is judged so from now on" in page
    assert "put right for its instrument" in client.get("/batches/1").text


def test_a_correction_that_ended_leaves_later_readings_alone(app: Flask, client: FlaskClient, ended: Batch):
    until = (NOW - timedelta(hours=210)).strftime("%Y-%m-%dT%H:%M")
    calibrate(client, **at(250), until=until)
    assert seen(app, ended) == {"early": 15.0, "late": 24.0}


def test_what_is_remembered_of_an_ended_batch_is_made_anew_with_the_correction(
    app: Flask, client: FlaskClient, ended: Batch
):
    assert warmest(app, 1) == pytest.approx(24.0)
    calibrate(client, **at(260))
    assert warmest(app, 1) == pytest.approx(21.0)
    with read_session(app.extensions["engine"]) as session:
        assert digest(app, 1).seq == session.get_one(Batch, ended.id).last_seq


def test_a_batch_that_was_read_with_another_instrument_is_left_as_it_is(app: Flask, client: FlaskClient, ended: Batch):
    before = digest(app, 2).seq
    calibrate(client, **at(260))
    assert digest(app, 2).seq == before


def test_striking_the_calibration_out_gives_back_what_was_read(app: Flask, client: FlaskClient, ended: Batch):
    page = client.get(calibrate(client, **at(260)).location).text
    undo = next(each for each in forms_of(page) if each.action.endswith("/withdraw"))
    client.post(undo.action, data=undo.values)
    assert seen(app, ended) == {"early": 18.0, "late": 24.0}
    assert warmest(app, 1) == pytest.approx(24.0)


def test_correcting_the_calibration_judges_the_batch_by_the_new_figure(app: Flask, client: FlaskClient, ended: Batch):
    page = client.get(calibrate(client, **at(260)).location).text
    path = next(each.action for each in forms_of(page) if each.action.endswith("/withdraw"))
    correction = client.get(path.replace("withdraw", "correct")).text
    sheet = next(each for each in forms_of(correction) if "when" in each.choices)
    assert client.post(sheet.action, data=sheet.filled(amount="-2")).location == "/house"
    assert seen(app, ended) == {"early": 16.0, "late": 22.0}
    assert warmest(app, 1) == pytest.approx(22.0)


def test_a_name_that_no_reading_bears_is_doubted(client: FlaskClient, ended: Batch):
    sheet = next(each for each in forms_of(client.get("/house/entries/calibrated").text) if "when" in each.choices)
    answer = client.post(sheet.action, data=sheet.filled(about="Old probe", amount="-3"))
    assert "is that its name in the readings?" in client.get(answer.location).text


def test_the_names_in_use_are_offered(client: FlaskClient, ended: Batch):
    assert "<option>old probe</option>" in client.get("/house/entries/calibrated").text


def test_in_degrees_fahrenheit_a_difference_is_no_temperature(app: Flask, client: FlaskClient, ended: Batch):
    with client.session_transaction() as cookie:
        cookie["units"] = "us"
    sheet = next(each for each in forms_of(client.get("/house/entries/calibrated").text) if "when" in each.choices)
    assert sheet.values["amount_unit"] == "f"
    client.post(sheet.action, data=sheet.filled(about=OLD, amount="-5.4", **at(260)))
    assert seen(app, ended)["late"] == pytest.approx(21.0)
