"""Eight phones on a bad network at once: what the house says it has it has, once, and nothing else is missing.

Loopback only; bounded by the rounds that a phone may take.
"""

from __future__ import annotations

import http.client
import json
import random
import shutil
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Thread
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select
from werkzeug.serving import make_server

from app import create_app
from app.config import Settings
from app.folder import ensure_secret
from app.store.engine import read_session, write_session
from app.store.facts import fact
from tests.benchmarks.conftest import Figures
from tests.writing import NOW, add_batch, charge

PHONES, ENTRIES, AT_ONCE = 8, 200, 20
MOST_ROUNDS = 40 * ENTRIES // AT_ONCE


@dataclass
class House:
    """A server on loopback, and what it holds."""

    port: int
    engine: Any

    def count(self) -> dict[str, int]:
        """How often each id is there."""
        with read_session(self.engine) as session:
            ids = list(session.scalars(select(fact.c.id).where(fact.c.kind == "water_temperature")))
        return {each: ids.count(each) for each in set(ids)} if len(set(ids)) != len(ids) else dict.fromkeys(ids, 1)


@pytest.fixture
def house(tmp_path: Path, migrated_file: Path) -> Iterator[House]:
    shutil.copy(migrated_file, tmp_path / "chitbook.sqlite")
    ensure_secret(tmp_path / "secret")
    app = create_app(Settings(data_dir=tmp_path, zone=ZoneInfo("Europe/Dublin")))
    with write_session(app.extensions["engine"]) as session:
        for number in range(PHONES):
            add_batch(session, f"batch-{number}", charge(id=f"charge-{number}", as_is="10"))
    server = make_server("127.0.0.1", 0, app, threaded=True)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield House(server.server_port, app.extensions["engine"])
    server.shutdown()
    thread.join(timeout=5)
    server.server_close()
    app.extensions["engine"].dispose()


@dataclass
class Phone:
    """An outbox on a bad network: sends in any order, sends twice, goes out of reach before or after the answer."""

    number: int
    port: int
    dice: random.Random
    waiting: dict[str, dict[str, Any]] = field(default_factory=dict)
    acknowledged: set[str] = field(default_factory=set)
    rounds: int = 0
    busy: int = 0
    token: str = ""
    cookie: str = ""

    def write(self, count: int) -> None:
        for place in range(count):
            entry_id = f"phone-{self.number}-{place}"
            at = (NOW + timedelta(seconds=place)).isoformat()
            typed = {"value": f"{10 + place % 80 / 10}", "value_unit": "c"}
            subject = {"type": "batch", "id": f"batch-{self.number}"}
            self.waiting[entry_id] = {
                "id": entry_id, "kind": "water_temperature", "subject": subject, "at": at, "typed": typed, "v": 1,
            }  # fmt: skip

    def empty(self) -> None:
        while self.waiting and self.rounds < MOST_ROUNDS:
            self.rounds += 1
            chosen = self.dice.sample(sorted(self.waiting), min(AT_ONCE, len(self.waiting)))
            sent = [self.waiting[entry_id] for entry_id in chosen]
            if self.dice.random() < 0.2:
                sent += self.dice.sample(sent, 1)
            if self.dice.random() < 0.1:
                continue  # Nothing got through.
            for answer in self._send(sent):
                if answer["status"] in (200, 201):
                    self.acknowledged.add(answer["id"])
                    self.waiting.pop(answer["id"], None)

    def _send(self, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
        if not self.token:
            self._hello()
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        headers = {"Content-Type": "application/json", "X-CSRFToken": self.token, "Cookie": self.cookie}
        connection.request("POST", "/sync/facts", json.dumps({"entries": entries}), headers)
        if self.dice.random() < 0.2:
            connection.close()  # The answer is lost on its way.
            return []
        answer = connection.getresponse()
        body = json.loads(answer.read())
        connection.close()
        if answer.status == 503:
            # Seven others are writing: kept, and tried again after a pause, as a phone does.
            self.busy += 1
            time.sleep(0.2 + self.dice.random())
            return []
        assert answer.status == 200, body
        found: list[dict[str, Any]] = body["answers"]
        return found

    def _hello(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        connection.request("GET", "/sync/hello")
        answer = connection.getresponse()
        self.token = json.loads(answer.read())["csrf_token"]
        self.cookie = (answer.getheader("Set-Cookie") or "").partition(";")[0]
        connection.close()


def test_eight_phones_on_a_bad_network_lose_nothing_and_double_nothing(
    house: House, is_short: bool, figures: Figures
) -> None:
    each = ENTRIES // 4 if is_short else ENTRIES
    seed = datetime.now(UTC).microsecond
    phones = [Phone(number, house.port, random.Random(seed + number)) for number in range(PHONES)]
    for phone in phones:
        phone.write(each)
    began = time.perf_counter()
    with ThreadPoolExecutor(PHONES) as pool:
        list(pool.map(Phone.empty, phones))
    took_s = time.perf_counter() - began
    held, acknowledged = house.count(), set().union(*(phone.acknowledged for phone in phones))
    figures.say(
        f"soak (seed {seed}): {PHONES} phones × {each} entries in {took_s:.1f} s, "
        f"{PHONES * each / took_s:.0f} a second, "
        f"{sum(phone.rounds for phone in phones)} sendings, {sum(phone.busy for phone in phones)} answered “busy”"
    )
    assert all(not phone.waiting for phone in phones), f"seed {seed}"
    assert acknowledged == held.keys() == {f"phone-{phone.number}-{place}" for phone in phones for place in range(each)}
    assert set(held.values()) == {1}
