"""A house that can be shut, opened again, slowed down, and made to lose its answers; and what a phone keeps of it."""

from __future__ import annotations

import json
import re
import socket
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread
from typing import Any

from playwright.sync_api import Page
from werkzeug.serving import BaseWSGIServer, make_server

from app import create_app
from app.config import Settings
from app.judgement.facts.shapes import Fact
from app.store.batches import Batch
from app.store.engine import read_session, write_session
from app.store.facts import fact as fact_table
from app.store.facts import facts_from, select_facts
from app.store.history import get_history
from tests.houses import furnished
from tests.writing import add_batch

Environ = dict[str, Any]
Body = Iterable[bytes]


@dataclass
class House:
    """The server of one malthouse, at one address for as long as the test lasts."""

    settings: Settings
    port: int = 0
    delay_s: float = 0.0
    lose_answers: int = 0
    answers_at_most: int | None = None
    """Posts after so many are left waiting."""
    is_paired: bool = True
    posts: list[int] = field(default_factory=list)
    """How many entries each post brought."""

    server: BaseWSGIServer | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def open(self) -> None:
        self.app = create_app(self.settings)
        self.server = make_server("127.0.0.1", self.port, self._answer, threaded=True)
        self.port = self.server.server_port
        self.thread = Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
        self.thread.start()

    def shut(self) -> None:
        if self.server is not None:
            self.server.shutdown()
            self.thread.join()
            self.server.server_close()
            self.app.extensions["engine"].dispose()
            self.server = None

    def _answer(self, environ: Environ, start: Callable[..., Any]) -> Body:
        time.sleep(self.delay_s)
        is_post = environ["REQUEST_METHOD"] == "POST" and environ["PATH_INFO"] == "/sync/facts"
        if not self.is_paired:
            start("401 Unauthorized", [("Content-Type", "application/json")])
            told = {"status": 401, "reason": "revoked", "text": "This phone is not paired any more."}
            return [json.dumps(told).encode()]
        while is_post and self.answers_at_most is not None and len(self.posts) >= self.answers_at_most:
            time.sleep(0.02)
        answer = list(self.app(environ, start))
        if is_post:
            self.posts.append(answer[0].count(b'"status":') if answer else 0)
        if is_post and self.lose_answers > 0:
            self.lose_answers -= 1
            with suppress(OSError):
                environ["werkzeug.socket"].shutdown(socket.SHUT_RDWR)
        return answer

    def begin_batch(self) -> Batch:
        with write_session(self.app.extensions["engine"]) as session:
            return add_batch(session)

    def facts(self, batch_id: str = "batch-1") -> list[Fact]:
        """The facts that stand, but the charge."""
        with read_session(self.app.extensions["engine"]) as session:
            return [each for each in get_history(session, batch_id).facts if each.kind != "charge"]

    def all_facts(self) -> list[Fact]:
        """Every fact about the batch that was ever kept, in order of arrival, but the charge."""
        with read_session(self.app.extensions["engine"]) as session:
            rows = session.execute(select_facts().where(fact_table.c.kind.not_in(("charge", "intake")))).all()
            return facts_from(rows)


@contextmanager
def standing(folder: Path, migrated_file: Path) -> Iterator[House]:
    """A house with one batch, open for as long as the block lasts."""
    house = House(furnished(folder, migrated_file))
    house.open()
    house.begin_batch()
    try:
        yield house
    finally:
        house.shut()


CONTROLLED = """() => navigator.serviceWorker.controller ? true : new Promise((resolve, reject) => {
  navigator.serviceWorker.addEventListener("controllerchange", () => resolve(true));
  setTimeout(() => reject(new Error("no worker took over")), 10_000);
})"""

CACHED = """async () => {
  for (let turn = 0; turn < 300; turn += 1) {
    if (await (await caches.open("chitbook-pages")).match(location.pathname, {ignoreVary: true})) return;
    await new Promise((resolve) => setTimeout(resolve, 30));
  }
  throw new Error("the page was never kept");
}"""


def tub(page: Page, house: House) -> Page:
    """Open the tub page of batch 1, and wait until it opens without a connection too."""
    page.goto(f"{house.address}/batches/1/tub")
    page.evaluate(CONTROLLED)
    page.evaluate(CACHED)
    return page


def log(page: Page, kind: str, **typed: str) -> None:
    """Open an entry from the tub's tiles or from the list of all, type, and press Keep."""
    page.evaluate("kind => { location.hash = kind }", kind)
    for name, text in typed.items():
        element = page.locator(f"[name={kind}-{name}]")
        if name.endswith("_unit"):
            element.select_option(text)
        elif element.first.get_attribute("type") == "radio":
            page.locator(f"[name={kind}-{name}][value={text}]").check()
        else:
            element.fill(text)
    page.locator(f".screen:has(#{kind})").get_by_role("button", name=re.compile("^Keep")).click()


def waiting(page: Page) -> Any:
    """The rows of the outbox as they lie on the phone."""
    return in_modules(page, "return await modules.outbox.list()")


def in_modules(page: Page, code: str, argument: Any = None) -> Any:
    """Run code in the page, with our own modules at hand."""
    script = (
        """async (argument) => {
      const base = document.querySelector("script[src*='/js/app.js']").src.replace("app.js", "");
      const names = ["db", "outbox", "sync", "uuid", "house_time", "record", "slip"];
      const found = await Promise.all(names.map((name) => import(`${base}${name}.js`)));
      const modules = Object.fromEntries(names.map((name, place) => [name, found[place]]));
    """
        + code
        + "}"
    )
    return page.evaluate(script, argument)


def seed(page: Page, number: int, batch_id: str = "batch-1") -> list[str]:
    """Put so many water temperatures into the outbox, as if they had been typed without a connection."""
    code = """
      const rows = Array.from({length: argument.number}, (_, place) => {
        const at = new Date(Date.now() - 1000 * (argument.number - place)).toISOString();
        return {word: "Water temperature", shown: "12", record: {id: modules.uuid.uuid(), v: 1,
          kind: "water_temperature", subject: {type: "batch", id: argument.batch},
          earliest_at: at, latest_at: at, clock: "now", clock_offset_s: 0,
          quality: "measured", typed: {value: String(10 + place % 9), value_unit: "c"}}};
      });
      await modules.db.transact(["entries"], "readwrite", (entries) => {
        for (const [place, row] of rows.entries()) {
          entries.add({...row, id: row.record.id, state: "waiting", order: place, kept_at: Date.now(), hold: 0});
        }
      });
      return rows.map((row) => row.record.id);
    """
    found: list[str] = in_modules(page, code, {"number": number, "batch": batch_id})
    return found


def flushed(page: Page) -> None:
    """Press "Send now" in effect, and wait for the end of it."""
    in_modules(page, "modules.sync.state.nextAt = 0; await modules.sync.flush()")
