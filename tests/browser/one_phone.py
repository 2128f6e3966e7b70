"""A phone in a process of its own, that can be killed: writes 120 entries and begins to send, or sends what is left."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from playwright.sync_api import sync_playwright

from tests.browser.outbox_house import in_modules, seed, waiting
from tests.patience import wait_until


def main() -> None:
    profile, address, chromium, flags, task = sys.argv[1:]
    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            profile, executable_path=chromium, args=json.loads(flags), headless=True
        )
        page = context.pages[0]
        page.goto(f"{address}/batches/1/tub")
        page.wait_for_load_state("networkidle")
        if task == "write":
            seed(page, 120)
            print(f"{len(waiting(page))} kept", flush=True)
            time.sleep(0.2)
            print("sending", flush=True)
            in_modules(page, "await modules.sync.flush()")
        else:
            wait_until(lambda: not waiting(page), every_s=0.1)
            print(f"{len(waiting(page))} left", flush=True)
        context.close()


if __name__ == "__main__":
    main()
