"""What harms somebody is told at once without a connection too, and is seen by whoever has the same batch open."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PHONE, page_at
from tests.browser.outbox_house import House, log, tub

LEAVE = "Leave now, open everything, and don't go in alone."


@pytest.fixture
def page(house: House, browser: Browser) -> Iterator[Page]:
    page = tub(page_at(browser, PHONE), house)
    yield page
    page.context.close()


@pytest.mark.parametrize(
    ("kind", "typed", "status", "first"),
    [
        ("co2_room", {"value": "20000", "value_unit": "ppm"}, "act", LEAVE),
        ("co2_room", {"value": "2", "value_unit": "percent_co2"}, "act", LEAVE),
        ("co2_room", {"value": "6000", "value_unit": "ppm"}, "caution", "Open doors and windows before you stay."),
        ("co2_room", {"value": "800", "value_unit": "ppm"}, "fine", "Kept on this phone"),
        ("inspection", {"mould": "yes"}, "act", "Mould: don’t turn, sniff or shake it"),
        ("inspection", {"mould": "no", "smell": "musty"}, "act", "Smells musty"),
        ("inspection", {"mould": "no", "ergot": "40"}, "caution", "Ergot: pick it all out, and weigh it"),
        ("inspection", {"mould": "no"}, "fine", "Kept on this phone"),
        ("co_room", {"value": "150"}, "act", "Out now, everybody."),
        ("co_room", {"value": "25"}, "caution", "Fuel off, open doors and windows"),
    ],
)
def test_without_a_connection_the_phone_itself_says_what_to_do(
    page: Page, kind: str, typed: dict[str, str], status: str, first: str
) -> None:
    page.context.set_offline(True)
    log(page, kind, **typed)
    expect(page.locator(".outbox-list li")).to_have_count(1)
    expect(page.locator("#kept")).to_contain_text("It is judged when it is sent")
    expect(page.locator("#kept .notice p").first).to_contain_text(first)
    expect(page.locator("#kept .notice")).to_have_class(f"notice notice--{status}")


def test_that_it_was_sent_meanwhile_takes_nothing_away_from_what_to_do(house: House, page: Page) -> None:
    page.context.set_offline(True)
    log(page, "co2_room", value="20000")
    expect(page.locator("#kept")).to_contain_text("It is judged when it is sent")
    page.context.set_offline(False)
    expect(page.locator(".outbox")).to_be_hidden()
    assert [fact.kind for fact in house.facts()] == ["co2_room"]
    expect(page.locator("#kept .notice p").first).to_contain_text(LEAVE)


def test_whoever_has_the_batch_open_sees_what_to_do_unfolded(house: House, page: Page, browser: Browser) -> None:
    other = tub(page_at(browser, PHONE), house)
    log(page, "co2_room", value="20000")
    expect(page.get_by_label("What it means").locator(".meaning")).to_contain_text(LEAVE)
    expect(other.locator(".next").get_by_text(LEAVE.rstrip(".")).first).to_be_visible()
    other.context.close()


def test_a_correction_to_gas_is_answered_with_what_to_do(house: House, page: Page) -> None:
    log(page, "co2_room", value="800")
    page.wait_for_url("**kept=*")
    page.goto(f"{house.address}/facts/{house.facts()[0].id}/correct")
    page.locator("[name=value]").fill("20000")
    page.get_by_role("button", name="Keep correction").click()
    page.wait_for_url("**/batches/1*")
    expect(page.locator("#kept .notice--act")).to_contain_text(LEAVE)


def test_one_tap_answers_all_that_is_asked_as_clean(house: House, page: Page) -> None:
    page.goto(f"{page.url.split('#')[0]}#inspection")
    page.get_by_role("button", name="All of this is clean").click()
    page.locator("button[name=kind][value=inspection]").click()
    expect(page.get_by_label("What it means").locator(".meaning")).to_contain_text("Looked, clean")
    (look,) = house.facts()
    assert "mould" in look.typed
    assert len(look.typed) > 2
