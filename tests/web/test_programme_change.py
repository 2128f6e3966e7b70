"""Giving a batch another programme on its way."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.programme import load_builtin
from app.store.engine import read_session, write_session
from app.store.facts import find_fact
from app.store.history import get_history
from tests.pages import forms_of
from tests.stories import add_story

PALE, DIASTATIC = (load_builtin()[key] for key in ("barley_pale", "barley_diastatic"))


@pytest.fixture
def path(app: Flask) -> str:
    with write_session(app.extensions["engine"]) as session:
        return f"/batches/{add_story(session, hours_ago=60).number}/programme"


def send(client: FlaskClient, path: str, **changes: str):
    form = next(form for form in forms_of(client.get(path).text) if form.action == path)
    return client.post(path, data=form.filled(**changes))


def batch_id(app: Flask) -> str:
    with read_session(app.extensions["engine"]) as session:
        from app.store.batches import list_batches

        return list_batches(session)[0].id


def test_it_works_and_earlier_readings_stay_judged_by_the_earlier_programme(
    app: Flask, client: FlaskClient, path: str
) -> None:
    answer = send(client, path, programme=DIASTATIC.digest)
    assert answer.status_code == 303
    with read_session(app.extensions["engine"]) as session:
        history = get_history(session, batch_id(app))
    change = history.of_kind("programme_change")[0]
    first = history.facts[0].at
    assert history.programme_at(first) == PALE
    assert history.programme_at(change.at) == DIASTATIC
    page = client.get(path.removesuffix("/programme")).text
    assert DIASTATIC.name in page


def test_the_programme_it_follows_already_is_not_offered(client: FlaskClient, path: str) -> None:
    page = client.get(path).text
    assert f'value="{PALE.digest}"' not in page
    assert f'value="{DIASTATIC.digest}"' in page


def test_none_chosen_is_named_at_its_field(app: Flask, client: FlaskClient, path: str) -> None:
    answer = send(client, path)
    assert answer.status_code == 422
    assert "Programme is missing." in answer.text


def test_an_unknown_programme_is_refused(app: Flask, client: FlaskClient, path: str) -> None:
    form = next(form for form in forms_of(client.get(path).text) if form.action == path)
    answer = client.post(path, data=form.filled() | {"programme": "0" * 64})
    assert answer.status_code == 422
    assert "no such programme" in answer.text


def test_sent_twice_it_is_kept_once(app: Flask, client: FlaskClient, path: str) -> None:
    form = next(form for form in forms_of(client.get(path).text) if form.action == path)
    sent = form.filled(programme=DIASTATIC.digest)
    assert [client.post(path, data=sent).status_code for _ in range(2)] == [303, 303]
    with read_session(app.extensions["engine"]) as session:
        assert find_fact(session, sent["id"]) is not None
        assert len(get_history(session, batch_id(app)).of_kind("programme_change")) == 1


def test_an_unknown_batch_is_not_found(client: FlaskClient) -> None:
    assert client.get("/batches/99/programme").status_code == 404
