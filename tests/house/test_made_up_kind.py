"""A kind that is known by its one entry alone goes the whole way: tub, question, answer, chart, export, Methods."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import ports
from app.charts.timeline import timeline_figure
from app.exchange.records import export_records, import_records
from app.judgement.explained.facts import method_of
from app.judgement.facts import kind_parts as make
from app.judgement.facts.kind_parts import Plausible, Span
from app.judgement.facts.kinds import KINDS, RANK
from app.judgement.facts.shapes import Reading
from app.science.units import DEFAULT_UNITS, UNITS, Unit
from app.store.engine import make_sessionmaker, open_database, read_session, write_session
from app.store.history import get_history
from app.store.types import canonical_json
from app.web.sync.sheet import ranges
from tests.charts.tale import draw, named, tale
from tests.pages import Tub, insisting
from tests.sync.conftest import Phone
from tests.web.keeping import asked, kept, text_of, the_fact
from tests.writing import BATCH, NOW, Opened, add_batch, entry

SALTS = make.reading(
    "salts",
    "Salts of the steep water",
    "conductivity",
    0.0,
    200.0,
    formula="moisture.water_to_reach_kg",
    plausible=Plausible(Span(0.05, 5.0), Span(0.01, 10.0), Span(0.0, 50.0)),
)
TYPED = {"value": "3.2", "value_unit": "ms_cm"}
SHOWN = "3.20 mS/cm"


@pytest.fixture(autouse=True)
def salts(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Its dimension with its unit, and its entry: what somebody writes who adds such a kind."""
    monkeypatch.setitem(UNITS, "ms_cm", Unit("ms_cm", "mS/cm", "conductivity", 1.0, decimals=2))
    for system in ("metric", "us"):
        monkeypatch.setitem(DEFAULT_UNITS[system], "conductivity", "ms_cm")
    monkeypatch.setitem(KINDS, "salts", SALTS)
    monkeypatch.setitem(RANK, "salts", len(RANK))
    ranges.cache_clear()
    yield
    ranges.cache_clear()


@pytest.fixture
def tub(app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> Tub:
    monkeypatch.setattr(ports, "now", lambda: NOW)
    with write_session(app.extensions["engine"]) as session:
        row = add_batch(session)
        return Tub(client, Opened(row.id, row.number).number)


def test_it_is_drawn_with_its_own_unit() -> None:
    story = tale()
    story.say(51, "salts", {"value": 3.2})
    figure = draw(story)
    assert named(figure, "other entries")["hovertext"][-1].startswith(f"Salts of the steep water<br>{SHOWN}")


def test_a_temperature_that_has_no_style_of_its_own_is_a_curve_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(KINDS, "salts", make.temperature("salts", "Heart of the heap"))
    story = tale()
    story.say(51, "salts", {"value": 21.5}, place="left")
    figure = draw(story)
    trace = named(figure, "heart of the heap, left")
    assert (trace["yaxis"], trace["y"]) == ("y2", [21.5])
    assert "21.5 °C" in trace["hovertext"][0]
    assert not any("Heart" in text for text in named(figure, "other entries")["hovertext"])


def test_it_is_offered_at_the_tub_kept_and_answered_in_its_own_unit(app: Flask, tub: Tub) -> None:
    page = tub.client.get(tub.path).text
    group = page[page.index('aria-label="Temperature and air"') :].split("</nav>")[0]
    assert 'href="#salts"' in group
    fact_id = kept(tub.keep("salts", TYPED))
    assert isinstance(the_fact(app), Reading)
    assert the_fact(app).value == 3.2
    assert f"Salts of the steep water {SHOWN}" in text_of(tub.client.get(f"{tub.path}?kept={fact_id}"))
    assert SHOWN in text_of(tub.client.get(f"/batches/{tub.number}")).replace("\u00a0", " ")


def test_a_slip_of_the_pen_is_asked_about(app: Flask, tub: Tub) -> None:
    answer = tub.keep("salts", TYPED | {"value": "120"})
    assert "is more than one expects here (0.01 mS/cm to 10.00 mS/cm)" in asked(answer)
    kept(tub.send("salts", insisting(answer.text)))
    assert the_fact(app).value == 120.0


def test_a_phone_knows_what_is_usual_of_it_and_its_entry_is_answered(tub: Tub) -> None:
    sheet = tub.client.get(f"/sync/batches/{BATCH}").get_json()
    assert sheet["ranges"]["charged"]["salts"]["value"]["ms_cm"][0] == "mS/cm"
    answer = Phone(tub.client).send_one(entry("salts", TYPED, id="salts-1"))
    assert answer["status"] == 201
    assert SHOWN in answer["meaning"]["text"]


def test_it_is_exported_and_read_in_again(app: Flask, tub: Tub, tmp_path: Path, migrated_file: Path) -> None:
    kept(tub.keep("salts", TYPED))
    with read_session(app.extensions["engine"]) as session:
        told = [canonical_json(record) + "\n" for record in export_records(session)]
    copy = shutil.copy(migrated_file, tmp_path / "other.sqlite")
    with open_database(f"sqlite:///{copy}") as engine, make_sessionmaker(engine)() as empty:
        import_records(empty, told)
        assert [canonical_json(record) + "\n" for record in export_records(empty)] == told
        history = get_history(empty, BATCH)
    assert [fact.value for fact in history.readings("salts")] == [3.2]
    figure = timeline_figure(history, NOW, [])
    assert SHOWN in named(figure, "other entries")["hovertext"][-1]


def test_methods_says_how_it_is_come_by(monkeypatch: pytest.MonkeyPatch) -> None:
    assert method_of("salts") == "moisture.water_to_reach_kg"
    monkeypatch.setitem(KINDS, "salts", make.reading("salts", "Salts", "conductivity", 0.0, 200.0))
    assert method_of("salts") == "readings"
