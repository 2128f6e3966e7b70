"""How figures came about at each stage of a batch: in the steep, on the floor, on the kiln, and as malt."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.engine import write_session
from tests.how import (
    formulas_that_come_to_another,
    links_of,
    pages_that_show_another,
    parts_that_make_another,
)
from tests.stories import add_story

PAGES = ("/", "/batches/1", "/batches/1/tub", "/batches/1/ahead", "/batches/1/tests")
HOURS = {3.0: 4, 22.0: 6, 50.0: 8, 120.0: 10, 158.0: 12, 166.0: 16, 174.0: 18, 190.0: 20, 230.0: 24, 400.0: 24}
"""By how long ago it was charged: how many numbers lead on, at the least."""


@pytest.mark.usefixtures("morning")
@pytest.mark.parametrize("hours_ago", HOURS)
def test_each_number_leads_to_itself_and_to_a_formula_that_comes_to_it(
    app: Flask, client: FlaskClient, hours_ago: float
) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=hours_ago)
    links = links_of(client, PAGES)
    assert len(links) >= HOURS[hours_ago]
    assert pages_that_show_another(client, links) == {}
    assert formulas_that_come_to_another(app, client, links) == {}
    assert parts_that_make_another(app, links) == {}


@pytest.mark.usefixtures("morning")
@pytest.mark.parametrize("units", ["metric", "us"])
def test_on_the_kiln_every_figure_of_the_card_is_explained(app: Flask, client: FlaskClient, units: str) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=174.0)
    client.post("/people/units", data={"units": units})
    links = links_of(client, ["/batches/1"])
    kiln = {"above", "ceiling", "ceiling.next", "dry", "least", "work", "break"}
    assert {f"/batches/1/how/kiln.{key}" for key in kiln} <= set(links)
    assert any("/how/stop." in address for address in links)
    assert pages_that_show_another(client, links) == {}


@pytest.mark.usefixtures("morning")
def test_a_tray_says_what_to_stop_at_by_its_own_first_weighing(app: Flask, client: FlaskClient) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=174.0)
    page = client.get("/batches/1/how/stop.tray%201").text
    assert "b + m₀ × (1 − M₀) / (1 − M₁)" in page
    assert "its grain as it was weighed first, net" in page
    assert 'href="/facts/' in page
