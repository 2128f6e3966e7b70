"""Packing malt into a sack or a jar with a name."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from app.store.engine import read_session, write_session
from app.store.packs import Pack
from tests.pages import PageForm, forms_of, insisting, value_shown
from tests.stories import add_story
from tests.writing import count_facts


@pytest.fixture(autouse=True)
def finished(app: Flask, morning: None) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=400)


def blank(client: FlaskClient, number: int = 1) -> PageForm:
    path = f"/batches/{number}/pack"
    return next(form for form in forms_of(client.get(path).text) if form.action == path)


def send(client: FlaskClient, number: int = 1, **changes: str) -> TestResponse:
    values = {"name": "Jar 3", "as_is_0": "2.5", **changes}
    return client.post(f"/batches/{number}/pack", data=blank(client, number).filled(**values))


def kept(app: Flask) -> tuple[list[str], int]:
    with read_session(app.extensions["engine"]) as session:
        return list(session.scalars(select(Pack.name))), count_facts(session)


def refused(answer: TestResponse, app: Flask, said: str, facts: int) -> None:
    assert answer.status_code == 422
    assert said in answer.text
    assert kept(app) == ([], facts)


def test_malt_goes_into_a_jar_that_stands_on_the_batchs_page(app: Flask, client: FlaskClient):
    answer = send(client)
    assert answer.location == "/batches/1"
    page = client.get("/batches/1").text
    assert "Packed: Jar 3." in page
    assert "<b>Jar 3</b></a> 2500 g" in page


def test_what_was_packed_is_no_longer_left(app: Flask, client: FlaskClient):
    send(client)
    # The plan's outturn: 17.6 kg dry less 10 % (1 steep, 5.5 breath, 3.5 rootlets) at 4.5 % moisture.
    left = 17.6 * 0.9 / 0.955 - 2.5
    assert f"{left:.2f} kg left" in client.get("/batches/1/pack").text


def test_sent_twice_it_is_one_jar(app: Flask, client: FlaskClient):
    values = blank(client).filled(name="Jar 3", as_is_0="2.5")
    for _ in range(2):
        assert client.post("/batches/1/pack", data=values).status_code == 303
    assert kept(app)[0] == ["Jar 3"]


@pytest.mark.parametrize(
    ("changes", "said"),
    [({"name": " "}, "Give it a name"), ({"as_is_0": ""}, "Say how much"), ({"moisture_0": "-1"}, "be below")],
)
def test_bad_input_is_named_and_kept_on_the_page(app: Flask, client: FlaskClient, changes: dict[str, str], said: str):
    facts = kept(app)[1]
    answer = send(client, **changes)
    refused(answer, app, said, facts)
    for name, value in changes.items():
        assert value_shown(answer.text, name) == value


def test_malt_too_wet_to_keep_is_asked_about_and_packed_when_insisted_on(app: Flask, client: FlaskClient):
    facts = kept(app)[1]
    asked = send(client, moisture_0="9")
    refused(asked, app, "wetter than this malt keeps at", facts)
    client.post("/batches/1/pack", data=insisting(asked.text))
    assert kept(app)[0] == ["Jar 3"]


def test_a_batch_that_is_not_done_is_asked_about(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=100)
    refused(send(client, 2, moisture_0="4.5"), app, "not done yet: germination", kept(app)[1])


def test_more_than_there_is_is_asked_about(app: Flask, client: FlaskClient):
    refused(send(client, as_is_0="30"), app, "Is the weight right?", kept(app)[1])


def test_a_held_batch_is_packed_but_gets_no_label(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=420, is_declared=False)
    assert "no label and no malt sheet" in client.get("/batches/2/pack").text
    assert send(client, 2).status_code == 303
    assert "Held: no label and no malt sheet" in client.get("/batches/2").text


def test_a_batch_that_is_not_there_is_not_found(client: FlaskClient):
    assert client.get("/batches/9/pack").status_code == 404
