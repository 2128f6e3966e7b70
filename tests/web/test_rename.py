"""Giving a batch another title."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.batches import get_batch
from app.store.engine import read_session, write_session
from tests.pages import PageForm, forms_of, value_shown
from tests.stories import add_story


@pytest.fixture(autouse=True)
def batch(app: Flask, morning: None) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=20, title="spring")


def title_form(html: str) -> PageForm:
    return next(form for form in forms_of(html) if form.action == "/batches/1/title")


def title(app: Flask) -> str:
    with read_session(app.extensions["engine"]) as session:
        return get_batch(session, 1).title


def test_a_batch_gets_another_title(app: Flask, client: FlaskClient):
    form = title_form(client.get("/batches/1").text)
    answer = client.post("/batches/1/title", data=form.filled(title="for the bakers"))
    assert answer.location == "/batches/1"
    assert title(app) == "for the bakers"
    assert "Batch 1 · for the bakers" in client.get("/batches/1").text


def test_a_title_changed_in_the_meantime_is_shown_and_may_be_changed_again(app: Flask, client: FlaskClient):
    mine = title_form(client.get("/batches/1").text)
    client.post("/batches/1/title", data=mine.filled(title="hers"))
    answer = client.post("/batches/1/title", data=mine.filled(title="mine"))
    assert answer.status_code == 409
    assert "called it “hers” in the meantime" in answer.text
    assert title(app) == "hers"
    again = title_form(answer.text)
    assert again.values["title"] == "mine"
    client.post("/batches/1/title", data=again.values)
    assert title(app) == "mine"


def test_a_title_that_is_too_long_is_named_and_kept_on_the_page(app: Flask, client: FlaskClient):
    form = title_form(client.get("/batches/1").text)
    answer = client.post("/batches/1/title", data=form.filled(title="x" * 81))
    assert answer.status_code == 422
    assert "At most 80 characters" in answer.text
    assert value_shown(answer.text, "title") == "x" * 81
    assert title(app) == "spring"


@pytest.mark.parametrize("revision", ["", "x", "-1"])
def test_a_form_without_its_revision_changes_nothing(app: Flask, client: FlaskClient, revision: str):
    assert client.post("/batches/1/title", data={"title": "sly", "revision": revision}).status_code == 422
    assert title(app) == "spring"


def test_a_batch_that_is_not_there_is_not_found(client: FlaskClient):
    assert client.post("/batches/9/title", data={"title": "x", "revision": "1"}).status_code == 404
