"""Answering a flag from its card."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import ports
from app.judgement.facts.shapes import Answer
from app.store.batches import get_batch
from app.store.engine import read_session, write_session
from app.store.history import get_history
from tests.pages import PageForm, forms_of
from tests.stories import add_fact, add_story
from tests.writing import NOW


@pytest.fixture(autouse=True)
def warm(app: Flask, morning: None) -> None:
    """A batch whose grain was read too warm half an hour ago."""
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=100)
        add_fact(session, batch, "grain_temperature", {"value": 21.5}, id="hot", hours_ago=0.5, place="middle")


def cards(client: FlaskClient, path: str = "/batches/1") -> list[PageForm]:
    return [form for form in forms_of(client.get(path).text) if form.action == "/batches/1/flags"]


def answers(app: Flask) -> list[Answer]:
    with read_session(app.extensions["engine"]) as session:
        return list(get_history(session, get_batch(session, 1).id).answers)


@pytest.mark.parametrize("said", ["seen", "acted_on", "false_alarm"])
def test_an_answer_moves_the_flag_out_of_now(app: Flask, client: FlaskClient, said: str):
    before = cards(client)
    answer = client.post("/batches/1/flags", data=before[0].values | {"answer": said})
    assert answer.status_code == 303
    assert answer.location == "/batches/1"
    (kept,) = answers(app)
    assert (kept.answer, kept.episode_id, kept.until_at) == (said, before[0].values["episode"], None)
    assert len(cards(client)) == len(before) - 1
    assert "Answered:" in client.get("/batches/1").text


def test_a_flag_left_for_now_comes_back_after_six_hours(
    app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
):
    before = cards(client)
    client.post("/batches/1/flags", data=before[0].values | {"answer": "leaving"})
    assert answers(app)[0].until_at == NOW + timedelta(hours=6)
    episodes = [form.values["episode"] for form in cards(client)]
    assert before[0].values["episode"] not in episodes
    monkeypatch.setattr(ports, "now", lambda: NOW + timedelta(hours=6, minutes=1))
    assert before[0].values["episode"] in [form.values["episode"] for form in cards(client)]


def test_the_answer_leads_back_to_where_it_was_given(client: FlaskClient):
    form = cards(client, "/batches/1/tub")[0]
    assert client.post("/batches/1/flags", data=form.values | {"answer": "seen"}).location == "/batches/1/tub"


@pytest.mark.parametrize(
    "back",
    [
        "https://elsewhere.example/",
        "//elsewhere.example",
        "/\\elsewhere.example",
        "/batches/1/flags",
        "/made/up",
        "",
        "/\n/x",
    ],
)
def test_it_leads_to_no_foreign_or_made_up_page(client: FlaskClient, back: str):
    form = cards(client)[0]
    answer = client.post("/batches/1/flags", data=form.values | {"answer": "seen", "back": back})
    assert answer.location == "/batches/1"


def test_sent_twice_it_is_one_answer(app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch):
    values = cards(client)[0].values | {"answer": "leaving"}
    client.post("/batches/1/flags", data=values)
    monkeypatch.setattr(ports, "now", lambda: NOW + timedelta(seconds=5))
    assert client.post("/batches/1/flags", data=values).status_code == 303
    assert len(answers(app)) == 1


def test_an_answer_that_is_none_is_refused_and_not_kept(app: Flask, client: FlaskClient):
    answer = client.post("/batches/1/flags", data=cards(client)[0].values | {"answer": "whatever"})
    assert answer.status_code == 422
    assert "choose one of" in answer.text
    assert answers(app) == []


def test_a_batch_that_is_not_there_is_not_found(client: FlaskClient):
    assert client.post("/batches/9/flags", data={"answer": "seen"}).status_code == 404


def test_gas_of_two_kinds_that_is_over_is_told_of_each(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        batch = get_batch(session, 1)
        for kind, first, then in (("co2_room", 20_000.0, 800.0), ("co_room", 200.0, 1.0)):
            add_fact(session, batch, kind, {"value": first}, id=f"{kind}-bad", hours_ago=3.0)
            add_fact(session, batch, kind, {"value": then}, id=f"{kind}-good", hours_ago=2.0)
    page = client.get("/batches/1").text.partition("Flags over or answered")[2]
    assert "CO₂ in the room 20000 ppm" in page
    assert "CO in the room 200 ppm" in page
    assert "2 times" not in page


def test_a_heap_that_waited_without_air_is_to_be_smelt(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        add_fact(session, get_batch(session, 1), "loaded", {}, id="loaded-1", hours_ago=5.0)
    assert "otherwise spread it thin again. Then smell it." in client.get("/batches/1").text


def test_a_rest_that_is_overdue_is_to_be_smelt(app: Flask, client: FlaskClient):
    kinds = {"steep_on", "drained"}
    with write_session(app.extensions["engine"]) as session:
        number = add_story(session, hours_ago=90, until=NOW - timedelta(hours=70), kinds=kinds).number
    assert "Smell it first: it has been without air inside." in client.get(f"/batches/{number}").text
