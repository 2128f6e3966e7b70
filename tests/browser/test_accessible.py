"""axe-core finds nothing serious on any page, in light and in dark, on a phone and on a desk."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from axe_playwright_python.sync_playwright import Axe
from flask import Flask
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import DESK, PHONE, Complaints

PAGES = (
    "/",
    "/batches",
    "/batches?page=2",
    "/batches/new",
    "/batches/6",
    "/batches/7",
    "/batches/7/tub",
    "/batches/7/tub#everything",
    "/batches/7/tub#growth_count",
    "/batches/7/tub#grain_temperature",
    "/batches/7/tub#inspection",
    "/batches/7/split",
    "/batches/7/merge",
    "/batches/6/pack",
    "/batches/roast",
    "/batches/2/tests",
    "/batches/2/tests/extract_mash",
    "/batches/7/programme",
    "/batches/7/ahead",
    "/batches/8/power-cut",
    "/batches/7/how/moisture",
    "/batches/2/how/malting_loss",
    "/plan",
    "/plan?up=22:00",
    "/packs",
    "/lots",
    "/lots/new",
    "/compare",
    "/compare?batch=2&batch=6",
    "/programmes",
    "/people",
    "/calendar",
    "/devices",
    "/pair",
    "/house",
    "/house/entries/calibrated",
    "/house/entries/co2_room",
    "/data",
    "/data/unsent",
    "/offline",
    "/methods",
    "/methods/moisture",
    "/methods/numbers",
    "/workings",
    "/workings/moisture-from-weight?mass=160&initial=100&moisture=12&loss=1",
    "/workings/air-in-the-room?mass=500&moisture=12&loss=1.1&room=40&changes=0.3&hours=12&temperature=15",
    "/nowhere",
)
FOUND = (
    ("/lots", "main a[href^='/lots/']:not([href$='new'])"),
    ("/programmes", "main a[href^='/prog']"),
    ("/packs", "main a[href^='/packs/']"),
)
FURTHER = "main a:is([href$='/edit'], [href$='/correct'], [href$='/dispatch'], [href$='/label'], [href$='/sheet'])"
NO_PAGES = {"/changes", "/data/backup", "/data/export", "/health", "/sw.js", "/sync/hello"}
"""What no person reads: it is fetched by a script or kept as a file."""

OF_COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
SERIOUS = ("serious", "critical")
CHARTS_FOLLOW = """(scheme) => [...document.querySelectorAll(".chart .xtick text")].every(
  (text) => parseInt(getComputedStyle(text).fill.slice(4)) > 128 === (scheme === "dark")
)"""
"""Whether the charts are drawn in the ink of a scheme: they are drawn anew a moment after the page has changed."""


@dataclass(frozen=True)
class Walk:
    """One window for all pages, and what it complained of."""

    page: Page
    complaints: Complaints


@pytest.fixture(scope="module")
def walk(browser: Browser) -> Iterator[Walk]:
    context = browser.new_context(viewport=PHONE, reduced_motion="reduce")
    walk = Walk(context.new_page(), Complaints())
    walk.complaints.watch(walk.page)
    yield walk
    context.close()


@pytest.fixture
def page(walk: Walk) -> Page:
    walk.page.set_viewport_size(PHONE)
    return walk.page


def serious_violations(page: Page) -> list[str]:
    """What axe-core finds on the page as it stands in light; and in dark, which changes colours and nothing else."""
    found = []
    for scheme, options in (
        ("light", {}),
        ("dark", OF_COLOURS),
    ):
        page.emulate_media(color_scheme=scheme)
        page.wait_for_function(CHARTS_FOLLOW, arg=scheme)
        found += [
            f"{scheme}: {each['id']}: {node['target']} {node['failureSummary']}"
            for each in Axe().run(page, options={"resultTypes": ["violations"], **options}).response["violations"]
            if each["impact"] in SERIOUS
            for node in each["nodes"]
        ]
    return found


def test_every_page_with_one_address_is_looked_at(app: Flask) -> None:
    rules = {rule.rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ()) and not rule.arguments}
    assert rules - NO_PAGES - set(PAGES) == set()


@pytest.mark.parametrize("path", PAGES)
def test_a_page_loads_without_a_complaint_and_has_no_serious_violation(path: str, demo: str, walk: Walk) -> None:
    page = walk.page
    page.goto("about:blank")
    walk.complaints.found.clear()
    page.set_viewport_size(DESK)
    page.goto(demo + path, wait_until="networkidle")
    if path != "/nowhere":
        assert walk.complaints.found == []
    page.set_viewport_size(DESK if path.startswith("/compare") else PHONE)
    if page.locator("[data-chart]").count():
        expect(page.locator(".js-plotly-plot").first).to_be_visible()
    assert serious_violations(page) == []


def test_pages_found_by_their_links_have_no_serious_violation(demo: str, page: Page) -> None:
    for start, link in FOUND:
        page.goto(demo + start)
        page.goto(demo + str(page.locator(link).first.get_attribute("href")))
        assert serious_violations(page) == []
        more = {str(each.get_attribute("href")) for each in page.locator(FURTHER).all()}
        for path in sorted(more)[:3]:
            page.goto(demo + path)
            assert serious_violations(page) == []


def test_a_refused_form_and_a_question_have_no_serious_violation(demo: str, page: Page) -> None:
    for typed in ("warm", "149"):
        page.goto(f"{demo}/batches/7/tub#grain_temperature")
        page.locator("[name=grain_temperature-value]").fill(typed)
        page.get_by_role("button", name="Keep", exact=True).click()
        expect(page.get_by_role("alert")).to_be_visible()
        assert serious_violations(page) == []


def test_the_address_of_a_calendar_has_no_serious_violation_where_it_is_shown(demo: str, page: Page) -> None:
    page.goto(f"{demo}/calendar")
    page.get_by_label("Name").fill("Nora’s phone")
    page.get_by_role("button", name="Make the address").click()
    expect(page.get_by_role("heading", name="The address for Nora’s phone")).to_be_visible()
    assert serious_violations(page) == []
