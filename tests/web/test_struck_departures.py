"""A part that left a batch is of both its ends: what strikes it out or moves it is news for the batch it came from."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.operations.digests import refresh_digests
from app.operations.facts import withdraw_fact
from app.store.batches import get_batch
from app.store.digests import get_digests
from app.store.engine import read_session, write_session
from app.store.facts import find_fact
from app.store.history import get_history
from app.web.summary.batch_rows import is_fresh
from tests.pages import forms_of
from tests.stories import add_story
from tests.writing import NOW, add_batch, iso

pytestmark = pytest.mark.usefixtures("morning")


def test_a_split_that_is_struck_out_leaves_no_fresh_digest_behind(app: Flask) -> None:
    with write_session(app.extensions["engine"]) as session:
        batch_id = add_story(session, hours_ago=400).id
        history = get_history(session, batch_id)
        assert history is not None
        at = iso(history.of_kind("cast")[0].at + timedelta(hours=2))
        typed = {"source": f"batch:{batch_id}", "target": "batch:c", "as_is": "12", "moisture": "44"}
        add_batch(session, "c", {"id": "split-1", "kind": "split", "at": at, "typed": typed, "method": "measured"})
        refresh_digests(session, [batch_id], NOW)
        withdraw_fact(session, find_fact(session, "split-1"), new_id="w-1", now=NOW)
    with read_session(app.extensions["engine"]) as session:
        batch = get_batch(session, 1)
        assert batch is not None
        assert not is_fresh(batch, get_digests(session, [batch_id])[batch_id])


@pytest.mark.parametrize("page", ["/batches/1/pack", "/batches/roast", "/batches/new"])
def test_an_identity_that_is_blank_is_refused_and_breaks_nothing(app: Flask, client: FlaskClient, page: str) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=400)
    form = [form for form in forms_of(client.get(page).text) if form.action.startswith("/batches")][-1]
    answer = client.post(form.action, data=dict(form.filled(as_is_0="2")) | {"id": " ", "name": "Jar"})
    assert answer.status_code == 422
