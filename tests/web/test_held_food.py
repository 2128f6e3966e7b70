"""Malt of mouldy grain, or of grain over the limit of ergot: asked about at the pack, and held until it is answered."""

from __future__ import annotations

from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.batches import Batch
from app.store.engine import read_session, write_session
from app.store.packs import list_packs
from tests.pages import forms_of
from tests.stories import add_fact
from tests.web.test_packs import fill, finished

pytestmark = pytest.mark.usefixtures("morning")
MUSTY: dict[str, Any] = {"findings": {"mould": "no", "smell": "musty"}}


@pytest.fixture
def batch(app: Flask) -> Batch:
    return finished(app)


def find(app: Flask, batch: Batch, values: dict[str, Any] = MUSTY, id: str = "found") -> None:
    with write_session(app.extensions["engine"]) as session:
        add_fact(session, batch, "inspection", values, id=id, hours_ago=100)


def say(app: Flask, batch: Batch, answer: str) -> None:
    values = {"rule": "off_smell", "episode_id": "found", "answer": answer, "severity": "act"}
    with write_session(app.extensions["engine"]) as session:
        add_fact(session, batch, "flag_answer", values, id=f"answer-{answer}", hours_ago=90)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (MUSTY, "musty smell at hour "),
        ({"findings": {"mould": "yes"}}, "mould seen at hour "),
        ({"findings": {"mould": "no"}, "ergot_kg": 0.01}, "ergot over its limit at hour "),
    ],
)
def test_the_pack_says_what_stands_against_it_and_gets_no_label_and_no_sheet(
    app: Flask, client: FlaskClient, batch: Batch, values: dict[str, Any], said: str
):
    find(app, batch, values)
    fill(app, batch)
    page = client.get("/packs/jar-3").text
    assert "Held: no label and no malt sheet" in page
    assert said in page
    assert "/packs/jar-3/label" not in page
    for paper in ("label", "sheet"):
        held = client.get(f"/packs/jar-3/{paper}").text
        assert "Held: no" in held
        assert said in held
        assert "Contains gluten" not in held


def test_it_is_asked_about_when_it_is_packed(app: Flask, client: FlaskClient, batch: Batch):
    find(app, batch)
    path = "/batches/1/pack"
    page = client.get(path).text
    assert "Held: no food" in page
    values = next(form for form in forms_of(page) if form.action == path).filled(name="Jar 3", as_is_0="1")
    asked = client.post(path, data=values)
    assert asked.status_code == 422
    assert "Pack it all the same?" in asked.text
    with read_session(app.extensions["engine"]) as session:
        assert list_packs(session) == []


def test_it_leaves_the_house_only_when_somebody_insists(app: Flask, client: FlaskClient, batch: Batch):
    find(app, batch)
    fill(app, batch)
    path = "/packs/jar-3/dispatch"
    page = client.get(path).text
    assert "musty smell" in page
    values = next(form for form in forms_of(page) if form.action == path).filled(as_is_0="1")
    asked = client.post(path, data=values)
    assert asked.status_code == 422
    assert "Let it go all the same?" in asked.text


def test_a_roast_of_it_is_asked_about(app: Flask, client: FlaskClient, batch: Batch):
    find(app, batch)
    fill(app, batch)
    path = "/batches/roast"
    form = next(form for form in forms_of(client.get(f"{path}?from=pack:jar-3").text) if form.action == path)
    asked = client.post(path, data=form.filled(as_is_0="1", moisture_0="4.5"))
    assert asked.status_code == 422
    assert "Roast it all the same?" in asked.text


def test_the_batch_says_so_itself(app: Flask, client: FlaskClient, batch: Batch):
    find(app, batch)
    assert "Held: no food" in client.get("/batches/1").text


@pytest.mark.parametrize(("answer", "is_held"), [("seen", True), ("acted_on", True), ("false_alarm", False)])
def test_only_a_false_alarm_lifts_it(app: Flask, client: FlaskClient, batch: Batch, answer: str, is_held: bool):
    find(app, batch)
    fill(app, batch)
    say(app, batch, answer)
    assert ("Held:" in client.get("/packs/jar-3/label").text) == is_held
    assert ("Contains gluten" in client.get("/packs/jar-3/label").text) != is_held
