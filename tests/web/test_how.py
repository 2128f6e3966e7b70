"""A number explains itself: it is the link to how it came about, and what is told there is that very number."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.config import Settings
from app.judgement.explained import BATCH_KEYS, LOT_KEYS
from app.judgement.measures.batch import KEYS
from app.science.handbook import methods
from app.web.words.method_links import SECTIONS
from tests.how import (
    explanations,
    formulas_that_come_to_another,
    links_of,
    pages_that_show_another,
    parts_that_make_another,
)

PAGES = (
    "/",
    *(f"/batches/{number}" for number in range(1, 9)),
    *(f"/batches/{number}/tub" for number in (7, 8)),
    *(f"/batches/{number}/ahead" for number in (7, 8)),
    "/compare?batch=2&batch=6",
    "/lots",
)


@pytest.fixture
def settings(settings: Settings, demo_file: Path) -> Settings:
    """The house is the demo malthouse."""
    shutil.copy(demo_file, settings.database_file)
    return settings


_links: dict[str, str] = {}
"""The demo is the same for all of these tests, and takes a while to read."""


def figure_links(client: FlaskClient) -> dict[str, str]:
    """Each link from a number in the demo, and the number."""
    if not _links:
        _links.update(_read(client))
    return _links


def _read(client: FlaskClient) -> dict[str, str]:
    lots = re.findall(r'href="(/lots/[0-9a-f-]{20,})"', client.get("/lots").text)
    return links_of(client, (*PAGES, *dict.fromkeys(lots)))


@pytest.mark.usefixtures("morning")
def test_every_number_of_the_demo_leads_to_a_page_that_shows_the_very_same_number(client: FlaskClient) -> None:
    links = figure_links(client)
    assert len(links) > 100
    assert pages_that_show_another(client, links) == {}


@pytest.mark.usefixtures("morning")
def test_a_formula_with_its_values_comes_to_the_number_that_the_page_shows(app: Flask, client: FlaskClient) -> None:
    links = figure_links(client)
    assert sum(len(shown.lines) for _, _, shown in explanations(app, links)) > 100
    assert formulas_that_come_to_another(app, client, links) == {}


@pytest.mark.usefixtures("morning")
def test_the_parts_of_the_uncertainty_make_up_the_interval_that_is_shown(app: Flask, client: FlaskClient) -> None:
    links = figure_links(client)
    assert sum(bool(shown.half_width) for _, _, shown in explanations(app, links)) > 20
    assert parts_that_make_another(app, links) == {}


@pytest.mark.usefixtures("morning")
def test_every_explanation_leads_to_a_formula_or_a_section_and_says_what_it_rests_on(
    app: Flask, client: FlaskClient
) -> None:
    for address, _, shown in explanations(app, figure_links(client)):
        assert shown.method in methods() or shown.method in SECTIONS, address
        assert shown.terms or shown.notes or shown.others, address
        assert all(term.facts or term.mark or term.said for term in shown.terms), address


def test_every_measure_has_an_explanation() -> None:
    assert set(KEYS) <= BATCH_KEYS
    assert {"moisture", "account", "outlook", "kiln", "stop", "step", "watch", "power", "day"} <= BATCH_KEYS
    assert "storage" in LOT_KEYS


@pytest.mark.parametrize("address", ["/batches/1/how/luck", "/lots/none/how/storage", "/facts/none/how"])
def test_what_is_no_figure_has_no_page(client: FlaskClient, address: str) -> None:
    assert client.get(address).status_code == 404


@pytest.mark.usefixtures("morning")
def test_a_figure_that_has_gone_since_leads_back(client: FlaskClient) -> None:
    page = client.get("/batches/2/how/outlook.cast", headers={"Referer": "http://localhost/batches/2"}).text
    assert "no longer there" in page
    assert 'href="/batches/2">← Back' in page


@pytest.mark.usefixtures("morning")
def test_back_leads_to_the_page_that_the_number_stood_on(client: FlaskClient) -> None:
    def back(referrer: str) -> str:
        page = client.get("/batches/7/how/moisture", headers={"Referer": referrer}).text
        return re.findall(r'href="([^"]+)">← Back', page)[0]

    assert back("http://localhost/batches/7/ahead") == "/batches/7/ahead"
    assert back("http://elsewhere/batches/7/ahead") == "/batches/7"


@pytest.mark.usefixtures("morning")
def test_no_page_asks_how(client: FlaskClient) -> None:
    asked = [page for page in PAGES if re.search(r">\s*how\?", client.get(page).text)]
    assert asked == []
