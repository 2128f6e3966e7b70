"""The README's screenshots, taken of the demo by the system's Chromium: `python docs/pictures/make.py`."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

HERE = Path(__file__).parent
PHONE, DESK = (390, 844), (1280, 900)
PICTURES = (("tub.png", "/batches/7/tub", PHONE), ("batch.png", "/batches/6", DESK))
COMPARED = ("compare.png", "/compare?batch=2&batch=6", DESK)


def main() -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        raise SystemExit("There is no Chromium on this machine.")
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-c", "from app.cli import main; main()", "serve", "--demo", "--port", "0"]
        server = subprocess.Popen([*command, "--data", f"{folder}/demo"], stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout is not None
            greeting = server.stdout.readline()
            address = next(word for word in greeting.split() if word.startswith("http")).rstrip("/")
            take(address, chromium)
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(timeout=10)


def take(address: str, chromium: str) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(color_scheme="light")
        for name, path, size in (*PICTURES, COMPARED):
            picture(page, address + path, name, size)
        browser.close()


def picture(page: Page, address: str, name: str, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(address, wait_until="networkidle")
    if page.locator("[data-chart]").count():
        page.locator(".js-plotly-plot .xtick").first.wait_for(state="attached", timeout=30_000)
    page.screenshot(path=HERE / name)


if __name__ == "__main__":
    main()
