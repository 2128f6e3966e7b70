"""A worker that dies at once, in the middle of its work: what it had answered is there, once."""

import http.client
import json
import os
import signal
import sqlite3
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from threading import Event
from time import sleep

import pytest

from app.ports import new_id
from tests.patience import PATIENCE_S

from .conftest import Server

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="looks for the worker in /proc")

Start = Callable[..., Server]


class Phone:
    """Sends entries as a phone does: the same entry again until it is answered."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
        self.headers: dict[str, str] = {}

    def close(self) -> None:
        self.connection.close()

    def hello(self) -> None:
        self.connection.request("GET", "/sync/hello")
        answer = self.connection.getresponse()
        token = json.loads(answer.read())["csrf_token"]
        cookie = str(answer.getheader("Set-Cookie")).split(";")[0]
        self.headers = {"Content-Type": "application/json", "X-CSRFToken": token, "Cookie": cookie}

    def keep(self, fact_id: str) -> int:
        at = "2026-03-14T09:30:00Z"
        entry = {"id": fact_id, "kind": "note", "subject": {"type": "house", "id": "house"}, "at": at}
        body = json.dumps({"entries": [entry | {"written_at": at, "clock": "now", "typed": {"text": fact_id}}]})
        for _ in range(PATIENCE_S * 50):
            try:
                return self.send(body)
            except (OSError, http.client.HTTPException):
                self.connection.close()
                sleep(0.02)
        raise AssertionError("never answered")

    def send(self, body: str) -> int:
        if not self.headers:
            self.hello()
        self.connection.request("POST", "/sync/facts", body, self.headers)
        answer = self.connection.getresponse()
        said = json.loads(answer.read())
        assert answer.status == 200, said
        return int(said["answers"][0]["status"])


def kept_ids(folder: Path) -> list[str]:
    with closing(sqlite3.connect(folder / "chitbook.sqlite")) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return [fact_id for (fact_id,) in connection.execute("SELECT id FROM fact WHERE kind = 'note'")]


def test_a_worker_killed_between_requests_has_lost_nothing(start: Start, folder: Path) -> None:
    server = start("--data", folder)
    before, after = new_id(), new_id()
    with closing(Phone(server.port)) as phone:
        assert phone.keep(before) == 201
        killed = server.worker()
        os.kill(killed, signal.SIGKILL)
        assert phone.keep(after) == 201
        assert phone.keep(before) == 200
    assert server.worker() != killed
    assert server.stop()[0] == 0
    assert sorted(kept_ids(folder)) == sorted([before, after])


def test_a_worker_killed_in_the_middle_of_200_saves_has_every_answered_one_once(start: Start, folder: Path) -> None:
    server = start("--data", folder)
    answered: list[str] = []
    enough = Event()

    def save_fifty(_: int) -> None:
        with closing(Phone(server.port)) as phone:
            for _ in range(50):
                fact_id = new_id()
                assert phone.keep(fact_id) in (200, 201)
                answered.append(fact_id)
                if len(answered) >= 80:
                    enough.set()

    with ThreadPoolExecutor(4) as pool:
        phones = pool.map(save_fifty, range(4))
        assert enough.wait(PATIENCE_S)
        killed = server.worker()
        os.kill(killed, signal.SIGKILL)
        assert len(answered) < 200
        list(phones)
    assert server.worker() != killed
    assert sorted(kept_ids(folder)) == sorted(answered)
    assert len(answered) == 200
