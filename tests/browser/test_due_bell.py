"""The bell: off until switched on, once for each step that falls due, never in quiet hours, always for act now.

The browser's clock is ours; sound and vibration are counted instead of made.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PHONE, Complaints
from tests.browser.outbox_house import log

COUNTED = """
window.heard = [];
class Silence {
  currentTime = 0; state = "running"; destination = {};
  resume() {}
  createOscillator() {
    window.heard.push("tone");
    return { frequency: {}, connect: (next) => next, start() {}, stop() {} };
  }
  createGain() {
    return { gain: { setValueAtTime() {}, exponentialRampToValueAtTime() {} }, connect: (next) => next };
  }
}
window.AudioContext = Silence;
const shake = (pattern) => window.heard.push(`shake ${pattern.length}`) > 0;
Object.defineProperty(navigator, "vibrate", { value: shake });
"""
RING, ALARM = ["shake 3", "tone", "tone"], ["shake 5", "tone", "tone", "tone", "tone"]


@pytest.fixture
def page(browser: Browser, complaints: Complaints) -> Iterator[Page]:
    context = browser.new_context(viewport=PHONE, has_touch=True)
    context.add_init_script(COUNTED)
    page = context.new_page()
    complaints.watch(page)
    yield page
    context.close()


def heard(page: Page) -> list[str]:
    found: list[str] = page.evaluate("window.heard.splice(0)")
    return found


def due_at(page: Page) -> datetime:
    return datetime.fromisoformat(str(page.locator(".next").first.get_attribute("data-due")))


def open_before_it_is_due(page: Page, address: str, **before: float) -> datetime:
    """Open the page so long before its next step is due, by the browser's clock."""
    page.goto(address)
    at = due_at(page)
    page.clock.install(time=at - timedelta(**before))
    page.goto(address)
    assert due_at(page) == at
    return at


def switch_on(page: Page) -> None:
    page.get_by_role("button", name="Ring when a step is due").tap()
    expect(page.get_by_role("button", name="Bell is on")).to_have_attribute("aria-pressed", "true")
    assert heard(page) == RING


def never_quiet(page: Page, house: str) -> None:
    set_quiet(page, house, "00:00", "00:00")


def set_quiet(page: Page, house: str, starts: str, ends: str) -> None:
    page.goto(f"{house}/people")
    page.get_by_label("From", exact=True).fill(starts)
    page.get_by_label("Until", exact=True).fill(ends)
    page.locator("form[action='/people/quiet']").get_by_role("button", name="Use these").tap()
    expect(page.get_by_text("The quiet hours of this screen were changed.")).to_be_visible()


def test_it_rings_once_when_the_step_falls_due(demo: str, page: Page) -> None:
    never_quiet(page, demo)
    open_before_it_is_due(page, f"{demo}/batches/7/tub", minutes=2)
    switch_on(page)
    page.clock.run_for(110_000)
    assert heard(page) == []
    page.clock.run_for(20_000)
    assert heard(page) == RING
    page.clock.run_for(300_000)
    assert heard(page) == []


def test_it_is_silent_until_it_is_switched_on_and_once_it_is_switched_off(demo: str, page: Page) -> None:
    never_quiet(page, demo)
    open_before_it_is_due(page, f"{demo}/batches/7/tub", minutes=1)
    page.clock.run_for(50_000)
    switch_on(page)
    page.get_by_role("button", name="Bell is on").tap()
    page.clock.run_for(120_000)
    assert heard(page) == []


def test_the_switch_is_remembered_on_this_screen(demo: str, page: Page) -> None:
    never_quiet(page, demo)
    open_before_it_is_due(page, f"{demo}/batches/7/tub", minutes=2)
    switch_on(page)
    page.goto(f"{demo}/people")
    expect(page.get_by_role("button", name="Bell is on")).to_be_visible()


def test_what_was_overdue_when_the_page_was_opened_does_not_ring(demo: str, page: Page) -> None:
    never_quiet(page, demo)
    open_before_it_is_due(page, f"{demo}/batches/7/tub", minutes=-30)
    switch_on(page)
    page.clock.run_for(60_000)
    assert heard(page) == []


def test_in_quiet_hours_a_step_makes_no_sound(demo: str, page: Page) -> None:
    set_quiet(page, demo, "00:00", "23:59")
    open_before_it_is_due(page, f"{demo}/batches/7/tub", minutes=1)
    switch_on(page)
    page.clock.run_for(180_000)
    assert heard(page) == []


def test_act_now_is_heard_once_even_in_quiet_hours(demo: str, page: Page) -> None:
    set_quiet(page, demo, "00:00", "23:59")
    page.goto(f"{demo}/batches/8/tub")
    log(page, "co2_room", value="20000")
    expect(page.get_by_text("Saved").first).to_be_visible()
    page.clock.install()
    page.goto(f"{demo}/batches/8/tub")
    assert page.locator("[data-loud]").count() >= 1
    switch_on(page)
    page.clock.run_for(10_000)
    assert heard(page) == ALARM
    page.reload()
    page.locator("h1").tap(position={"x": 2, "y": 2}, trial=True)
    page.clock.run_for(60_000)
    assert heard(page) == []


def test_the_home_page_rings_for_every_batch_by_its_own_name(demo: str, page: Page) -> None:
    never_quiet(page, demo)
    page.goto(demo)
    steps = {str(each.get_attribute("data-due")) for each in page.locator(".live-batch .next[data-due]").all()}
    first = min(datetime.fromisoformat(each) for each in steps)
    page.clock.install(time=first - timedelta(minutes=1))
    page.evaluate("localStorage.setItem('bell', 'on')")
    page.goto(demo)
    page.get_by_role("heading", level=1).tap()
    heard(page)
    page.clock.run_for(90_000)
    assert heard(page)[:1] in (["shake 3"], ["shake 5"])
