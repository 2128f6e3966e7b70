"""Striking out from a page: once, with a reason, and back to where one was."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.facts.shapes import Withdrawal
from app.operations.facts import record_fact
from app.store.engine import read_session, write_session
from app.store.facts import find_superseder
from app.store.history import get_history
from tests.pages import forms_of
from tests.writing import BATCH, LOT, NOW, struck, water

pytestmark = pytest.mark.usefixtures("batch")


@pytest.fixture
def reading(app: Flask) -> str:
    with write_session(app.extensions["engine"]) as session:
        return record_fact(session, water(), now=NOW).fact.id


def readings(app: Flask) -> list[str]:
    with read_session(app.extensions["engine"]) as session:
        return [fact.id for fact in get_history(session, BATCH).readings()]


def withdrawal(app: Flask, fact_id: str) -> Withdrawal:
    with read_session(app.extensions["engine"]) as session:
        found = find_superseder(session, fact_id)
    assert isinstance(found, Withdrawal)
    return found


def test_the_button_of_the_correction_page_strikes_out_with_its_reason(
    app: Flask, client: FlaskClient, reading: str
) -> None:
    page = client.get(f"/facts/{reading}/correct")
    form = next(form for form in forms_of(page.text) if form.action.endswith("/withdraw"))
    answer = client.post(form.action, data=form.filled(reason=" read in the other tub "))
    assert (answer.status_code, answer.location) == (303, "/batches/1")
    assert readings(app) == []
    assert withdrawal(app, reading).reason == "read in the other tub"
    assert "Water temperature struck out. It stays in the record." in client.get("/batches/1/tub").text


def test_pressed_twice_it_is_struck_out_once(app: Flask, client: FlaskClient, reading: str) -> None:
    answers = [client.post(f"/facts/{reading}/withdraw", data={"id": "struck-1"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    assert withdrawal(app, reading).id == "struck-1"


def test_who_comes_second_is_told(app: Flask, client: FlaskClient, reading: str) -> None:
    client.post(f"/facts/{reading}/withdraw", data={"id": "struck-1"})
    answer = client.post(f"/facts/{reading}/withdraw", data={"id": "struck-2"})
    assert answer.status_code == 409
    assert "Changed in the meantime" in answer.text
    assert withdrawal(app, reading).id == "struck-1"


def test_an_entry_that_is_not_here_cannot_be_struck_out(app: Flask, client: FlaskClient) -> None:
    answer = client.post("/facts/nothing/withdraw", data={"id": "struck-1"})
    assert answer.status_code == 404
    assert "There is no entry nothing" in answer.text


def test_a_withdrawal_itself_cannot_be_struck_out(app: Flask, client: FlaskClient, reading: str) -> None:
    with write_session(app.extensions["engine"]) as session:
        record_fact(session, struck(reading), now=NOW)
    assert client.post("/facts/struck-1/withdraw", data={"id": "struck-2"}).status_code == 422


def test_an_entry_is_not_struck_out_by_looking(app: Flask, client: FlaskClient, reading: str) -> None:
    assert client.get(f"/facts/{reading}/withdraw").status_code == 405
    assert readings(app) == [reading]


def test_a_struck_out_intake_leads_back_to_its_lot(client: FlaskClient) -> None:
    answer = client.post(f"/facts/intake-{LOT}/withdraw", data={"id": "struck-1"})
    assert (answer.status_code, answer.location) == (303, f"/lots/{LOT}")


def test_an_id_that_is_too_long_strikes_out_nothing(app: Flask, client: FlaskClient, reading: str) -> None:
    assert client.post(f"/facts/{reading}/withdraw", data={"id": "x" * 40}).status_code == 422
    assert readings(app) == [reading]
