"""Splitting part of a batch off, with a programme of its own."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.judgement.history.stages import stages
from app.judgement.measures.account import account
from app.judgement.programmes.programme import load_builtin
from app.store.batches import get_batch
from app.store.engine import read_session, write_session
from app.store.history import get_history
from tests.pages import PageForm, forms_of
from tests.stories import add_story
from tests.writing import NOW, count_facts


@pytest.fixture(autouse=True)
def growing(app: Flask, morning: None) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=100, title="spring")


def blank(client: FlaskClient) -> PageForm:
    return next(form for form in forms_of(client.get("/batches/1/split").text) if form.action == "/batches/1/split")


def send(client: FlaskClient, **changes: str) -> TestResponse:
    return client.post("/batches/1/split", data=blank(client).filled(**{"as_is_0": "10", **changes}))


def history_of(app: Flask, number: int):
    with read_session(app.extensions["engine"]) as session:
        return get_history(session, get_batch(session, number).id)


def facts_kept(app: Flask) -> int:
    with read_session(app.extensions["engine"]) as session:
        return count_facts(session)


def test_part_of_a_batch_goes_its_own_way(app: Flask, client: FlaskClient):
    caramel = load_builtin()["caramel"].digest
    answer = send(client, programme=caramel, vessel="tray 4", moisture_0="44,5", known_0="measured")
    assert answer.status_code == 303
    assert answer.location == "/batches/2/tub"
    child = history_of(app, 2)
    assert child.batch.vessel == "tray 4"
    assert child.programme is not None
    assert child.programme.digest == caramel
    assert child.charges[0].dry_kg == pytest.approx(10 * (1 - 0.445))
    assert [stage.name for stage in stages(child, NOW)][-1] == "germination"


def test_what_was_split_off_is_in_the_account_of_what_stays(app: Flask, client: FlaskClient):
    send(client, moisture_0="44.5", known_0="measured")
    line = account(history_of(app, 1), NOW).line("split_off")
    assert line is not None
    assert line.dry_kg == pytest.approx(5.55)


def test_an_empty_moisture_is_the_batchs_estimate(app: Flask, client: FlaskClient):
    send(client, moisture_0="", known_0="assumed")
    # The plan's test bag at cast: 44.4 %; since then the bed has dried by a point or so on the floor.
    assert history_of(app, 2).charges[0].moisture_wb == pytest.approx(0.436, abs=0.006)


def test_both_pages_name_each_other(app: Flask, client: FlaskClient):
    send(client)
    assert 'href="/batches/2"' in client.get("/batches/1").text
    page = client.get("/batches/2").text
    assert 'href="/batches/1"' in page
    assert "before the split or merge" in page


def test_sent_twice_it_is_one_batch(app: Flask, client: FlaskClient):
    values = blank(client).filled(as_is_0="10")
    locations = {client.post("/batches/1/split", data=values).location for _ in range(2)}
    assert locations == {"/batches/2/tub"}
    assert client.get("/batches/3").status_code == 404


def test_more_than_the_batch_holds_is_asked_about(app: Flask, client: FlaskClient):
    before = facts_kept(app)
    answer = send(client, as_is_0="50")
    assert answer.status_code == 422
    assert "Is the weight right?" in answer.text
    assert facts_kept(app) == before


@pytest.mark.parametrize(("changes", "said"), [({"as_is_0": ""}, "Say how much"), ({"moisture_0": "120"}, "be above")])
def test_bad_input_is_named_and_nothing_is_kept(app: Flask, client: FlaskClient, changes: dict[str, str], said: str):
    before = facts_kept(app)
    answer = send(client, **changes)
    assert answer.status_code == 422
    assert said in answer.text
    assert facts_kept(app) == before


def test_a_batch_that_is_not_there_is_not_found(client: FlaskClient):
    assert client.get("/batches/9/split").status_code == 404
    assert client.post("/batches/9/split", data={}).status_code == 404


def test_out_of_which_batch_it_is_split_the_address_alone_says(app: Flask, client: FlaskClient):
    values = blank(client).values | {"as_is_0": "5", "moisture_0": "40", "source_0": "pack:nowhere"}
    assert client.post("/batches/1/split", data=values).status_code == 303
