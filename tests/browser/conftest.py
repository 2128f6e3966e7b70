"""One Chromium for all browser tests, and one server for the tests of a module. Skipped, with a reason, without one.

CHITBOOK_BROWSER_TESTS=required (as in CI) makes a missing browser a failure.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, expect, sync_playwright
from werkzeug.serving import make_server

from app import create_app
from app.config import Settings
from tests.browser.outbox_house import House, standing
from tests.houses import furnished
from tests.patience import PATIENCE_S

# Playwright's own five seconds are soon over on a busy machine.
expect.set_options(timeout=PATIENCE_S * 1000)

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
# Only the last list counts, so what Playwright itself switches off stands in it too. The popup of an address bar that
# nobody sees is a page of its own in each window, and busy for as long as the window is open.
SWITCHED_OFF = (
    "AimEnabled",
    "AvoidCorsURLLoaderRestartOnRedirect",
    "AvoidUnnecessaryBeforeUnloadCheckSync",
    "DestroyProfileOnBrowserClose",
    "HttpsFirstBalancedModeAutoEnable",
    "HttpsUpgrades",
    "LensOverlay",
    "MediaRouter",
    "NetworkTimeServiceQuerying",
    "OptimizationHints",
    "PaintHolding",
    "PreconnectToSearch",
    "ThirdPartyStoragePartitioning",
    "WebUIOmniboxAimPopup",
    "WebUIOmniboxFullPopup",
    "WebUIOmniboxPopup",
)
FLAGS = [
    f"--disable-features={','.join(SWITCHED_OFF)}",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        message = "no Chromium on this machine: install it to run the browser tests"
        if os.environ.get("CHITBOOK_BROWSER_TESTS") == "required":
            pytest.fail(message)
        pytest.skip(message)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(autouse=True)
def _shut(browser: Browser) -> Iterator[None]:
    """Windows that a test leaves open are closed after it: they would go on asking their house for changes."""
    before = set(browser.contexts)
    yield
    for context in set(browser.contexts) - before:
        context.close()


@dataclass
class Complaints:
    """What the browser complained of: console errors, script errors, broken answers, breaches of the content policy."""

    found: list[str] = field(default_factory=list)

    def watch(self, page: Page) -> None:
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.found.append(f"script error: {error}"))
        page.on("requestfailed", self._failed)

    def _failed(self, request: Request) -> None:
        # Who goes on to the next page breaks off what the last one was still fetching; that is no fault of either.
        if "ERR_ABORTED" not in str(request.failure):
            self.found.append(f"failed: {request.url} {request.failure}")

    def _console(self, message: ConsoleMessage) -> None:
        # The browser reports every refused form as an error of its own; the page says what it is.
        if message.type == "error" and "status of 422" not in message.text:
            self.found.append(message.text)


@pytest.fixture
def complaints() -> Iterator[Complaints]:
    complaints = Complaints()
    yield complaints
    assert complaints.found == []


@pytest.fixture(scope="module")
def malthouse(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[str]:
    """The address of a server on an empty record, with the built-in programmes."""
    with Serving(furnished(tmp_path_factory.mktemp("malthouse"), migrated_file)) as address:
        yield address


@pytest.fixture
def house(tmp_path: Path, migrated_file: Path) -> Iterator[House]:
    """A house with one batch, that can be shut and opened again."""
    with standing(tmp_path, migrated_file) as house:
        yield house


class Serving:
    """Serve an application from a thread, for as long as the block lasts."""

    def __init__(self, settings: Settings) -> None:
        self.app = create_app(settings)
        self.server = make_server("127.0.0.1", 0, self.app, threaded=True)
        self.thread = Thread(target=self.server.serve_forever, daemon=True)

    def __enter__(self) -> str:
        self.thread.start()
        return f"http://127.0.0.1:{self.server.server_port}"

    def __exit__(self, *_: object) -> None:
        self.server.shutdown()
        self.thread.join()
        self.server.server_close()
        self.app.extensions["engine"].dispose()


def page_at(browser: Browser, viewport: dict[str, int], *, scheme: str = "light") -> Page:
    context = browser.new_context(viewport=viewport, color_scheme=scheme, has_touch=viewport is PHONE)
    return context.new_page()


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory, demo_of_today: Path) -> Iterator[str]:
    """The address of a server on the demo malthouse."""
    with Serving(furnished(tmp_path_factory.mktemp("demo"), demo_of_today)) as address:
        yield address
