"""A probe's long series stands in one line of the record, and can be seen whole."""

from __future__ import annotations

from datetime import timedelta
from html import unescape

from flask import Flask
from flask.testing import FlaskClient

from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Subject
from app.judgement.history.history import BatchInfo, History
from app.judgement.wording import Words
from app.store.engine import write_session
from app.web.batches.record import record_groups
from tests.conftest import NOW
from tests.stories import add_fact, add_story


def reading(minutes: int, value: float, **more: str) -> dict[str, object]:
    record = {"id": f"r{minutes}", "kind": "grain_temperature", "subject": {"type": "batch", "id": "b"}}
    return record | {"at": (NOW + timedelta(minutes=minutes)).isoformat(), "values": {"value": value}, **more}


def rows_of(*records: dict[str, object], is_whole: bool = False) -> list[str]:
    facts = [fact_from_record(record) for record in records]
    assert all(fact.subject == Subject("batch", "b") for fact in facts)
    groups = record_groups(History.build(BatchInfo(id="b"), facts), Words(), is_whole=is_whole)
    return [f"{row.word} {row.value}".replace("\u00a0", " ") for group in groups for row in group.rows]


def test_twelve_readings_close_together_are_one_line() -> None:
    readings = [reading(10 * place, 20.0 + place, instrument="probe 1") for place in range(12)]
    assert rows_of(*readings) == ["Grain temperature, 12 readings: 20.0 °C to 31.0 °C"]
    assert len(rows_of(*readings, is_whole=True)) == 12


def test_fewer_readings_or_wider_apart_stand_each_by_itself() -> None:
    assert len(rows_of(*(reading(10 * place, 20.0) for place in range(11)))) == 11
    assert len(rows_of(*(reading(60 * place, 20.0) for place in range(12)))) == 12


def test_a_reading_with_a_note_stands_by_itself() -> None:
    readings = [reading(10 * place, 20.0) for place in range(13)]
    readings[4]["note"] = "door open"
    assert len(rows_of(*readings)) == 2


def test_the_page_offers_each_one(app: Flask, client: FlaskClient) -> None:
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=20)
        number = batch.number
        for place in range(14):
            add_fact(session, batch, "air_temperature", {"value": 15.0}, id=f"air-{place}", hours_ago=4 - place / 6)
    folded = unescape(client.get(f"/batches/{number}").text)
    assert "14 readings" in folded
    whole = unescape(client.get(f"/batches/{number}?record=whole").text)
    assert "14 readings" not in whole
    assert whole.count("Air temperature") > folded.count("Air temperature")
