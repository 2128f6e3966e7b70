"""Methods and sources: every formula on its page, and every number on a screen with its way there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.explained.facts import method_of
from app.judgement.facts.kinds import KINDS
from app.judgement.programmes.programme import load_builtin
from app.judgement.programmes.sources import marked
from app.science.handbook import MARK_WORDS, chapters, methods
from app.store.engine import write_session
from app.web.words import method_links
from app.web.words.method_links import method_url
from tests.pages import Tub
from tests.stories import add_story


@pytest.fixture
def pages(client: FlaskClient) -> dict[str, str]:
    paths = ("/methods", "/methods/numbers", *(f"/methods/{chapter.key}" for chapter in chapters()))
    return {path: client.get(path).text for path in paths}


def ids(html: str) -> list[str]:
    return re.findall(r'\sid="([^"]+)"', html)


def test_every_formula_has_its_anchor_once_on_the_page_of_its_chapter(pages: dict[str, str]) -> None:
    found = {path: ids(page) for path, page in pages.items()}
    wrong = [anchor for anchor, each in methods().items() if found[f"/methods/{each.chapter}"].count(anchor) != 1]
    assert wrong == []


def test_an_old_link_to_the_one_page_of_all_formulas_leads_on(pages: dict[str, str]) -> None:
    page = pages["/methods"]
    for anchor, each in methods().items():
        line = page[page.index(f'id="{anchor}"') :].partition("</li>")[0]
        assert f'href="/methods/{each.chapter}#{anchor}"' in line


def test_what_is_no_chapter_has_no_page(client: FlaskClient) -> None:
    assert client.get("/methods/luck").status_code == 404


def test_the_page_says_of_the_backtest_what_its_tables_say(pages: dict[str, str]) -> None:
    tables = (Path(__file__).parents[2] / "docs" / "methods.md").read_text(encoding="utf-8")
    said = pages["/methods"].partition('id="backtest"')[2].partition("</section>")[0].replace("&nbsp;", " ")
    for name in ("Uptake by the plan", "Uptake as it is", "Growth", "Drying"):
        table = tables.partition(f"### {name}: all of these")[2].partition("###")[0]
        held = [int(share) for share in re.findall(r"\| (\d+) % \|", table)]
        assert len(held) == 4
        assert f"{name[0].lower()}{name[1:]} {min(held)}–{max(held)} %" in said


def test_an_entry_shows_source_mark_and_check_in_words(pages: dict[str, str]) -> None:
    page = pages["/methods/proportions"]
    entry = page[page.index('id="proportions.wilson_interval"') :].split("</article>")[0]
    assert "Wilson 1927, J. Am. Stat. Assoc. 22:209 (published)" in entry
    assert "95 of 100 gives 88.82 to 97.85 %" in entry
    assert f'<span class="badge">{MARK_WORDS["P"]}</span>' in entry
    assert "[P]" not in page


def test_an_entry_leads_to_the_workings_that_use_it(pages: dict[str, str]) -> None:
    page = pages["/methods/moisture"]
    entry = page[page.index('id="moisture.gross_to_stop_at_kg"') :].split("</article>")[0]
    assert 'href="/workings/tray-stop-weight"' in entry


def test_a_formula_that_is_named_is_a_link(pages: dict[str, str]) -> None:
    page = pages["/methods/drying"]
    entry = page[page.index('id="drying.lewis_moisture_ratio"') :].split("</article>")[0]
    assert '<a href="/methods/drying#drying.lewis_rate_per_s"><code>lewis_rate_per_s</code></a>' in entry


@pytest.mark.parametrize("path", ["/methods", "/methods/moisture", "/methods/numbers", "/workings"])
def test_links_within_the_pages_lead_somewhere(path: str, client: FlaskClient, pages: dict[str, str]) -> None:
    html = client.get(path).text
    anchors = {where: set(ids(page)) for where, page in pages.items()}
    for where, fragment in re.findall(r'href="(/methods(?:/[a-z_]+)?)?#([^"]+)"', html):
        target = anchors[where] if where else set(ids(html))
        assert fragment in target, (where, fragment)
    for address in set(re.findall(r'href="(/workings/[^"]+)"', html)):
        assert client.get(address).status_code == 200, address


@pytest.mark.parametrize("kind", [f"kind.{kind}" for kind in KINDS])
def test_every_entry_leads_to_a_formula_or_convention(kind: str) -> None:
    url = method_url(method_of(kind.removeprefix("kind.")))
    assert url is not None
    path, _, anchor = url.partition("#")
    assert anchor in (method_links.SECTIONS if path == "/methods/numbers" else methods())


def test_sections_that_numbers_lead_to_are_there(pages: dict[str, str]) -> None:
    assert set(method_links.SECTIONS) <= set(ids(pages["/methods/numbers"]))


def test_no_way_leads_to_what_is_no_formula_here() -> None:
    assert [method_url(place) for place in ("measure_of_luck", "moisture.miracle", "")] == [None, None, None]


def test_the_convention_of_plus_minus_and_every_mark_are_explained(pages: dict[str, str]) -> None:
    page = pages["/methods/numbers"]
    assert "95 times in 100" in page
    assert all(word in page for word in MARK_WORDS.values())


def test_the_marks_of_a_programme_are_counted(pages: dict[str, str]) -> None:
    programme = load_builtin()["barley_pale"]
    row = pages["/methods/numbers"].split(f'href="/programmes/{programme.digest}"')[1].split("</tr>")[0]
    counted = sum(int(cell) for cell in re.findall(r'<td class="n">(\d+)</td>', row))
    assert counted == len(marked(programme)) > 60


def add_finished(app: Flask, *hours: float) -> None:
    with write_session(app.extensions["engine"]) as session:
        for each in hours:
            add_story(session, hours_ago=each)


def how_links(html: str) -> set[str]:
    return set(re.findall(r'<a class="how" href="([^"]+)" aria-label="how [^"]+ came about"', html))


def test_the_measures_of_a_batch_and_its_account_have_links(app: Flask, client: FlaskClient, morning: None) -> None:
    add_finished(app, 400)
    found = how_links(client.get("/batches/1").text)
    wanted = ("malting_loss", "account.remainder", "cast_moisture", "steep_h")
    assert {f"/batches/1/how/{key}" for key in wanted} <= found


def test_each_number_of_a_comparison_has_its_link(app: Flask, client: FlaskClient, morning: None) -> None:
    add_finished(app, 400, 700)
    found = how_links(client.get("/compare?batch=1&batch=2").text)
    assert {f"/batches/{number}/how/acrospire" for number in (1, 2)} <= found
    assert len(found) > 20


def test_what_an_entry_means_leads_to_how_that_came_about(tub: Tub, client: FlaskClient) -> None:
    answer = tub.keep("chit_count", {"looked_at": "100", "chitted": "80"})
    (address,) = [each for each in how_links(client.get(answer.headers["Location"]).text) if each.startswith("/facts/")]
    page = client.get(address).text
    assert "80 / 100" in page
    assert "Wilson 1927" in page


@pytest.mark.parametrize(("path", "text"), [("/", 'href="/methods"'), ("/", 'href="/workings"')])
def test_every_page_leads_there(path: str, text: str, client: FlaskClient) -> None:
    assert text in client.get(path).text
