"""The outbox in a storm: a worker killed, a browser killed, five hundred entries; and a store from an older version."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from app.folder import ensure_secret
from app.store.engine import open_database, write_session
from tests.browser.conftest import CHROMIUM, FLAGS, PHONE
from tests.browser.outbox_house import House, in_modules, log, seed, tub, waiting
from tests.cli.conftest import Command, Server
from tests.patience import PATIENCE_S, wait_until
from tests.writing import add_batch


@pytest.fixture
def page(house: House, browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport=PHONE)
    yield tub(context.new_page(), house)
    context.close()


@pytest.fixture(scope="module")
def script(malthouse: str, browser: Browser) -> Iterator[Page]:
    """A page for those that only ask our script, and leave nothing behind."""
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(f"{malthouse}/people")
    yield page
    context.close()


def kept_ids(folder: Path) -> list[str]:
    with closing(sqlite3.connect(folder / "chitbook.sqlite")) as connection:
        return [row for (row,) in connection.execute("SELECT id FROM fact WHERE kind = 'water_temperature'")]


@pytest.mark.skipif(sys.platform != "linux", reason="looks for the worker in /proc")
def test_five_hundred_entries_arrive_once_though_the_worker_is_killed_between_storing_and_answering(
    browser: Browser, tmp_path: Path, migrated_file: Path
) -> None:
    folder = tmp_path / "data"
    folder.mkdir(mode=0o700)
    shutil.copy(migrated_file, folder / "chitbook.sqlite")
    ensure_secret(folder / "secret")
    with open_database(f"sqlite:///{folder / 'chitbook.sqlite'}") as engine, write_session(engine) as session:
        add_batch(session)
    (tmp_path / "home").mkdir()
    server = Server(Command(tmp_path / "home"), "--data", folder)
    context = browser.new_context(viewport=PHONE)
    try:
        page = context.new_page()
        page.goto(f"http://127.0.0.1:{server.port}/batches/1/tub")
        page.wait_for_load_state("networkidle")
        ids = seed(page, 500)
        page.evaluate("window.dispatchEvent(new Event('online'))")
        wait_until(lambda: len(kept_ids(folder)) >= 100, every_s=0.005)
        os.kill(server.worker(), signal.SIGKILL)
        expect(page.locator(".outbox")).to_be_hidden()
        assert waiting(page) == []
        assert sorted(kept_ids(folder)) == sorted(ids)
    finally:
        context.close()
        server.end()


@pytest.mark.skipif(sys.platform != "linux", reason="ends the browser by its number in /proc")
def test_a_browser_killed_while_it_sends_goes_on_when_it_is_opened_again(house: House, tmp_path: Path) -> None:
    profile = tmp_path / "profile"
    program = Path(__file__).with_name("one_phone.py")
    words = [sys.executable, str(program), str(profile), house.address, str(CHROMIUM), json.dumps(FLAGS)]
    first = subprocess.Popen([*words, "write"], stdout=subprocess.PIPE, text=True, start_new_session=True)
    assert first.stdout is not None
    assert first.stdout.readline().strip() == "120 kept"
    house.answers_at_most = 1
    assert first.stdout.readline().strip() == "sending"
    wait_until(lambda: house.posts)
    os.killpg(first.pid, signal.SIGKILL)
    first.communicate()
    assert 0 < len(house.all_facts()) < 120
    house.answers_at_most = None
    second = subprocess.run([*words, "send"], stdout=subprocess.PIPE, text=True, timeout=PATIENCE_S, check=True)
    assert second.stdout.split() == ["0", "left"]
    assert len(house.all_facts()) == 120


def test_rows_of_an_older_version_of_the_store_are_carried_over(page: Page) -> None:
    found = in_modules(
        page,
        """
      const { open, STEPS, asked } = modules.db, name = "carried";
      const old = await open(STEPS, name);
      const before = old.transaction(["entries", "photos", "meta"], "readwrite");
      before.objectStore("entries").put({id: "a", state: "waiting", order: 1, record: {id: "a", typed: {value: "12"}}});
      before.objectStore("entries").put({id: "b", state: "rejected", order: 2, record: {id: "b", typed: {}}});
      before.objectStore("photos").put({id: "p", fact_id: "a", state: "waiting", blob: new Blob(["jpeg"])});
      await asked(before.objectStore("meta").put(-7, "offset_s"));
      let closed = false;
      old.onversionchange = () => { closed = true; old.close(); };
      const further = (db, transaction) => {
        db.createObjectStore("places", { keyPath: "id" });
        const entries = transaction.objectStore("entries");
        entries.createIndex("kept_at", "kept_at");
        entries.openCursor().onsuccess = ({ target }) => {
          if (!target.result) return;
          target.result.update({...target.result.value, kept_at: 5});
          target.result.continue();
        };
      };
      const db = await open([...STEPS, further], name);
      const after = db.transaction(["entries", "photos", "meta"]);
      const rows = await asked(after.objectStore("entries").getAll());
      const [photo] = await asked(after.objectStore("photos").getAll());
      const offset = await asked(after.objectStore("meta").get("offset_s"));
      db.close();
      return {rows, photo: await photo.blob.text(), of: photo.fact_id, offset, closed, version: db.version};
    """,
    )
    assert [(row["id"], row["state"], row["kept_at"]) for row in found["rows"]] == [
        ("a", "waiting", 5),
        ("b", "rejected", 5),
    ]
    assert found["rows"][0]["record"]["typed"] == {"value": "12"}
    assert (found["photo"], found["of"], found["offset"]) == ("jpeg", "a", -7)
    assert (found["closed"], found["version"]) == (True, 2)


def test_a_connection_that_died_is_opened_again(page: Page) -> None:
    code = """
      await modules.db.remember("x", 1);
      const real = IDBDatabase.prototype.transaction;
      let failures = 0;
      IDBDatabase.prototype.transaction = function (...given) {
        if (failures++ === 0) throw new DOMException("The connection is closing.", "InvalidStateError");
        return real.apply(this, given);
      };
      const known = await modules.db.recall("x");
      IDBDatabase.prototype.transaction = real;
      return [known, failures];
    """
    known, failures = in_modules(page, code)
    assert known == 1
    assert failures >= 2


def test_a_program_set_back_to_an_older_version_goes_on_with_what_the_phone_has(page: Page) -> None:
    code = """
      await modules.db.remember("x", 1);
      const newer = await modules.db.open([...modules.db.STEPS, (db) => db.createObjectStore("more")]);
      newer.onversionchange = () => newer.close();
      newer.close();
      return [await modules.db.recall("x"), (await modules.outbox.list()).length];
    """
    assert in_modules(page, code) == [1, 0]


def test_an_entry_is_said_to_be_kept_only_once_it_lies_on_the_disk(page: Page, house: House) -> None:
    page.evaluate("""() => {
      const real = IDBDatabase.prototype.transaction;
      window.durabilities = [];
      IDBDatabase.prototype.transaction = function (stores, mode, options) {
        if (mode === "readwrite" && [stores].flat().includes("entries")) window.durabilities.push(options?.durability);
        return real.call(this, stores, mode, options);
      };
    }""")
    page.context.set_offline(True)
    log(page, "water_temperature", value="12")
    expect(page.locator("#kept")).to_contain_text("Kept on this phone")
    assert set(page.evaluate("window.durabilities")) == {"strict"}
    assert len(waiting(page)) == 1


def test_where_the_phone_keeps_nothing_the_form_is_sent_as_without_script(house: House, browser: Browser) -> None:
    context = browser.new_context(viewport=PHONE, service_workers="block")
    context.add_init_script("IDBFactory.prototype.open = () => { throw new DOMException('no', 'SecurityError'); }")
    page = context.new_page()
    page.goto(f"{house.address}/batches/1/tub")
    log(page, "water_temperature", value="12")
    expect(page.locator(".meaning")).to_contain_text("12.0 °C")
    context.close()
    assert len(house.all_facts()) == 1


def test_pauses_grow_from_two_seconds_to_five_minutes_and_are_never_all_alike(script: Page) -> None:
    code = """return Array.from({length: 12}, (_, failures) =>
      [0, 1].map((chance) => modules.sync.pauseMs(failures + 1, chance)))"""
    pauses = in_modules(script, code)
    assert pauses[0] == [1000, 2000]
    assert pauses[-1] == [150_000, 300_000]
    assert all(low < high for low, high in pauses)
    assert [high for _, high in pauses] == sorted(high for _, high in pauses)


def test_ids_are_made_without_random_uuid_too(script: Page) -> None:
    code = """
      const real = crypto.randomUUID;
      Object.defineProperty(crypto, "randomUUID", {value: undefined, configurable: true});
      const ids = Array.from({length: 50}, modules.uuid.uuid);
      delete crypto.randomUUID;
      return ids;
    """
    ids = in_modules(script, code)
    assert len(set(ids)) == 50
    assert all(len(each) == 36 and each[14] == "4" and each[19] in "89ab" for each in ids)


@pytest.mark.parametrize(
    ("text", "moments"),
    [
        ("2026-03-14T09:30", ["2026-03-14T09:30:00.000Z"]),
        ("2026-07-14T09:30", ["2026-07-14T08:30:00.000Z"]),
        ("2026-03-29T01:30", []),
        ("2026-10-25T01:30", ["2026-10-25T00:30:00.000Z", "2026-10-25T01:30:00.000Z"]),
        ("2026-10-25T02:00", ["2026-10-25T02:00:00.000Z"]),
        ("", []),
        ("at dawn", []),
    ],
)
def test_a_clock_time_of_the_house_means_the_moments_it_means(script: Page, text: str, moments: list[str]) -> None:
    code = "return modules.house_time.momentsOf(argument, 'Europe/Dublin').map((each) => new Date(each).toISOString())"
    assert in_modules(script, code, text) == moments


def test_what_one_phone_logs_shows_on_anothers_open_page_and_disturbs_nothing(house: House, browser: Browser) -> None:
    contexts = [browser.new_context(viewport=PHONE) for _ in range(2)]
    mine, theirs = (tub(context.new_page(), house) for context in contexts)
    theirs.wait_for_load_state("networkidle")
    theirs.evaluate("location.hash = 'note'")
    theirs.locator("[name=note-text]").fill("half a sentence")
    theirs.locator("[name=note-text]").focus()
    theirs.evaluate("window.scrollTo(0, 40); window.mark = 7")
    began = theirs.evaluate("scrollY")
    log(mine, "steep_on")
    expect(mine.locator(".meaning")).to_be_visible()
    expect(theirs.locator("[data-live=head]")).to_contain_text("first steep")
    expect(theirs.locator("[data-live=home]")).to_contain_text("Steep on")
    theirs.keyboard.type(", whole")
    assert theirs.evaluate("window.mark") == 7
    assert theirs.evaluate("scrollY") == began
    expect(theirs.locator("[name=note-text]")).to_have_value("half a sentence, whole")
    expect(theirs.locator("[name=note-text]")).to_be_focused()
    expect(theirs.locator("#note")).to_be_in_viewport()
    for context in contexts:
        context.close()


def test_an_opened_flag_and_the_focus_stay_while_the_page_is_renewed(demo: str, browser: Browser) -> None:
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    # At night a caution is not among what stands on the tub.
    page.goto(f"{demo}/people")
    for label in ("From", "Until"):
        page.get_by_label(label, exact=True).fill("00:00")
    page.locator("form[action='/people/quiet']").get_by_role("button", name="Use these").click()
    expect(page.get_by_text("The quiet hours of this screen were changed.")).to_be_visible()
    page.goto(f"{demo}/batches/8/tub")
    page.wait_for_load_state("networkidle")
    flag = page.locator("details.flag-line").first
    flag.locator("summary").first.click()
    page.locator(".tub-home a.tile[href='#everything']").focus()
    token = page.locator(".flag-line [name=id]").first.input_value()
    other = context.new_page()
    other.goto(f"{demo}/batches/8/tub")
    log(other, "turned")
    expect(other.get_by_text("Saved")).to_be_visible()
    page.bring_to_front()
    expect(page.locator(f".flag-line [name=id][value='{token}']")).to_have_count(0)
    expect(page.locator("details.flag-line[open]")).to_have_count(1)
    expect(page.locator(".tub-home a.tile[href='#everything']")).to_be_focused()
    context.close()


def test_a_page_that_comes_back_from_the_browsers_cache_has_a_new_name_for_its_entry(page: Page) -> None:
    before = page.locator(".tub-form > [name=id]").input_value()
    page.locator("[name=note-text]").evaluate("field => { field.value = 'half a sentence' }")
    page.evaluate("window.dispatchEvent(new PageTransitionEvent('pageshow', {persisted: true}))")
    after = page.locator(".tub-form > [name=id]").input_value()
    assert after != before
    assert len(after) == len(before)
    expect(page.locator("[name=note-text]")).to_have_value("half a sentence")
