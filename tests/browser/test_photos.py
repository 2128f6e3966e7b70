"""Photos in a real browser: chosen at the tub, shrunk on the phone, found again on the timeline and in the record."""

from __future__ import annotations

import base64
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import DESK, PHONE, Complaints, page_at
from tests.browser.test_accessible import serious_violations
from tests.pictures import jpeg, opened

SHRINK = """
async ([src, text, type]) => {
  const { shrunk } = await import(src);
  const file = new File([Uint8Array.from(atob(text), (each) => each.charCodeAt(0))], "IMG_1", { type });
  const small = await shrunk(file);
  const bytes = new Uint8Array(await small.arrayBuffer());
  const letters = Array.from(bytes, (each) => String.fromCharCode(each)).join("");
  return { same: small === file, type: small.type, text: btoa(letters) };
}
"""
PHOTO = {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": jpeg(900, 600, has_place=True)}


def keep_a_note(page: Page, house: str, number: int, *photos: Any) -> None:
    page.goto(f"{house}/batches/{number}/tub")
    page.locator(".tub-home a.tile[href='#note']").click()
    page.locator("[name=note-text]").fill("Grey on the wall side")
    page.locator("input[type=file]").set_input_files(list(photos))
    page.get_by_role("button", name="Keep", exact=True).click()


def test_a_photo_is_kept_with_its_entry_where_there_is_no_script(demo: str, browser: Browser) -> None:
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    keep_a_note(page, demo, 7, PHOTO)
    expect(page.get_by_text("Saved.")).to_be_visible()
    shown = page.get_by_alt_text("Photo: Note Grey on the wall side").first
    expect(shown).to_be_visible()
    assert shown.evaluate("each => each.naturalWidth") == 320
    context.close()


def test_a_bad_photo_is_told_and_what_was_typed_stays_where_there_is_no_script(demo: str, browser: Browser) -> None:
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    keep_a_note(page, demo, 7, {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": b"plain text"})
    expect(page.get_by_role("alert")).to_contain_text("This is no photo that can be read here")
    expect(page.locator("[name=note-text]")).to_have_value("Grey on the wall side")
    context.close()


@pytest.fixture
def pictured(demo: str, browser: Browser) -> str:
    """The page of the photos of an entry of batch 8."""
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    keep_a_note(page, demo, 8, PHOTO)
    address = page.locator("a.thumb").first.get_attribute("href")
    context.close()
    return str(address)


def test_a_photo_is_found_from_its_mark_on_the_timeline(
    demo: str, browser: Browser, complaints: Complaints, pictured: str
) -> None:
    page = page_at(browser, DESK)
    complaints.watch(page)
    page.goto(f"{demo}/batches/8")
    expect(page.locator(".js-plotly-plot").first).to_be_visible()
    expect(page.locator(".photo-strip img").first).to_be_visible()
    page.locator(".js-plotly-plot").first.evaluate("plot => plot.scrollIntoView()")
    place = page.locator(".js-plotly-plot").first.evaluate(
        """plot => {
          const trace = plot._fullData.find((each) => each.name === "photos");
          const at = trace.x.length - 1, { xaxis, yaxis3 } = plot._fullLayout, box = plot.getBoundingClientRect();
          return [box.x + xaxis._offset + xaxis.d2p(trace.x[at]), box.y + yaxis3._offset + yaxis3.d2p(trace.y[at])];
        }"""
    )
    page.mouse.move(*place)
    page.mouse.click(*place)
    page.wait_for_url("**/photos")
    assert page.locator(".photo img").first.evaluate("each => each.naturalWidth") == 900
    page.context.close()


def test_the_page_of_photos_has_no_serious_violation(demo: str, browser: Browser, pictured: str) -> None:
    page = page_at(browser, PHONE)
    page.goto(demo + pictured)
    for press in (None, "Strike out"):
        if press:
            page.get_by_role("button", name=press).first.click()
            expect(page.get_by_role("button", name="Show it again")).to_be_visible()
        assert serious_violations(page) == []
    page.context.close()


def shrunk(page: Page, content: bytes, type_: str) -> dict[str, Any]:
    folder = str(page.locator("script[src*='/js/']").first.get_attribute("src")).rpartition("/")[0]
    given = [f"{folder}/photo_shrink.js", base64.b64encode(content).decode(), type_]
    found: dict[str, Any] = page.evaluate(SHRINK, given)
    return found | {"content": base64.b64decode(found["text"])}


def test_the_phone_shrinks_a_photo_turns_it_upright_and_leaves_out_where_it_was_taken(
    demo: str, browser: Browser
) -> None:
    page = page_at(browser, PHONE)
    page.goto(f"{demo}/batches/7/tub")
    found = shrunk(page, jpeg(4000, 3000, orientation=6, has_place=True), "image/jpeg")
    made = opened(found["content"])
    assert (found["type"], made.format, made.size) == ("image/jpeg", "JPEG", (1200, 1600))
    assert not dict(made.getexif())
    page.context.close()


@pytest.mark.parametrize("content", [b"plain text", jpeg()[:200]], ids=["text", "cut short"])
def test_what_the_phone_can_not_shrink_is_sent_as_it_is(demo: str, browser: Browser, content: bytes) -> None:
    page = page_at(browser, PHONE)
    page.goto(f"{demo}/batches/7/tub")
    found = shrunk(page, content, "image/jpeg")
    assert found["same"]
    assert found["content"] == content
    page.context.close()
