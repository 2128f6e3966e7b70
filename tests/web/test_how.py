"""A number explains itself: it is the link to how it came about, and what is told there is that very number."""

from __future__ import annotations

import html
import math
import re
import shutil
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from urllib.parse import unquote

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.config import Settings
from app.judgement.explained import BATCH_KEYS, LOT_KEYS, Explanation, of_batch, of_lot
from app.judgement.explained.explanation import in_all
from app.judgement.measures.batch import KEYS
from app.judgement.wording import Words
from app.science.handbook import methods
from app.store.batches import get_batch
from app.store.engine import read_session
from app.store.history import get_history
from app.store.lots import get_lot, load_lot_stories
from app.web.request.moment import zone
from app.web.words.method_links import SECTIONS
from tests.writing import NOW

PAGES = (
    "/",
    *(f"/batches/{number}" for number in range(1, 9)),
    *(f"/batches/{number}/tub" for number in (7, 8)),
    *(f"/batches/{number}/ahead" for number in (7, 8)),
    "/compare?batch=2&batch=6",
    "/lots",
)
NUMBER = re.compile(r"\d+(?:\.\d+)?")
LINK = re.compile(r'<a class="how" href="([^"]+)" aria-label="how ([^"]*) came about">(.*?)</a>', re.DOTALL)


@pytest.fixture
def settings(settings: Settings, demo_file: Path) -> Settings:
    """The house is the demo malthouse."""
    shutil.copy(demo_file, settings.database_file)
    return settings


def plain(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", "", text)).replace("\u00a0", " ").split())


_links: dict[str, str] = {}
"""The demo is the same for all of these tests, and takes a while to read."""


def figure_links(client: FlaskClient) -> dict[str, str]:
    """Each link from a number in the demo, and the number."""
    if not _links:
        _links.update(_read(client))
    return _links


def _read(client: FlaskClient) -> dict[str, str]:
    lots = re.findall(r'href="(/lots/[0-9a-f-]{20,})"', client.get("/lots").text)
    found: dict[str, str] = {}
    for page in (*PAGES, *dict.fromkeys(lots)):
        for address, name, said in LINK.findall(client.get(page).text):
            assert plain(name) == plain(said), (page, address)
            found[html.unescape(address)] = plain(said)
    return found


@pytest.mark.usefixtures("morning")
def test_every_number_of_the_demo_leads_to_a_page_that_shows_the_very_same_number(client: FlaskClient) -> None:
    links = figure_links(client)
    assert len(links) > 100
    wrong = {}
    for address, said in links.items():
        answer = client.get(address)
        if answer.status_code != 200 or "no longer there" in answer.text:
            wrong[address] = f"{answer.status_code} gone"
            continue
        page = plain(answer.text.partition("<main")[2])
        if address.startswith("/facts/"):
            # Beside it may stand the other unit, or what it means.
            if not re.search(rf"(?<!\d){re.escape(NUMBER.findall(said)[0])}", page):
                wrong[address] = said
        elif said not in page:
            wrong[address] = said
    assert wrong == {}


def explanations(app: Flask, links: dict[str, str]) -> Iterator[tuple[str, str, Explanation]]:
    """Of each link to a figure of a batch or a lot: its address, what the page says, and the explanation."""
    with app.test_request_context(), read_session(app.extensions["engine"]) as session:
        words = Words(zone=zone(), now=NOW)
        histories = {}
        for address, said in links.items():
            _, of, name, _, key = [*address.split("/", 4), ""][:5]
            if of == "batches":
                if name not in histories:
                    histories[name] = get_history(session, get_batch(session, int(name)).id)
                shown = of_batch(histories[name], NOW, words, unquote(key))
            elif of == "lots":
                shown = of_lot(load_lot_stories(session, [get_lot(session, name)])[0].info, NOW, words, key)
            else:
                continue
            assert shown is not None, address
            yield address, said, shown


def worked_out(filled: str) -> float:
    """What a formula with its values comes to."""
    bare = re.sub(r"\u00a0[^\s()]+", "", filled)
    for ours, python in (("×", "*"), ("−", "-"), ("^", "**"), ("√", "sqrt"), ("ln", "log")):
        bare = bare.replace(ours, python)
    assert re.fullmatch(r"(?:[0-9.+*/() -]|sqrt|log|exp)+", bare), bare
    return float(eval(bare, {"__builtins__": {}, "sqrt": math.sqrt, "log": math.log, "exp": math.exp}))


def is_said(shown: Explanation, said: str) -> bool:
    """Whether a text has the value of an explanation in it, as exactly as the text says it."""
    if isinstance(shown.value, datetime):
        words = Words(zone=zone(), now=NOW)
        said_as = (words.clock(shown.value), *(words.around(shown.value, is_floor=each) for each in (True, False)))
        return any(each in said for each in said_as)
    assert shown.value is not None
    if shown.unit in ("colour", "diastatic_power"):
        return Words().quantity(shown.unit, shown.value) in said
    scales = {"wb": (100.0,), "fraction": (100.0,), "kg": (1.0, 1000.0), "h": (1.0, 60.0)}.get(shown.unit, (1.0,))
    for number in NUMBER.findall(said):
        whole, _, decimals = number.partition(".")
        places = len(decimals) if decimals else -(len(whole) - len(whole.rstrip("0"))) if float(whole) else 0
        if any(abs(float(number) - abs(scale * shown.value)) <= 0.51 * 10.0**-places for scale in scales):
            return True
    return False


@pytest.mark.usefixtures("morning")
def test_a_formula_with_its_values_comes_to_the_number_that_the_page_shows(app: Flask, client: FlaskClient) -> None:
    lines, wrong = 0, {}
    for address, said, shown in explanations(app, figure_links(client)):
        for line in shown.lines:
            filled, lines = shown.filled(line), lines + 1
            off = abs(worked_out(filled) - line.value)
            if off > 1e-3 * abs(line.value) + 1e-4 * max(map(float, NUMBER.findall(filled)), default=1.0):
                wrong[address, line.symbol] = f"{filled} = {worked_out(filled)}, not {line.value}"
        if "/how/step." in address:
            # There the words that lead to it are why it is due, and not when.
            said = plain(client.get(address).text.partition("<main")[2].partition("</header>")[0])
        if shown.value is not None and NUMBER.search(said) and not is_said(shown, said):
            wrong[address, ""] = f"{said}, and not {shown.value} {shown.unit}"
    assert lines > 100
    assert wrong == {}


@pytest.mark.usefixtures("morning")
def test_the_parts_of_the_uncertainty_make_up_the_interval_that_is_shown(app: Flask, client: FlaskClient) -> None:
    told = [(address, shown) for address, _, shown in explanations(app, figure_links(client)) if shown.half_width]
    assert len(told) > 20
    off = {address: (in_all(shown.shares), shown.half_width) for address, shown in told
           if not math.isclose(in_all(shown.shares), shown.half_width or 0.0, rel_tol=0.02)}  # fmt: skip
    assert off == {}


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
