"""Entries written without a connection: kept on the phone, shown at once, and with the house exactly once."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import datetime, time, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from app.judgement.facts import envelope
from app.judgement.facts.shapes import Reading, Weighing, Withdrawal
from app.judgement.history.stages import all_stages
from app.operations.people import add_person
from app.ports import now
from app.store.engine import read_session, write_session
from app.store.history import get_history
from tests.browser.conftest import PHONE
from tests.browser.outbox_house import House, flushed, in_modules, log, seed, tub, waiting
from tests.patience import wait_until


@pytest.fixture
def phone(browser: Browser) -> Iterator[Callable[[], BrowserContext]]:
    """Takes up one more phone."""
    taken: list[BrowserContext] = []

    def take() -> BrowserContext:
        taken.append(browser.new_context(viewport=PHONE, has_touch=True, accept_downloads=True))
        return taken[-1]

    yield take
    for each in taken:
        each.close()


@pytest.fixture
def page(house: House, phone: Callable[[], BrowserContext]) -> Page:
    return tub(phone().new_page(), house)


def emptied(page: Page) -> None:
    """Wait until nothing waits on the phone any more."""
    wait_until(lambda: waiting(page) == [])
    expect(page.locator(".outbox")).to_be_hidden()


def kept_offline(page: Page, kind: str, **typed: str) -> None:
    before = len(waiting(page))
    log(page, kind, **typed)
    expect(page.locator(".outbox-list li")).to_have_count(before + 1)
    expect(page.locator("#kept")).to_contain_text("It is judged when it is sent")


def temperatures(house: House) -> list[float | None]:
    return [each.value for each in house.facts() if isinstance(each, Reading)]


def test_a_whole_steep_without_a_connection_arrives_whole_and_once(house: House, page: Page) -> None:
    page.context.set_offline(True)
    kept_offline(page, "test_bag_start", gross="530", gross_unit="g", tare="30")
    kept_offline(page, "steep_on")
    kept_offline(page, "water_temperature", value="12,5")
    page.reload()
    expect(page.locator(".outbox")).to_contain_text("3 waiting on this phone")
    kept_offline(page, "drained")
    kept_offline(page, "test_bag", gross="690")
    kept_offline(page, "chit_count", looked_at="100", chitted="34")
    kept_offline(page, "cast")
    expect(page.locator(".outbox-list")).to_contain_text("Water temperature 12,5 °C")
    assert house.facts() == []
    page.context.set_offline(False)
    emptied(page)
    kinds = ["test_bag_start", "steep_on", "water_temperature", "drained", "test_bag", "chit_count", "cast"]
    assert [each.kind for each in house.all_facts()] == kinds
    assert [each.kind for each in house.facts()] == kinds
    expect(page.locator("[data-live=head]")).to_contain_text("germination")
    with read_session(house.app.extensions["engine"]) as session:
        assert [stage.name for stage in all_stages(get_history(session, "batch-1"))][-1] == "germination"


def test_while_the_server_is_stopped_the_page_opens_and_what_is_written_waits(house: House, page: Page) -> None:
    house.shut()
    page.reload()
    kept_offline(page, "water_temperature", value="13")
    expect(page.locator("#kept")).to_contain_text("Kept on this phone")
    page.goto(f"{house.address}/lots")
    expect(page.get_by_role("heading", level=1)).to_have_text("No connection to the house")
    house.open()
    page.goto(f"{house.address}/batches/1/tub")
    emptied(page)
    assert temperatures(house) == [13.0]


def test_an_answer_that_got_lost_makes_no_second_entry(house: House, page: Page) -> None:
    house.lose_answers = 2
    log(page, "water_temperature", value="13")
    expect(page.locator("#kept")).to_contain_text("It is judged when it is sent")
    assert len(house.all_facts()) == 1
    expect(page.locator("#kept")).to_contain_text("Sent")
    emptied(page)
    assert len(house.posts) >= 3
    assert len(house.all_facts()) == 1


def test_the_program_is_upgraded_between_sending_and_sending_again(
    house: House, page: Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.lose_answers = 1
    log(page, "water_temperature", value="13")
    expect(page.locator(".outbox-list li")).to_have_count(1)
    house.shut()
    seed(page, 3)
    monkeypatch.setattr(envelope, "FORM_VERSION", 2)
    house.open()
    # The newer program has other files: what the page has no longer is there, and the page goes on all the same.
    house.app.extensions["static_url"] = lambda name: f"/static/0123456789ab/{name}"
    emptied(page)
    assert len(house.all_facts()) == 4


def test_the_unit_is_switched_while_entries_wait(house: House, page: Page) -> None:
    with write_session(house.app.extensions["engine"]) as session:
        add_person(session, person_id="p1", name="Ide", units="us", now=now())
    page.context.set_offline(True)
    kept_offline(page, "water_temperature", value="55", value_unit="f")
    page.context.set_offline(False)
    house.shut()
    other = page.context.new_page()
    other.goto("about:blank")
    house.open()
    other.goto(f"{house.address}/people")
    other.locator("form[action='/people/units'] [value=us]").check()
    other.locator("form[action='/people/units'] button").click()
    emptied(page)
    (fact,) = house.facts()
    assert fact.typed["value"] == "55"
    assert isinstance(fact, Reading)
    assert fact.value == pytest.approx((55 - 32) * 5 / 9)


def test_what_waits_is_corrected_and_struck_out_there(house: House, page: Page) -> None:
    page.context.set_offline(True)
    kept_offline(page, "water_temperature", value="21")
    kept_offline(page, "water_temperature", value="14")
    first, second = page.locator(".outbox-list li").nth(0), page.locator(".outbox-list li").nth(1)
    first.get_by_role("button", name="Correct").click()
    expect(page.locator("[name=water_temperature-value]")).to_have_value("21")
    page.locator("[name=water_temperature-value]").fill("12")
    page.locator(".screen:has(#water_temperature)").get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator(".outbox-list .struck")).to_have_count(1)
    second.get_by_role("button", name="Strike out").click()
    expect(page.locator(".outbox-list .struck")).to_have_count(2)
    page.context.set_offline(False)
    emptied(page)
    assert temperatures(house) == [12.0]
    assert len(house.all_facts()) == 4


def test_a_withdrawal_may_arrive_before_what_it_strikes_out(house: House, page: Page) -> None:
    page.context.set_offline(True)
    kept_offline(page, "water_temperature", value="21")
    page.locator(".outbox-list li").first.get_by_role("button", name="Strike out").click()
    expect(page.locator(".outbox-list li")).to_have_count(2)
    in_modules(page, "for (const row of await modules.outbox.list()) await modules.outbox.change(row.id, "
               "(each) => ({...each, order: -each.order}))")  # fmt: skip
    page.context.set_offline(False)
    emptied(page)
    assert [isinstance(each, Withdrawal) for each in house.all_facts()] == [True, False]
    assert house.facts() == []


def test_what_the_house_has_is_corrected_without_a_connection(house: House, page: Page) -> None:
    log(page, "water_temperature", value="21")
    expect(page.locator(".meaning")).to_contain_text("21.0")
    page.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    page.get_by_text("Last kept", exact=True).click()
    page.locator(".tub-home a[href$='/correct']").first.click()
    head = page.locator("#water_temperature h2")
    keep = page.locator(".screen:has(#water_temperature) .keep .button--first")
    said = [(head, "::before", '"Correct: "'), (head, "::after", '", was 21.0 °C"'), (keep, "::after", '" correction"')]
    for each, place, words in said:
        assert each.evaluate("(it, place) => getComputedStyle(it, place).content", place) == words
    expect(page.locator("[name=water_temperature-value]")).to_have_value("21")
    page.locator("[name=water_temperature-value]").fill("12")
    page.locator(".screen:has(#water_temperature)").get_by_role("button", name="Keep correction", exact=True).click()
    expect(page.locator(".outbox-list li")).to_have_count(1)
    page.context.set_offline(False)
    emptied(page)
    first, second = house.all_facts()
    assert second.supersedes_id == first.id
    assert (first.earliest_at, first.clock, second.clock) == (second.earliest_at, "now", "typed")
    assert temperatures(house) == [12.0]


def test_what_the_house_refuses_says_why_and_is_edited(house: House, page: Page) -> None:
    page.context.set_offline(True)
    kept_offline(page, "chit_count", looked_at="100", chitted="130")
    page.context.set_offline(False)
    refused = page.locator(".outbox-list li")
    expect(refused.locator(".wrong")).to_contain_text("more than the 100 looked at")
    expect(page.locator(".outbox")).to_contain_text("1 not taken")
    refused.get_by_role("button", name="Edit").click()
    expect(page.locator("[name=chit_count-chitted]")).to_have_value("130")
    page.locator("[name=chit_count-chitted]").fill("13")
    page.locator(".screen:has(#chit_count)").get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator(".meaning")).to_contain_text("13 %")
    emptied(page)
    assert len(house.all_facts()) == 1


@pytest.mark.parametrize("choice", ["Mine", "Theirs, mine as a note"])
def test_two_phones_amend_the_same_fact(
    house: House, page: Page, phone: Callable[[], BrowserContext], choice: str
) -> None:
    log(page, "water_temperature", value="21")
    expect(page.locator(".meaning")).to_contain_text("21.0")
    other = tub(phone().new_page(), house)
    for each in (page, other):
        each.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    for each, value in ((page, "12"), (other, "11")):
        each.get_by_text("Last kept", exact=True).click()
        each.locator(".tub-home a[href$='/correct']").first.click()
        each.locator("[name=water_temperature-value]").fill(value)
        each.locator(".screen:has(#water_temperature)").get_by_role(
            "button", name="Keep correction", exact=True
        ).click()
    expect(other.locator(".meaning")).to_contain_text("11.0")
    page.context.set_offline(False)
    refused = page.locator(".outbox-list li")
    expect(refused.locator(".wrong")).to_contain_text("It now says: 11 c")
    refused.get_by_role("button", name=choice, exact=True).click()
    emptied(page)
    assert temperatures(house) == [12.0 if choice == "Mine" else 11.0]
    notes = [str(each.text) for each in house.facts() if each.kind == "note"]
    assert [("12" in text) for text in notes] == ([] if choice == "Mine" else [True])


def test_a_phone_whose_clock_is_off_by_hours_says_now_rightly_and_keeps_what_was_typed(
    house: House, phone: Callable[[], BrowserContext]
) -> None:
    context = phone()
    context.add_init_script("const real = Date.now; Date.now = () => real() + 5 * 36e5;")
    page = tub(context.new_page(), house)
    page.wait_for_load_state("networkidle")
    context.set_offline(True)
    began = now()
    kept_offline(page, "water_temperature", value="12")
    page.evaluate("location.hash = 'grain_temperature'")
    page.locator("[name=when][value=at]").check()
    yesterday = began.date() - timedelta(days=1)
    page.locator("[name=at]").fill(f"{yesterday}T08:15")
    kept_offline(page, "grain_temperature", value="14")
    context.set_offline(False)
    emptied(page)
    found = {each.kind: each for each in house.facts()}
    assert abs((found["water_temperature"].at - began).total_seconds()) < 60
    typed = datetime.combine(yesterday, time(8, 15), house.settings.zone)
    assert found["grain_temperature"].at == typed
    assert found["water_temperature"].clock_offset_s == pytest.approx(-5 * 3600, abs=30)


def test_a_phone_that_is_no_longer_paired_keeps_what_waits_and_sends_it_once_paired_again(
    house: House, page: Page
) -> None:
    house.is_paired = False
    log(page, "water_temperature", value="13")
    expect(page.locator(".outbox")).to_contain_text("not paired any more")
    assert page.evaluate("caches.open('chitbook-pages').then((cache) => cache.keys()).then((keys) => keys.length)") == 0
    house.is_paired = True
    page.get_by_role("button", name="Send now").click()
    emptied(page)
    assert temperatures(house) == [13.0]


def test_a_slip_is_asked_about_on_the_phone_itself(house: House, page: Page) -> None:
    page.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    answers = ("59 °F", "59 °C, as typed", None)
    for place, answer in enumerate(answers):
        log(page, "water_temperature", value="59")
        question = page.locator(".screen:has(:target) [role=alert]")
        expect(question).to_contain_text("Is it 59 °F?")
        assert len(waiting(page)) == place + 1
        if answer:
            question.get_by_role("button", name=answer, exact=True).click()
            expect(page.locator("#kept")).to_contain_text("It is judged when it is sent")
        else:
            page.locator("a.back:visible").click()
            expect(question).to_contain_text("Drop it, or keep it as typed?")
            question.get_by_role("button", name="Drop it").click()
            expect(page.locator("#kept")).to_contain_text("Dropped, not kept: Water temperature 59 °C")
        expect(page.locator(".outbox-list li")).to_have_count(min(place + 1, 2))
        expect(question).to_have_count(0)
    page.context.set_offline(False)
    emptied(page)
    found = [each for each in house.all_facts() if isinstance(each, Reading)]
    assert [round(each.value or 0) for each in found] == [15, 59]
    assert [each.typed.get("insisted") for each in found] == [None, "1"]


def asked_about(page: Page) -> None:
    """Keep a temperature that the phone asks about, and leave the question open."""
    page.wait_for_load_state("networkidle")
    log(page, "water_temperature", value="59")
    expect(page.locator(".screen:has(:target) [role=alert]")).to_contain_text("Is it 59 °F?")


def test_while_a_question_is_open_the_page_says_that_the_entry_waits_for_it(house: House, page: Page) -> None:
    asked_about(page)
    expect(page.locator("#kept")).to_contain_text("Not kept yet, it waits for your answer: Water temperature 59 °C")
    expect(page.locator("#kept .notice--fine")).to_have_count(0)
    page.get_by_role("button", name="59 °F", exact=True).click()
    expect(page.locator(".meaning")).to_contain_text("15.0")
    assert len(house.all_facts()) == 1


def test_what_waits_for_an_answer_and_is_struck_out_is_gone_at_once(house: House, page: Page) -> None:
    asked_about(page)
    page.goto(f"{house.address}/batches/1/tub")
    strike = page.locator(".outbox-list li").get_by_role("button", name="Strike out")
    strike.evaluate("button => { button.click(); button.click(); }")
    expect(page.locator(".outbox-list li")).to_have_count(0)
    expect(page.locator("#kept")).to_contain_text("Struck out before it was sent: Water temperature 59 °C")
    emptied(page)
    flushed(page)
    assert house.all_facts() == []


def test_a_correction_that_waits_for_an_answer_is_struck_out_with_what_it_corrects(house: House, page: Page) -> None:
    log(page, "water_temperature", value="12")
    expect(page.locator(".meaning")).to_contain_text("12.0")
    page.wait_for_load_state("networkidle")
    page.get_by_text("Last kept", exact=True).click()
    page.locator(".tub-home a[href$='/correct']").first.click()
    expect(page.locator("[name=water_temperature-value]")).to_have_value("12")
    asked_about(page)
    page.goto(f"{house.address}/batches/1/tub")
    page.locator(".outbox-list li").get_by_role("button", name="Strike out").click()
    emptied(page)
    assert [each.kind for each in house.all_facts()] == ["water_temperature", "withdrawal"]
    assert house.facts() == []


def test_an_entry_on_its_way_is_struck_out_once_however_often_it_is_tapped(house: House, page: Page) -> None:
    page.context.set_offline(True)
    kept_offline(page, "water_temperature", value="12")
    in_modules(page, "const [row] = await modules.outbox.list(); await modules.outbox.change(row.id, "
               "(each) => ({...each, hold: Date.now() + 6e5}))")  # fmt: skip
    strike = page.locator(".outbox-list li").get_by_role("button", name="Strike out")
    strike.evaluate("button => { button.click(); button.click(); }")
    expect(page.locator(".outbox-list li")).to_have_count(2)
    page.context.set_offline(False)
    emptied(page)
    assert sorted(each.kind for each in house.all_facts()) == ["water_temperature", "withdrawal"]


def test_an_open_question_is_not_kept_however_long_it_stands(house: House, page: Page) -> None:
    asked_about(page)
    in_modules(page, "const [row] = await modules.outbox.list(); await modules.outbox.change(row.id, "
               "(each) => ({...each, hold: Date.now() - 1}))")  # fmt: skip
    page.goto(f"{house.address}/batches/1/tub")
    expect(page.locator(".outbox")).to_contain_text("1 not kept yet")
    page.get_by_role("button", name="Send now").click()
    flushed(page)
    expect(page.locator(".outbox-list li")).to_contain_text("Not kept yet: is that so?")
    assert house.all_facts() == []
    page.get_by_role("button", name="59 °F", exact=True).click()
    emptied(page)
    (fact,) = house.all_facts()
    assert (fact.kind, fact.supersedes_id) == ("water_temperature", None)


def test_nothing_green_stands_above_what_is_wrong(house: House, page: Page) -> None:
    log(page, "chit_count", looked_at="100", chitted="130")
    expect(page.locator(".screen:has(:target) [role=alert]")).to_contain_text("Not kept yet")
    expect(page.locator("#kept")).to_contain_text("Not kept yet: Chits")
    expect(page.locator(".notice--fine")).to_have_count(0)


def test_what_is_struck_out_without_a_connection_is_shown_struck(house: House, page: Page) -> None:
    log(page, "water_temperature", value="12")
    expect(page.locator(".meaning")).to_contain_text("12.0")
    page.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".tub-home .struck")).to_contain_text("Water temperature")
    page.context.set_offline(False)
    emptied(page)


@pytest.mark.parametrize(("answer", "degrees", "insisted"), [("59 °F", 15, None), ("59 °C, as typed", 59, "1")])
def test_an_open_question_stands_in_the_waiting_list_for_whoever_comes_back(
    house: House, page: Page, answer: str, degrees: int, insisted: str | None
) -> None:
    asked_about(page)
    page.goto(f"{house.address}/batches/1/tub")
    expect(page.locator(".outbox-list li")).to_contain_text("Is it 59 °F?")
    page.get_by_role("button", name=answer, exact=True).click()
    emptied(page)
    (fact,) = house.all_facts()
    assert isinstance(fact, Reading)
    assert (round(fact.value or 0), fact.typed.get("insisted")) == (degrees, insisted)


def test_what_was_refused_and_thrown_away_is_not_called_sent(house: House, page: Page) -> None:
    page.context.set_offline(True)
    kept_offline(page, "chit_count", looked_at="100", chitted="130")
    page.context.set_offline(False)
    page.locator(".outbox-list li").get_by_role("button", name="Throw away").click()
    expect(page.locator("#kept")).to_contain_text("Thrown away, not sent: ")
    emptied(page)
    expect(page.locator("#kept")).not_to_contain_text("Sent")


def test_a_weight_that_there_is_not_in_the_batch_is_asked_about_on_the_phone_itself(house: House, page: Page) -> None:
    page.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    question = page.locator(".screen:has(:target) [role=alert]")
    for typed, button in (
        ({"gross": "1400", "gross_unit": "kg"}, "1400 g"),
        ({"gross": "1900", "tare": "500", "gross_unit": "kg"}, "1900 g"),
        ({"gross": "4000", "gross_unit": "lb"}, "4000 g"),
    ):
        log(page, "tray", vessel="tray 1", **typed)
        expect(question).to_contain_text(f"Is it {button}?")
        question.get_by_role("button", name=button, exact=True).click()
        expect(page.locator("#kept")).to_contain_text("It is judged when it is sent")
    log(page, "tray", vessel="tray 1", gross="1900", tare="500", gross_unit="g")
    expect(page.locator(".outbox-list li")).to_have_count(4)
    expect(question).to_have_count(0)
    page.context.set_offline(False)
    emptied(page)
    found = [each for each in house.all_facts() if isinstance(each, Weighing)]
    assert [round(each.net_kg, 6) for each in found] == [1.4, 1.4, 4.0, 1.4]
    assert not any("insisted" in each.typed for each in found)


def test_a_net_weight_is_asked_about_in_the_unit_that_it_shares(page: Page) -> None:
    code = """
      const sheet = await (await fetch("/sync/batches/batch-1")).json();
      return ["kg", "g"].map((unit) =>
        modules.slip.slip({kind: "tray", typed: {net: "1400", gross_unit: unit}}, "Tray", sheet, "kilning"));
    """
    question, none = in_modules(page, code)
    assert question["alternative"] == {"gross_unit": "g"}
    assert question["message"] == "Tray 1400 kg is more than one expects here (0.005 to 55 kg). Is it 1400 g?"
    assert none is None


def test_what_has_waited_for_a_day_is_warned_of(house: House, page: Page) -> None:
    page.context.set_offline(True)
    kept_offline(page, "water_temperature", value="12")
    expect(page.locator(".outbox")).not_to_contain_text("Some phones clear")
    in_modules(page, "const [row] = await modules.outbox.list(); await modules.outbox.change(row.id, "
               "(each) => ({...each, kept_at: Date.now() - 25 * 36e5}))")  # fmt: skip
    expect(page.locator(".outbox")).to_contain_text("Some phones clear what waits after a week")


def test_what_is_unsent_is_downloaded_and_taken_in_at_the_desk(house: House, page: Page, tmp_path: Path) -> None:
    page.context.set_offline(True)
    kept_offline(page, "water_temperature", value="12")
    kept_offline(page, "turned")
    with page.expect_download() as saved:
        page.get_by_role("button", name="Download unsent").click()
    saved.value.save_as(tmp_path / "unsent.json")
    assert len(json.loads((tmp_path / "unsent.json").read_text())["entries"]) == 2
    desk = page.context.browser.new_page() if page.context.browser else page
    desk.goto(f"{house.address}/data/unsent")
    desk.locator("[name=file]").set_input_files(tmp_path / "unsent.json")
    desk.get_by_role("button", name="Take it in").click()
    expect(desk.get_by_role("table")).to_contain_text("taken in")
    desk.close()
    assert len(house.facts()) == 2
    page.context.set_offline(False)
    emptied(page)
    assert len(house.all_facts()) == 2


def test_what_waits_for_an_answer_is_in_no_file_for_the_desk(page: Page, tmp_path: Path) -> None:
    asked_about(page)
    page.context.set_offline(True)
    kept_offline(page, "turned")
    with page.expect_download() as saved:
        page.get_by_role("button", name="Download unsent").click()
    saved.value.save_as(tmp_path / "unsent.json")
    assert [each["kind"] for each in json.loads((tmp_path / "unsent.json").read_text())["entries"]] == ["turned"]


def test_nobody_else_takes_the_phone_while_anything_waits(house: House, page: Page) -> None:
    with write_session(house.app.extensions["engine"]) as session:
        add_person(session, person_id="p1", name="Ide", units="metric", now=now())
    other = page.context.new_page()
    other.goto(f"{house.address}/people")
    other.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    kept_offline(page, "water_temperature", value="12")
    other.get_by_role("button", name="It’s me, Ide").click()
    expect(other.locator("#kept")).to_contain_text("still waiting on this phone")
    page.context.set_offline(False)
    emptied(page)
    other.get_by_role("button", name="It’s me, Ide").click()
    expect(other.locator("#kept")).to_contain_text("Ide is at this screen now")


def test_two_tabs_that_send_at_once_do_no_harm(house: House, page: Page) -> None:
    other = page.context.new_page()
    other.goto(f"{house.address}/batches/1/tub")
    seed(page, 30)
    house.delay_s = 0.1
    for each in (page, other):
        each.evaluate("window.dispatchEvent(new Event('online'))")
    emptied(page)
    emptied(other)
    assert len(house.all_facts()) == 30


def test_an_entry_is_written_and_sent_at_once_as_it_was_without_an_outbox(house: House, page: Page) -> None:
    log(page, "water_temperature", value="13,5")
    expect(page.locator(".meaning")).to_contain_text("13.5 °C")
    expect(page.get_by_text("Saved.")).to_be_visible()
    assert waiting(page) == []
    flushed(page)
    assert len(house.all_facts()) == 1
