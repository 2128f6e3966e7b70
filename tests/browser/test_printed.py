"""On paper no column is lost: browsers cut off whatever is wider than the sheet."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import PHONE, page_at

MM = 96 / 25.4
SIDES_MM = 26.0
PAPERS = {"A4": 210.0, "Letter": 215.9}
"""Width of the sheet; print.css leaves 13 mm on either side."""

PAGES = (
    "/compare?batch=2&batch=6",
    "/compare?batch=1&batch=2&batch=3&batch=4&batch=5&batch=6",
    "/batches/6",
    "/methods/numbers",
    "/packs",
    "/lots",
    "/house",
)
BEYOND = """() => [...document.querySelectorAll("main :is(th, td, dd, p, li)")]
  .filter((each) => each.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map((each) => each.textContent.trim().slice(0, 60))"""
IN_A_BOX = """() => [...document.querySelectorAll("main .scroll")]
  .filter((each) => each.scrollWidth > each.clientWidth + 1)
  .map((each) => each.getAttribute("aria-label"))"""


@pytest.fixture
def page(browser: Browser) -> Page:
    return page_at(browser, {"width": 800, "height": 1000})


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("path", PAGES)
def test_nothing_printed_is_wider_than_its_sheet(path: str, paper: str, demo: str, page: Page) -> None:
    page.set_viewport_size({"width": int((PAPERS[paper] - SIDES_MM) * MM), "height": 1000})
    page.emulate_media(media="print")
    page.goto(demo + path, wait_until="networkidle")
    assert page.evaluate(BEYOND) == []


def test_six_batches_keep_their_difference_in_sight_on_a_desk(demo: str, page: Page) -> None:
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(demo + PAGES[1], wait_until="networkidle")
    assert page.evaluate(IN_A_BOX) == []


def test_a_comparison_is_read_on_a_phone_without_pushing_it_sideways(browser: Browser, demo: str) -> None:
    page = page_at(browser, PHONE)
    page.goto(demo + PAGES[1], wait_until="networkidle")
    assert page.evaluate(IN_A_BOX) == []
