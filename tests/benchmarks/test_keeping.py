"""How long a wet thumb waits while a reading is stored; what it means is told within the limits of test_pages.py."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from flask import Flask, request
from werkzeug.datastructures import MultiDict

from app.operations.facts import record_fact
from app.ports import new_id, now
from app.serve import set_aside_what_stays
from app.web.entries.forms import entry_form
from tests.benchmarks.bulk import filled_app
from tests.benchmarks.conftest import Figures, medians

FACTS = 300


@dataclass
class Bench:
    """Our application with one live batch of 300 facts, and a bare one that inserts a row."""

    app: Flask
    bare: Flask


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[Bench]:
    folder = tmp_path_factory.mktemp("keeping")
    app = filled_app(folder, migrated_file, FACTS)
    set_aside_what_stays()
    yield Bench(app, bare_app(folder / "bare.sqlite"))
    app.extensions["engine"].dispose()


def bare_app(path: Path) -> Flask:
    """The least that a Flask handler can do to keep a reading durably."""
    app, kept = Flask("bare"), threading.local()

    def connection() -> sqlite3.Connection:
        if not hasattr(kept, "connection"):
            kept.connection = sqlite3.connect(path)
            kept.connection.execute("PRAGMA journal_mode = WAL")
            kept.connection.execute("PRAGMA synchronous = FULL")
            kept.connection.execute("CREATE TABLE IF NOT EXISTS reading (id TEXT PRIMARY KEY, at TEXT, value REAL)")
        return kept.connection

    @app.post("/")
    def keep() -> str:
        row = (request.form["id"], now().isoformat(), float(request.form["value"]))
        with connection() as open_connection:
            open_connection.execute("INSERT INTO reading VALUES (?, ?, ?)", row)
        return "kept"

    return app


def test_keeping_a_reading_takes_at_most_three_times_a_bare_insert(
    bench: Bench, is_short: bool, slack: float, figures: Figures
) -> None:
    bare, numbers = bench.bare.test_client(), count()

    def keep_ours() -> None:
        with bench.app.extensions["writing"]() as session:
            sent = MultiDict({"id": new_id(), "value": f"{15 + next(numbers) % 9 / 10}", "value_unit": "c"})
            form = entry_form("grain_temperature", sent, system="metric", zone=ZoneInfo("Europe/Dublin"), now=now())
            assert form.validate()
            record_fact(session, form.fact(("batch", "batch-2"), "Bench"), now=form.now, body=form.body())
            session.commit()

    def keep_bare() -> None:
        assert bare.post("/", data={"id": new_id(), "value": "15.8"}).status_code == 200

    ours_s, bare_s = medians(60 if is_short else 300, keep_ours, keep_bare)
    figures.say(f"store: {ours_s * 1e3:.2f} ms, bare insert {bare_s * 1e3:.2f} ms, ratio {ours_s / bare_s:.2f} (≤ 3)")
    assert ours_s <= 3 * slack * bare_s
