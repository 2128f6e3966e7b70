"""The label of a sack or jar, with a code that opens its batch; none for what is held."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.engine import write_session
from tests.stories import add_story
from tests.web.test_packs import fill, finished

pytestmark = pytest.mark.usefixtures("morning")


@pytest.fixture
def jar(app: Flask) -> None:
    fill(app, finished(app))


def label(client: FlaskClient) -> str:
    page = client.get("/packs/jar-3/label").text
    found = re.search(r'<section class="label".*?</section>', page, re.DOTALL)
    return found[0] if found else ""


@pytest.mark.usefixtures("jar")
def test_it_tells_what_one_must_know_of_the_malt(client: FlaskClient):
    text = label(client)
    for said in ("Jar 3", "Malt of barley", "Barley, pale base malt", "Batch 1", "packed 14 Mar 2026", "4.5\u00a0%"):
        assert said in text


@pytest.mark.usefixtures("jar")
def test_it_says_that_malt_is_not_ready_to_eat_and_holds_gluten(client: FlaskClient):
    assert "Not ready to eat" in label(client)
    assert "Contains gluten: barley." in label(client)


@pytest.mark.usefixtures("jar")
def test_other_grain_malted_in_the_house_is_named(app: Flask, client: FlaskClient):
    assert "also malts" not in label(client)
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=20, key="rye")
    assert "Malted in a house that also malts rye." in label(client)


@pytest.mark.usefixtures("jar")
def test_its_code_opens_the_batch_at_the_address_by_which_the_house_is_called(client: FlaskClient):
    page = client.get("/packs/jar-3/label").text
    assert "Opens batch 1" in label(client)
    assert "http://localhost/batches/1" in page
    assert "Only this computer knows that address" in page


@pytest.mark.usefixtures("jar")
def test_its_drawing_has_no_style_of_its_own(client: FlaskClient):
    drawn = re.search(r"<svg.*?</svg>", label(client), re.DOTALL)
    assert drawn is not None
    assert "style" not in drawn[0]
    assert 'viewBox="0 0 ' in drawn[0]


def test_what_is_held_gets_none_and_says_why(app: Flask, client: FlaskClient):
    fill(app, finished(app, is_declared=False))
    page = client.get("/packs/jar-3/label").text
    assert label(client) == ""
    assert "Held: no label" in page
    assert "Not declared untreated and for food" in page
