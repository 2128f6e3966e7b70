"""Back, after a form was refused once and then taken: it leads to a page, never to an error of the browser."""

import re

from playwright.sync_api import Browser, expect

from tests.browser.conftest import PHONE, page_at


def test_back_from_a_lot_that_was_refused_first_shows_the_form_again(browser: Browser, malthouse: str, complaints):
    page = page_at(browser, PHONE)
    complaints.watch(page)
    page.goto(f"{malthouse}/lots")
    page.goto(f"{malthouse}/lots/new")
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_text("Not taken in yet")).to_be_visible()
    page.get_by_label("Name", exact=True).fill("North field")
    page.get_by_label("barley").check()
    page.get_by_label(re.compile("^Net")).first.fill("100")
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_role("heading", name="North field")).to_be_visible()

    page.go_back()

    expect(page.get_by_role("heading", name="Take in a lot")).to_be_visible()
    page.context.close()
