"""The list of batches, from what was remembered of them, and right without it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.operations.digests import rebuild
from app.store.digests import BatchDigest
from tests.stories import add_fact, add_story, statements
from tests.web.keeping import write
from tests.writing import NOW

pytestmark = pytest.mark.usefixtures("morning")


def test_batches_are_listed_the_newest_first_with_their_ribbons(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=400, title="older")
        add_story(session, hours_ago=30, title="newer")
        rebuild(session, NOW)
    page = client.get("/batches").text
    assert page.index("newer") < page.index("older")
    assert page.count('class="ribbon"') == 2
    assert "going on" in page
    assert "barley · finished" in page


def test_an_empty_list_says_what_to_do_first(client: FlaskClient):
    page = client.get("/batches").text
    assert "No batch yet" in page
    assert 'href="/batches/new"' in page


def test_a_list_without_digests_shows_the_same(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=400)
    before = client.get("/batches").text
    with write(app) as session:
        rebuild(session, NOW)
    assert client.get("/batches").text == before


def test_a_digest_behind_its_facts_is_not_believed(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=400, until=NOW - timedelta(hours=300))
        add_fact(session, batch, "abandoned", {}, id="end", hours_ago=200)
        rebuild(session, NOW)
        session.get(BatchDigest, batch.id).stage = "germination"
        add_fact(session, batch, "note", {"text": "swept"}, id="note", hours_ago=190)
    assert "barley · abandoned" in client.get("/batches").text


def test_older_batches_are_on_the_next_page(app: Flask, client: FlaskClient):
    with write(app) as session:
        for place in range(21):
            add_story(session, hours_ago=20 + place, kinds={"steep_on"})
    assert client.get("/batches").text.count("batch-row") == 20
    older = client.get("/batches?page=2").text
    assert older.count("batch-row") == 1
    assert 'href="/batches?page=1"' in older
    assert "page=3" not in older


@pytest.mark.parametrize("page", ["0", "-3", "x", "99"])
def test_a_page_that_is_not_there_is_no_error(app: Flask, client: FlaskClient, page: str):
    with write(app) as session:
        add_story(session, hours_ago=20, kinds={"steep_on"})
    assert client.get(f"/batches?page={page}").status_code == 200


def test_as_many_statements_for_thirty_batches_as_for_three(app: Flask, client: FlaskClient):
    counts = []
    for place in range(30):
        with write(app) as session:
            add_story(session, hours_ago=20 + place, kinds={"steep_on"})
        if place in (2, 29):
            with statements(app) as seen:
                assert client.get("/batches").status_code == 200
            counts.append(len(seen))
    assert counts[0] == counts[1] <= 8
