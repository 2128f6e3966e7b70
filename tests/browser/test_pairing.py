"""A phone that trusts the house: from the code at the desk to the first reading, and a reload without the house."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from app.folder import make_folder
from tests.browser.conftest import CHROMIUM, DESK, FLAGS, PHONE, page_at
from tests.browser.test_accessible import serious_violations
from tests.cli.conftest import Command, Server
from tests.cli.test_lan import Phone as Knocking
from tests.patience import PATIENCE_S, wait_until
from tests.ports import free_port

CERTUTIL = shutil.which("certutil")
HAS_SENT_ALL = """() => new Promise((resolve, reject) => {
  const opening = indexedDB.open("chitbook");
  opening.onerror = () => reject(opening.error);
  opening.onsuccess = () => {
    const count = opening.result.transaction("entries").objectStore("entries").count();
    count.onsuccess = () => { opening.result.close(); resolve(count.result === 0); };
  };
})"""
"""Whether nothing waits in the phone's outbox any more."""


class House:
    """A house open to its network, with the demo's records: started when a test asks for it, and again after a stop."""

    def __init__(self, home: Path, database: Path) -> None:
        self.command, self.folder = Command(home), home / "house"
        self.ports = free_port(), free_port()
        self.command.environment.update(
            CHITBOOK_LAN_HOST="127.0.0.1",
            CHITBOOK_LAN_PORT=str(self.ports[0]),
            CHITBOOK_LAN_HTTP_PORT=str(self.ports[1]),
            CHITBOOK_ZONE="Europe/Dublin",
        )
        make_folder(self.folder)
        shutil.copy(database, self.folder / "chitbook.sqlite")
        self.server: Server | None = None

    def running(self) -> Server:
        if self.server is None or self.server.process.poll() is not None:
            self.server = Server(self.command, "--lan", "--data", self.folder)
            wait_until(Knocking(self.folder, self.ports[0], "chitbook.local").is_answered)
        return self.server


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory, demo_of_today: Path) -> Iterator[House]:
    house = House(tmp_path_factory.mktemp("desk"), demo_of_today)
    yield house
    if house.server is not None:
        house.server.end()


@pytest.fixture
def server(house: House) -> Server:
    return house.running()


@pytest.fixture
def trusting(browser: Browser, house: House, server: Server, tmp_path: Path) -> Iterator[BrowserContext]:
    """A browser with a home of its own, which was told once to trust the house's authority."""
    if CERTUTIL is None:
        message = "no certutil on this machine (libnss3-tools): install it to run this test"
        if os.environ.get("CHITBOOK_BROWSER_TESTS") == "required":
            pytest.fail(message)
        pytest.skip(message)
    home = tmp_path / "phone"
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    authority = house.folder / "network" / "authority.crt"
    for words in (("-N", "--empty-password"), ("-A", "-n", "house", "-t", "C,,", "-i", authority)):
        subprocess.run([CERTUTIL, "-d", f"sql:{store}", *words], check=True, capture_output=True)
    context = browser.browser_type.launch_persistent_context(
        home / "profile",
        executable_path=CHROMIUM,
        args=[*FLAGS, "--host-resolver-rules=MAP chitbook.local 127.0.0.1"],
        env={**os.environ, "HOME": str(home)},
        viewport=PHONE,
        has_touch=True,
    )
    yield context
    context.close()


def code_of(desk: Page, address: str) -> str:
    """The address that the picture at the desk holds."""
    desk.goto(f"{address}/devices")
    desk.get_by_label("Whose phone").select_option(index=1)
    desk.get_by_role("button", name="Make a code").click()
    shown = desk.locator(".pairing-code").inner_text().replace(" ", "")
    expect(desk.locator("svg.qr").first).to_be_visible()
    return f"{desk.locator('.pairing .row b').first.inner_text()}#{shown}"


def pair(phone: Page, address: str, name: str) -> None:
    phone.goto(address)
    phone.get_by_label("Name of this phone").fill(name)
    phone.get_by_role("button", name="Pair", exact=True).click()
    expect(phone.get_by_text(f"paired as {name}")).to_be_visible()


def put_out(desk: Page, address: str, name: str) -> None:
    desk.goto(f"{address}/devices")
    desk.get_by_role("link", name=f"Remove {name}").click()
    desk.get_by_role("button", name="Remove", exact=True).click()
    expect(desk.get_by_text(f"{name} is removed")).to_be_visible()


def keep_temperature(phone: Page, tub: str, value: str) -> None:
    phone.goto(f"{tub}#grain_temperature")
    # The demo's first person reads °F, and finds it preset.
    phone.locator("[name=grain_temperature-value_unit]").select_option("c")
    phone.locator("[name=grain_temperature-value]").fill(value)
    phone.get_by_role("button", name="Keep", exact=True).click()


def kept_from(desk: Page, address: str, name: str) -> list[str]:
    """The lines of the record that bear a device's name, as the desk exports them."""
    answer = desk.request.get(f"{address}/data/export")
    assert answer.ok
    lines = answer.text().splitlines()
    return [line for line in lines if f'"device":"{name}"' in line]


def test_a_phone_that_was_put_out_forgets_its_pages_and_is_told_why(
    browser: Browser, trusting: BrowserContext, server: Server
) -> None:
    at_desk, desk = f"http://127.0.0.1:{server.port}", page_at(browser, DESK)
    phone = trusting.pages[0]
    address = code_of(desk, at_desk)
    pair(phone, address, "Lost phone")
    phone.evaluate("navigator.serviceWorker.ready.then(() => true)")
    tub = address.partition("/pair")[0] + "/batches/7/tub"
    phone.goto(tub)
    phone.goto(tub)
    phone.wait_for_function("caches.match('/batches/7/tub').then(Boolean)")
    put_out(desk, at_desk, "Lost phone")
    phone.goto(tub)
    expect(phone.get_by_text("removed at the desk")).to_be_visible()
    phone.wait_for_function("caches.match('/batches/7/tub').then((found) => !found)")


def test_what_waits_on_a_phone_that_was_put_out_is_kept_explained_and_sent_once_it_is_paired_again(
    browser: Browser, trusting: BrowserContext, server: Server
) -> None:
    at_desk, desk = f"http://127.0.0.1:{server.port}", page_at(browser, DESK)
    phone = trusting.pages[0]
    address = code_of(desk, at_desk)
    pair(phone, address, "First")
    tub = address.partition("/pair")[0] + "/batches/7/tub"
    phone.goto(f"{tub}#grain_temperature")
    put_out(desk, at_desk, "First")
    # The demo's first person reads °F, and finds it preset.
    phone.locator("[name=grain_temperature-value_unit]").select_option("c")
    phone.locator("[name=grain_temperature-value]").fill("15.5")
    phone.get_by_role("button", name="Keep", exact=True).click()
    expect(phone.get_by_text("removed at the desk").first).to_be_visible()
    assert kept_from(desk, at_desk, "First") == []
    assert not phone.evaluate(HAS_SENT_ALL)
    pair(phone, code_of(desk, at_desk), "Second")
    phone.wait_for_function(HAS_SENT_ALL)
    wait_until(lambda: kept_from(desk, at_desk, "Second") != [])
    (kept,) = kept_from(desk, at_desk, "Second")
    assert '"value":"15.5"' in kept


def test_the_page_that_asks_for_trust_has_no_serious_violation(browser: Browser, house: House, server: Server) -> None:
    page = page_at(browser, PHONE)
    page.goto(f"http://127.0.0.1:{house.ports[1]}/")
    for summary in page.locator("summary").all():
        summary.click()
    assert serious_violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_a_phone_is_paired_keeps_its_first_reading_and_opens_again_without_the_house(
    browser: Browser, trusting: BrowserContext, server: Server
) -> None:
    at_desk, desk = f"http://127.0.0.1:{server.port}", page_at(browser, DESK)
    address = code_of(desk, at_desk)
    assert address.startswith("https://chitbook.local:")
    phone = trusting.pages[0]
    phone.goto(address)
    expect(phone.get_by_label("Code", exact=True)).to_have_value(address.partition("#")[2])
    assert "#" not in phone.url
    phone.get_by_label("Name of this phone").fill("Malt floor")
    phone.get_by_role("button", name="Pair", exact=True).click()
    expect(phone.get_by_text("paired as Malt floor")).to_be_visible()
    phone.evaluate("navigator.serviceWorker.ready.then(() => true)")
    tub = address.partition("/pair")[0] + "/batches/7/tub"
    keep_temperature(phone, tub, "15.5")
    expect(phone.get_by_text("Saved").first).to_be_visible()
    (kept,) = kept_from(desk, at_desk, "Malt floor")
    assert '"value":"15.5"' in kept
    # The worker keeps the page once it governs it.
    phone.goto(tub)
    expect(phone.get_by_role("heading", level=1)).to_be_visible()
    phone.wait_for_function("caches.match('/batches/7/tub').then(Boolean)")
    server.process.send_signal(signal.SIGTERM)
    server.process.wait(PATIENCE_S)
    phone.reload()
    expect(phone.get_by_role("heading", level=1)).to_be_visible()
    assert phone.url.startswith(tub)
