"""What was typed is read once for each time that it is sent, whoever asks about it, judges it or keeps it."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.config import Settings
from app.judgement.facts.fields import FieldSpec
from app.judgement.facts.kinds import KINDS
from app.science import units
from tests.pages import Tub, insisting
from tests.writing import Opened, entry, water

from .keeping import asked, kept, said
from .posts import WAYS

ENTRIES = {"batches.merge": 2, "sync.keep": 3}
"""How many entries with the same fields a post of the examples holds; the others one."""
WITH_ENTRIES = [
    "batches.answer",
    "batches.change_programme",
    "batches.charge",
    "batches.merge",
    "batches.pack",
    "batches.roast",
    "batches.split",
    "data.take_unsent_in",
    "facts.keep_correction",
    "facts.withdraw",
    "house.keep",
    "lots.keep",
    "lots.keep_dishes",
    "lots.take_in",
    "malt.keep",
    "packs.dispatch",
    "sync.keep",
    "tub.keep",
    "tub.keep_chosen",
]


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often each field was read, and under “numbers” how often any number was."""
    counts: Counter[str] = Counter()
    read_field, read_number = FieldSpec.read, units.parse_number

    def counted(spec: FieldSpec, typed: Mapping[str, str], name: str) -> Any:
        counts[name] += 1
        return read_field(spec, typed, name)

    def counted_number(text: str) -> float:
        counts["numbers"] += 1
        return read_number(text)

    monkeypatch.setattr(FieldSpec, "read", counted)
    monkeypatch.setattr(units, "parse_number", counted_number)
    return counts


@pytest.fixture
def furnished(settings: Settings, morning: None, furnished_file: Path) -> None:
    """Something of everything is in the house. To be asked for before the app is."""
    shutil.copy(furnished_file, settings.database_file)


def once(kind: str) -> dict[str, int]:
    return dict.fromkeys(KINDS[kind].fields, 1)


def test_an_entry_at_the_tub(tub: Tub, read: Counter[str]) -> None:
    kept(tub.keep("grain_temperature", {"value": "15,8"}))
    assert read == once("grain_temperature") | {"numbers": 1}


def test_a_meter_is_looked_at_for_more_than_its_number_and_read_once_all_the_same(
    app: Flask, tub: Tub, read: Counter[str]
) -> None:
    said(app, entry("grain_temperature", {"value": "18"}, id="warm-1"))
    read.clear()
    kept(tub.keep("moisture_test", {"value": "12.4", "value_unit": "percent", "method": "meter"}))
    assert read == once("moisture_test") | {"numbers": 1}


def test_what_is_asked_about_is_read_once_to_ask_and_once_when_it_is_insisted_on(tub: Tub, read: Counter[str]) -> None:
    first = tub.keep("grain_temperature", {"value": "90"})
    asked(first)
    assert {name: read[name] for name in ("value", "lowest", "highest")} == once("grain_temperature")
    read.clear()
    kept(tub.send("grain_temperature", insisting(first.text)))
    assert read == once("grain_temperature") | {"numbers": 1}


def test_an_entry_from_a_phone(client: FlaskClient, batch: Opened, read: Counter[str]) -> None:
    answer = client.post("/sync/facts", json={"entries": [water()]})
    assert answer.get_json()["answers"][0]["status"] == 201
    assert read == once("water_temperature") | {"numbers": 1}


def test_an_entry_from_a_phone_that_can_still_be_asked(client: FlaskClient, batch: Opened, read: Counter[str]) -> None:
    answer = client.post("/sync/facts", json={"entries": [water()], "ask": "water-1"})
    assert answer.get_json()["answers"][0]["status"] == 201
    assert read == once("water_temperature") | {"numbers": 1}


@pytest.mark.parametrize("endpoint", WITH_ENTRIES)
def test_each_post_that_keeps_entries(
    furnished: None, app: Flask, client: FlaskClient, read: Counter[str], endpoint: str
) -> None:
    post = WAYS[endpoint](client, app)
    read.clear()
    assert post.by(client).status_code in (200, 303)
    del read["numbers"]
    assert set(read.values()) == {ENTRIES.get(endpoint, 1)}, read
