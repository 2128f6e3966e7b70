"""Merging batches into one."""

from __future__ import annotations

from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.judgement.forecasts.moisture import charged
from app.judgement.history.stages import all_stages
from app.store.batches import get_batch
from app.store.engine import read_session, write_session
from app.store.history import get_history
from tests.pages import PageForm, forms_of
from tests.stories import add_story
from tests.writing import count_facts


@pytest.fixture(autouse=True)
def two(app: Flask, morning: None) -> list[str]:
    with write_session(app.extensions["engine"]) as session:
        return [add_story(session, hours_ago=hours).id for hours in (100, 101)]


def blank(client: FlaskClient) -> PageForm:
    return next(form for form in forms_of(client.get("/batches/1/merge").text) if form.action == "/batches/1/merge")


def send(client: FlaskClient, other: str, **changes: str) -> TestResponse:
    return client.post("/batches/1/merge", data=blank(client).filled(**{"source_1": f"batch:{other}", **changes}))


def history_of(app: Flask, number: int):
    with read_session(app.extensions["engine"]) as session:
        return get_history(session, get_batch(session, number).id)


def stage_of(app: Flask, number: int) -> str:
    return all_stages(history_of(app, number))[-1].name


def facts_kept(app: Flask) -> int:
    with read_session(app.extensions["engine"]) as session:
        return count_facts(session)


def test_two_batches_go_on_as_one_and_end_themselves(app: Flask, client: FlaskClient, two: list[str]):
    answer = send(client, two[1])
    assert answer.status_code == 303
    assert answer.location == "/batches/3/tub"
    merged = history_of(app, 3)
    assert {part.source.id for part in merged.charges} == set(two)
    assert stage_of(app, 3) == "germination"
    assert [stage_of(app, number) for number in (1, 2)] == ["finished", "finished"]
    assert "Merged into batch 3" in client.get("/batches/1").text


def test_empty_weights_are_all_that_should_be_there(app: Flask, client: FlaskClient, two: list[str]):
    send(client, two[1])
    start = charged(history_of(app, 3))
    # 17.6 kg dry were charged to each; up to five hundredths of it is gone by then.
    assert start is not None
    assert 0.94 * 2 * 17.6 < start.dry_kg < 2 * 17.6


def test_weights_that_are_given_stand(app: Flask, client: FlaskClient, two: list[str]):
    send(client, two[1], as_is_0="12", as_is_1="13,5", moisture_1="44", known_1="measured")
    assert sorted(part.as_is_kg for part in history_of(app, 3).charges) == [12.0, 13.5]


def test_batches_that_are_not_used_up_go_on(app: Flask, client: FlaskClient, two: list[str]):
    values = blank(client).filled(source_1=f"batch:{two[1]}", as_is_0="5", as_is_1="5")
    del values["ends"]
    client.post("/batches/1/merge", data=values)
    assert [stage_of(app, number) for number in (1, 2)] == ["germination", "germination"]


def test_sent_twice_it_is_one_batch_and_each_ends_once(app: Flask, client: FlaskClient, two: list[str]):
    values = blank(client).filled(source_1=f"batch:{two[1]}")
    client.post("/batches/1/merge", data=values)
    kept = facts_kept(app)
    assert client.post("/batches/1/merge", data=values).location == "/batches/3/tub"
    assert facts_kept(app) == kept


def test_one_batch_alone_is_no_merge(app: Flask, client: FlaskClient):
    before = facts_kept(app)
    answer = client.post("/batches/1/merge", data=blank(client).filled())
    assert answer.status_code == 422
    assert "Choose at least one other batch" in answer.text
    assert facts_kept(app) == before


def test_a_batch_with_itself_is_refused(app: Flask, client: FlaskClient, two: list[str]):
    before = facts_kept(app)
    values = blank(client).filled() | {"source_1": f"batch:{two[0]}"}
    answer = client.post("/batches/1/merge", data=values)
    assert answer.status_code == 422
    assert "named twice" in answer.text
    assert facts_kept(app) == before


def test_an_unknown_batch_is_refused_and_nothing_is_left(app: Flask, client: FlaskClient):
    before = facts_kept(app)
    values = blank(client).filled(as_is_1="3", moisture_1="44") | {"source_1": "batch:none"}
    answer = client.post("/batches/1/merge", data=values)
    assert answer.status_code == 422
    assert "There is no such batch here" in unescape(answer.text)
    assert facts_kept(app) == before
    assert client.get("/batches/3").status_code == 404
