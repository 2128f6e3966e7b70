"""A lot taken from intake to outturn through the screens of a phone, then looked at on a desk."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import DESK, PHONE, Complaints, page_at

ZONE = ZoneInfo("Europe/Dublin")
HOURS_AGO = 170.0


class Walk:
    """One maltster's phone: takes a lot in, charges a batch of it, and says at the tub what happened and when."""

    def __init__(self, page: Page, address: str) -> None:
        self.page, self.address = page, address
        self.begins = datetime.now(UTC) - timedelta(hours=HOURS_AGO)

    def clock(self, hour: float) -> str:
        return (self.begins + timedelta(hours=hour)).astimezone(ZONE).strftime("%Y-%m-%dT%H:%M")

    def take_lot_in(self, name: str) -> None:
        self.page.goto(f"{self.address}/lots/new")
        self.page.get_by_label("Name", exact=True).fill(name)
        self.pick("species", "barley")
        self.page.locator("[name=net]").fill("250")
        self.page.locator("[name=received_on]").fill(self.clock(-48)[:10])
        self.page.locator("[name=moisture]").fill("12,4")
        self.pick("moisture_known", "kitchen_oven")
        self.pick("untreated", "yes")
        self.pick("for_food", "yes")
        self.page.locator("[name=by]").fill("Sorrel Quay")
        self.page.locator("[name=ground]").fill("her own field, seen in writing")
        self.page.locator("main form button[type=submit]").last.click()
        expect(self.page.get_by_role("heading", level=1)).to_contain_text(name)

    def charge(self, mass_kg: str) -> str:
        self.page.goto(f"{self.address}/batches/new")
        self.page.locator("[name=as_is_0]").fill(mass_kg)
        self.pick("known_0", "lot")
        self.page.get_by_role("radio", name="Barley, pale base malt").check()
        self.page.locator("[name=vessel]").fill("tub 1")
        self.at(0)
        self.page.locator("main form button[type=submit]").last.click()
        expect(self.page.get_by_role("heading", name="Batch")).to_be_visible()
        return self.page.url.split("/tub")[0]

    def pick(self, name: str, value: str) -> None:
        self.page.locator(f"[name={name}][value={value}]").check()

    def at(self, hour: float) -> None:
        self.pick("when", "at")
        self.page.locator("[name=at]").fill(self.clock(hour))

    def log(self, kind: str, hour: float, *, method: str | None = None, place: str = "", **typed: str) -> None:
        """Open the entry from its tile or from the list of all, type, keep, and read that it was saved."""
        self.page.locator("a.back:visible").first.click() if self.page.locator("a.back:visible").count() else None
        tile = self.page.locator(f".tub-home a.tile[href='#{kind}']")
        if not tile.count():
            self.page.locator("a.tile[href='#everything']").click()
            tile = self.page.locator(f".screen a.tile[href='#{kind}']:visible")
        tile.first.click()
        for name, text in typed.items():
            field = self.page.locator(f"[name={kind}-{name}]")
            if field.first.get_attribute("type") == "radio":
                self.pick(f"{kind}-{name}", text)
            elif name.endswith("_unit"):
                field.select_option(text)
            elif field.is_visible():
                field.fill(text)
            else:
                self.page.locator(f"details:has([name={kind}-{name}]) > summary").click()
                field.fill(text)
        if method:
            self.pick(f"{kind}-method", method)
        if place:
            self.page.locator("[name=place]").fill(place)
        self.at(hour)
        self.page.get_by_role("button", name="Keep", exact=True).click()
        expect(self.page.get_by_text("Saved", exact=False).first).to_be_visible()


@pytest.fixture
def phone(browser: Browser, complaints: Complaints) -> Page:
    page = page_at(browser, PHONE)
    complaints.watch(page)
    return page


def steep(walk: Walk) -> None:
    walk.log("test_bag_start", 0.2, vessel="bag 1", gross="530", gross_unit="g", tare="30")
    walk.log("steep_on", 0.5)
    walk.log("skimmings", 0.8, net="160", gross_unit="g")
    walk.log("water_temperature", 1, value="13,8")
    walk.log("drained", 6.5)
    walk.log("test_bag", 6.6, method="blotted", gross="662")
    walk.log("grain_temperature", 12, value="15.2", place="middle")
    walk.log("steep_on", 20.5)
    walk.log("drained", 26.5)
    walk.log("test_bag", 26.6, method="blotted", gross="752")
    walk.log("chit_count", 34, looked_at="100", chitted="72")
    walk.log("steep_on", 40.5)
    walk.log("chit_count", 42, looked_at="100", chitted="91")
    walk.log("test_bag", 42.4, method="blotted", gross="806")
    walk.log("cast", 42.5)


def grow(walk: Walk) -> None:
    for hour, value in ((50, "14.8"), (62, "15.6"), (74, "16.1"), (86, "15.4"), (98, "16.6"), (110, "15.9")):
        walk.log("turned", hour)
        walk.log("grain_temperature", hour + 0.1, value=value, place="middle")
    walk.log("inspection", 100, mould="no", smell="clean", matting="none")
    walk.log("growth_count", 112, half_to_three_quarters="16", three_quarters_to_full="31", quarter_to_half="3")
    walk.log("rub_out", 112.2, chalky="46", lumpy="4")


def kiln(walk: Walk) -> None:
    walk.log("loaded", 118)
    walk.log("tray", 118.2, vessel="tray 1", gross="3500", gross_unit="g", tare="1000")
    walk.log("heat_on", 118.4)
    walk.log("air_on_temperature", 119, value="52")
    for hour, grain, gross in ((121, "26", "2870"), (124, "41", "2610"), (128, "58", "2545"), (134, "78", "2478")):
        walk.log("grain_temperature", hour, value=grain)
        walk.log("tray", hour + 0.2, vessel="tray 1", gross=gross)
    walk.log("heat_off", 135)
    walk.log("grain_temperature", 137, value="24")
    walk.log("stripped", 137.2)
    walk.log("culms", 138, net="640", gross_unit="g")
    walk.log("moisture_test", 139, value="4,6", method="oven_malt")
    walk.log("outturn", 139.2, net="16350", gross_unit="g", moisture="4.6")
    walk.log("finished", 140)


def test_a_lot_goes_from_intake_to_outturn_through_the_screens(
    malthouse: str, browser: Browser, phone: Page, complaints: Complaints
) -> None:
    walk = Walk(phone, malthouse)
    walk.take_lot_in("Long Acre")
    first = walk.charge("20")
    steep(walk)
    expect(phone.locator(".tub-home")).to_contain_text("Growth count")
    grow(walk)
    kiln(walk)
    second = walk.charge("20")

    desk = page_at(browser, DESK)
    complaints.watch(desk)
    desk.goto(first)
    for words in ("Outturn", "16.35 kg", "Malting loss", "finished"):
        expect(desk.locator("main")).to_contain_text(words)
    expect(desk.locator(".js-plotly-plot").first).to_be_visible()
    expect(desk.locator(".js-plotly-plot .xtick").first).to_be_attached()

    numbers = [address.rsplit("/", 1)[1] for address in (first, second)]
    desk.goto(f"{malthouse}/compare?batch={numbers[0]}&batch={numbers[1]}")
    expect(desk.locator(".js-plotly-plot").first).to_be_visible()
    expect(desk.locator("main")).to_contain_text(f"Batch {numbers[0]}")
    expect(desk.locator("main")).to_contain_text(f"Batch {numbers[1]}")
