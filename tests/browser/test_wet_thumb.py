"""A common reading takes two taps and a number; a slip is asked about; what was kept can be undone at once."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PHONE, Complaints, page_at


@pytest.fixture
def tub(demo: str, browser: Browser, complaints: Complaints) -> Page:
    page = page_at(browser, PHONE)
    complaints.watch(page)
    page.goto(f"{demo}/batches/7/tub")
    return page


def keep(page: Page) -> None:
    page.get_by_role("button", name="Keep", exact=True).tap()


def test_two_taps_and_a_number_keep_a_temperature(tub: Page) -> None:
    tub.locator(".tub-home a.tile[href='#grain_temperature']").tap()
    expect(tub.locator("[name=grain_temperature-value]")).to_be_focused()
    tub.keyboard.type("15,8")
    keep(tub)
    expect(tub.locator(".meaning")).to_contain_text("15.8 °C")
    expect(tub.get_by_text("Saved.")).to_be_visible()


def test_what_was_kept_can_be_undone_at_once(tub: Page) -> None:
    tub.locator(".tub-home a.tile[href='#turned']").tap()
    keep(tub)
    tub.get_by_role("button", name="Undo").tap()
    expect(tub.get_by_role("status")).to_contain_text("struck out")


def test_a_reading_in_another_unit_is_asked_about_before_it_is_kept(tub: Page) -> None:
    tub.locator(".tub-home a.tile[href='#grain_temperature']").tap()
    tub.keyboard.type("59")
    keep(tub)
    question = tub.get_by_role("alert")
    expect(question).to_contain_text("59")
    expect(tub.locator("[name=grain_temperature-value]")).to_have_value("59")
    question.get_by_role("button").first.tap()
    expect(tub.locator(".meaning")).to_contain_text("15.0 °C")


def test_there_is_a_way_back_from_a_refused_entry(tub: Page) -> None:
    tub.locator(".tub-home a.tile[href='#grain_temperature']").tap()
    tub.keyboard.type("warm")
    keep(tub)
    expect(tub.get_by_role("alert")).to_contain_text("is not a number")
    tub.locator("a.back:visible").tap()
    expect(tub.locator(".tub-home a.tile[href='#growth_count']")).to_be_visible()


def test_kernels_are_counted_by_tapping_their_pictures(tub: Page) -> None:
    tub.locator(".tub-home a.tile[href='#growth_count']").tap()
    for name, taps in (("half_to_three_quarters", 3), ("three_quarters_to_full", 1)):
        for _ in range(taps):
            tub.locator(f"[data-tally=growth_count-{name}] .kernel-tap").tap()
    expect(tub.locator(".tally-summary")).to_contain_text("4 judged · mean 0.69")
    tub.get_by_role("button", name="Undo last").tap()
    expect(tub.locator(".tally-summary")).to_contain_text("3 judged")


def test_it_works_without_script(demo: str, browser: Browser) -> None:
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{demo}/batches/8/tub")
    page.locator(".tub-home a.tile[href='#chit_count']").click()
    page.locator("[name=chit_count-chitted]").fill("12")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator(".meaning")).to_contain_text("12 %")
    context.close()


def test_go_on_the_keyboard_keeps_the_entry_that_is_open(tub: Page) -> None:
    tub.locator(".tub-home a.tile[href='#grain_temperature']").tap()
    tub.keyboard.type("15,6")
    expect(tub.locator("[name=grain_temperature-value]")).to_have_attribute("enterkeyhint", "go")
    tub.keyboard.press("Enter")
    expect(tub.locator(".meaning")).to_contain_text("Grain temperature 15.6 °C")


def test_the_number_is_ready_and_digits_take_the_place_of_a_preset_count(tub: Page) -> None:
    tub.goto(tub.url.partition("#")[0] + "#everything")
    tub.locator("a.tile[href='#chit_count']:visible").first.tap()
    expect(tub.locator("[name=chit_count-chitted]")).to_be_focused()
    preset = tub.locator("[name=chit_count-looked_at]")
    expect(preset).to_have_value("100")
    preset.tap()
    tub.wait_for_function("() => document.activeElement.selectionStart === 0")
    tub.keyboard.type("50")
    expect(preset).to_have_value("50")


def test_a_weight_is_focused_before_the_name_of_its_tray(tub: Page) -> None:
    tub.goto(tub.url.partition("#")[0] + "#everything")
    tub.locator("a.tile[href='#tray']:visible").first.tap()
    expect(tub.locator("[name=tray-gross]")).to_be_focused()
