"""Letting malt go out of the house."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.judgement.facts.shapes import Part, Subject
from app.store.engine import read_session
from app.store.packs import get_pack, load_pack_stories
from tests.pages import PageForm, forms_of, insisting, value_shown
from tests.web.test_packs import fill, finished

pytestmark = pytest.mark.usefixtures("morning")
PATH = "/packs/jar-3/dispatch"


@pytest.fixture(autouse=True)
def jar(app: Flask, morning: None) -> None:
    fill(app, finished(app))


def blank(client: FlaskClient) -> PageForm:
    return next(form for form in forms_of(client.get(PATH).text) if form.action == PATH)


def send(client: FlaskClient, **changes: str) -> TestResponse:
    return client.post(PATH, data=blank(client).filled(**{"as_is_0": "1,5", "to": "Mill bakery", **changes}))


def gone(app: Flask) -> list[Part]:
    with read_session(app.extensions["engine"]) as session:
        story = load_pack_stories(session, [get_pack(session, "jar-3")])[0]
        return [fact for fact in story.standing if isinstance(fact, Part) and fact.kind == "dispatch"]


def test_malt_leaves_the_pack_for_somebody(app: Flask, client: FlaskClient):
    answer = send(client)
    assert answer.location == "/packs/jar-3"
    page = client.get("/packs/jar-3").text
    assert "Dispatched." in page
    assert "Mill bakery" in page
    assert "1000\u00a0g" in page
    (part,) = gone(app)
    assert (part.source, part.target) == (Subject("pack", "jar-3"), Subject("house", "house"))
    assert (part.as_is_kg, part.note) == (1.5, "Mill bakery")


def test_its_moisture_is_that_of_the_pack_unless_somebody_knows_better(app: Flask, client: FlaskClient):
    send(client)
    send(client, as_is_0="0.5", moisture_0="6", known_0="measured")
    assert sorted(part.moisture_wb for part in gone(app)) == pytest.approx([0.045, 0.06])


def test_when_all_has_gone_there_is_nothing_more_to_dispatch(client: FlaskClient):
    send(client, as_is_0="2.5")
    assert PATH not in client.get("/packs/jar-3").text
    assert "nothing" in client.get("/packs").text


def test_sent_twice_it_has_gone_once(app: Flask, client: FlaskClient):
    values = blank(client).filled(as_is_0="2.5", to="Mill bakery")
    assert [client.post(PATH, data=values).status_code for _ in range(2)] == [303, 303]
    assert "recorded already" in client.get("/packs/jar-3").text
    assert len(gone(app)) == 1


def test_the_same_id_with_another_weight_shows_what_was_kept(app: Flask, client: FlaskClient):
    form = blank(client)
    client.post(PATH, data=form.filled(as_is_0="1"))
    answer = client.post(PATH, data=form.filled(as_is_0="1.2"))
    assert answer.status_code == 422
    assert f"/facts/{form.values['id_0']}/correct" in answer.text
    assert [part.as_is_kg for part in gone(app)] == [1.0]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"as_is_0": ""}, "Say how much goes"),
        ({"as_is_0": "some"}, "not a number"),
        ({"as_is_0": "-1"}, "can&#39;t be below"),
        ({"moisture_0": "120"}, "can&#39;t be above"),
        ({"to": "m" * 201}, "At most 200"),
        ({"when": "at", "at": "lately"}, "not a date and time"),
    ],
)
def test_bad_input_is_named_and_kept_on_the_page(app: Flask, client: FlaskClient, changes: dict[str, str], said: str):
    answer = send(client, **changes)
    assert answer.status_code == 422
    assert said in answer.text
    for name, value in changes.items():
        assert value_shown(answer.text, name) == value
    assert gone(app) == []


@pytest.mark.parametrize(
    ("changes", "said"),
    [({"as_is_0": "30"}, "Is the weight right?"), ({"when": "at", "at": "2026-03-14T21:00"}, "still to come")],
)
def test_what_looks_wrong_is_asked_about_and_kept_when_insisted_on(
    app: Flask, client: FlaskClient, changes: dict[str, str], said: str
):
    asked = send(client, **changes)
    assert asked.status_code == 422
    assert said in asked.text
    assert gone(app) == []
    assert client.post(PATH, data=insisting(asked.text)).status_code == 303
    assert len(gone(app)) == 1


def test_held_malt_goes_only_when_somebody_insists(app: Flask, client: FlaskClient):
    fill(app, finished(app, 420, is_declared=False), "held", "2", "Held sack")
    path = "/packs/held/dispatch"
    page = client.get(path).text
    assert "Held: no label and no malt sheet" in page
    assert "Not declared untreated and for food: Lot of" in page
    values = next(form for form in forms_of(page) if form.action == path).filled(as_is_0="1")
    asked = client.post(path, data=values)
    assert asked.status_code == 422
    assert "Let it go all the same?" in asked.text
    assert client.post(path, data=insisting(asked.text)).status_code == 303


def test_the_address_alone_says_out_of_which_pack(app: Flask, client: FlaskClient):
    values = blank(client).values | {"as_is_0": "1", "source_0": "pack:other"}
    client.post(PATH, data=values)
    assert len(gone(app)) == 1


def test_malt_that_left_before_its_jar_was_filled_is_asked_about(app: Flask, client: FlaskClient) -> None:
    with read_session(app.extensions["engine"]) as session:
        filled = load_pack_stories(session, [get_pack(session, "jar-3")])[0].fillings[0].at
    early = {"when": "at", "at": f"{filled - timedelta(days=3):%Y-%m-%dT%H:%M}"}
    answer = send(client, **early)
    assert answer.status_code == 422
    assert "is before Jar 3 was filled (" in answer.text
    assert gone(app) == []
    form = blank(client)
    assert client.post(form.action, data=insisting(answer.text)).status_code == 303
