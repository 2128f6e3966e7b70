"""Saying it rightly: the form holds what was kept, and what it said before stays in the record."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app import ports
from app.judgement.facts.shapes import Action, Fact, Weighing
from app.operations.facts import record_fact, withdraw_fact
from app.operations.people import add_person
from app.store.engine import read_session, write_session
from app.store.facts import find_fact, find_superseder
from app.store.history import get_history
from tests.pages import PageForm, forms_of, insisting
from tests.writing import BATCH, LOT, NOW, Opened, Record, entry, iso, water

pytestmark = pytest.mark.usefixtures("batch")
MOMENT = NOW - timedelta(minutes=10, seconds=-17)


def told(app: Flask, *records: Record) -> None:
    with write_session(app.extensions["engine"]) as session:
        for record in records:
            record_fact(session, record, now=ports.now())


def form_of(client: FlaskClient, fact_id: str) -> PageForm:
    answer = client.get(f"/facts/{fact_id}/correct")
    assert answer.status_code == 200
    return next(form for form in forms_of(answer.text) if "when" in form.choices)


def corrected(app: Flask, client: FlaskClient, fact_id: str, **changes: str) -> Fact:
    """The fact that stands after the form was sent with these changes."""
    form = form_of(client, fact_id)
    answer = client.post(form.action, data=form.filled(**changes))
    assert answer.status_code == 303, text_of(answer)
    with read_session(app.extensions["engine"]) as session:
        later = find_superseder(session, fact_id)
    assert later is not None
    return later


def superseder(app: Flask, fact_id: str) -> Fact | None:
    with read_session(app.extensions["engine"]) as session:
        return find_superseder(session, fact_id)


def text_of(answer: TestResponse) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def test_a_correction_takes_the_place_of_what_was_said(app: Flask, client: FlaskClient) -> None:
    told(app, water("21"))
    later = corrected(app, client, "water-1", value="12")
    with read_session(app.extensions["engine"]) as session:
        assert [fact.id for fact in get_history(session, BATCH).readings()] == [later.id]
        before = find_fact(session, "water-1")
    assert before is not None
    assert before.typed["value"] == "21"
    assert "Saved" in text_of(client.get("/batches/1"))


def test_the_form_holds_all_that_was_said(app: Flask, client: FlaskClient) -> None:
    said = {"place": "top", "instrument": "probe 2", "person": "Nora", "note": "\nsteady,\nat last"}
    typed = {"value": "53,6", "value_unit": "f"}
    told(app, entry("water_temperature", typed, id="water-1", quality="estimated", **said))
    values = form_of(client, "water-1").values
    assert (values["value"], values["value_unit"], values["quality"]) == ("53,6", "f", "estimated")
    assert (values["place"], values["instrument"], values["person"]) == ("top", "probe 2", "Nora")
    assert (values["note"], values["supersedes_id"]) == ("\nsteady,\nat last", "water-1")


def test_what_is_left_alone_stays_the_same_to_the_second(app: Flask, client: FlaskClient) -> None:
    told(app, water("21", at=iso(MOMENT), note="é ½", place="top"))
    later = corrected(app, client, "water-1", value="12")
    assert (later.earliest_at, later.latest_at) == (MOMENT, MOMENT)
    assert (later.note, later.place) == ("é ½", "top")


def test_a_span_stays_a_span(app: Flask, client: FlaskClient) -> None:
    earliest = MOMENT - timedelta(hours=1)
    told(app, water("21", earliest_at=iso(earliest), latest_at=iso(MOMENT)))
    later = corrected(app, client, "water-1", value="12")
    assert (later.earliest_at, later.latest_at) == (earliest, MOMENT)


def test_a_time_of_the_doubled_hour_stays_the_one_it_was(
    app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ports, "now", lambda: datetime(2026, 10, 25, 9, 0, tzinfo=UTC))
    for hour in (0, 1):
        moment = datetime(2026, 10, 25, hour, 30, 20, tzinfo=UTC)
        told(app, water("21", id=f"water-{hour}", at=iso(moment)))
        form = form_of(client, f"water-{hour}")
        values = form.values | {"value": "12", "fold": ("first", "second")[hour]}
        assert client.post(form.action, data=values).status_code == 303
        later = superseder(app, f"water-{hour}")
        assert later is not None
        assert later.at == moment


def test_a_time_can_be_corrected(app: Flask, client: FlaskClient) -> None:
    told(app, water(at=iso(MOMENT)))
    assert corrected(app, client, "water-1", at="2026-03-14T08:15").at == datetime(2026, 3, 14, 8, 15, tzinfo=UTC)


def test_a_wrong_correction_is_said_at_its_field_and_keeps_what_was_typed(app: Flask, client: FlaskClient) -> None:
    told(app, water("21"))
    form = form_of(client, "water-1")
    answer = client.post(form.action, data=form.filled(value="twelve"))
    assert answer.status_code == 422
    assert "“twelve” is not a number" in text_of(answer)
    assert next(each for each in forms_of(answer.text) if "when" in each.choices).values["value"] == "twelve"
    assert superseder(app, "water-1") is None


def test_a_correction_is_asked_about_like_any_entry(app: Flask, client: FlaskClient) -> None:
    told(app, water("21"))
    form = form_of(client, "water-1")
    answer = client.post(form.action, data=form.filled(at="2026-03-15T21:00"))
    assert answer.status_code == 422
    assert "is still to come" in text_of(answer)
    assert client.post(form.action, data=insisting(answer.text)).status_code == 303


def test_a_correction_sent_twice_is_kept_once(app: Flask, client: FlaskClient) -> None:
    told(app, water("21"))
    form = form_of(client, "water-1")
    answers = [client.post(form.action, data=form.filled(value="12")) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    with read_session(app.extensions["engine"]) as session:
        assert len(get_history(session, BATCH).readings()) == 1


def test_who_comes_second_is_shown_what_the_first_one_said(app: Flask, client: FlaskClient) -> None:
    told(app, water("21"))
    mine = form_of(client, "water-1")
    theirs = corrected(app, client, "water-1", value="12")
    answer = client.post(mine.action, data=mine.filled(value="13"))
    assert answer.status_code == 409
    assert "corrected in the meantime" in text_of(answer)
    assert f"/facts/{theirs.id}/correct" in answer.text
    assert superseder(app, "water-1") == theirs


def test_a_corrected_entry_leads_to_the_one_that_stands(app: Flask, client: FlaskClient) -> None:
    told(app, water("21"), water("12", id="water-2", supersedes_id="water-1"))
    page = client.get("/facts/water-1/correct")
    assert page.status_code == 200
    assert "/facts/water-2/correct" in page.text
    assert not [form for form in forms_of(page.text) if "when" in form.choices]


@pytest.mark.parametrize("units", ["metric", "us"])
def test_an_entry_that_came_without_units_is_read_as_it_was(app: Flask, client: FlaskClient, units: str) -> None:
    typed = {"net": "1.5", "of": "20"}
    told(app, entry("skimmings", typed, id="typed-1"), entry("water_temperature", {"value": "12"}, id="typed-2"))
    with write_session(app.extensions["engine"]) as session:
        add_person(session, person_id="p1", name="Nora", units=units, now=NOW)
    with client.session_transaction() as cookie:
        cookie["person"] = "p1"
    skimmed = corrected(app, client, "typed-1", note="checked")
    assert isinstance(skimmed, Weighing)
    assert (skimmed.net_kg, skimmed.of_kg) == pytest.approx((1.5, 20.0))
    assert corrected(app, client, "typed-2", note="checked").value == pytest.approx(12.0)


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize(
    ("kind", "values"),
    [
        ("test_bag", {"vessel": "bag 1", "net_kg": 0.43}),
        ("test_bag", {"vessel": "bag 1", "gross_kg": 0.45, "tare_kg": 0.02, "net_kg": 0.43}),
        ("grain_temperature", {"value": 15.5, "lowest": 12.0, "highest": 16.0}),
        ("growth_count", {"looked_at": 3, "counts": {}, "lengths": [0.5, 0.75, 1.0]}),
        ("moisture_test", {"value": 0.435}),
        ("sprinkled", {"amount": 0.0015}),
    ],
)
def test_an_entry_of_which_only_values_are_known_comes_through_a_correction_unchanged(
    app: Flask, client: FlaskClient, kind: str, values: dict[str, object], units: str
) -> None:
    told(app, entry(kind, id="known-1", values=values) | {"typed": {}})
    with client.session_transaction() as cookie:
        cookie["units"] = units
    with read_session(app.extensions["engine"]) as session:
        before = find_fact(session, "known-1")
    later = corrected(app, client, "known-1", note="checked")
    for name in values:
        was, now = getattr(before, name), getattr(later, name)
        assert now == (pytest.approx(was, rel=1e-5) if isinstance(was, float) else was)


def test_the_end_of_an_interruption_comes_through_in_the_zone_of_the_house(
    app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ports, "now", lambda: datetime(2026, 7, 1, 12, tzinfo=UTC))
    typed = {"what": "a cut", "until": "2026-07-01T11:30:00Z"}
    told(app, entry("interruption", typed, id="cut-1", at="2026-07-01T09:00:00Z"))
    form = form_of(client, "cut-1")
    assert form.values["until"] == "2026-07-01T12:30"
    assert client.post(form.action, data=form.values).status_code == 303
    later = superseder(app, "cut-1")
    assert isinstance(later, Action)
    assert later.until_at == datetime(2026, 7, 1, 11, 30, tzinfo=UTC)


def test_a_weighing_that_did_not_say_how_does_not_say_so_after_its_correction(app: Flask, client: FlaskClient) -> None:
    told(app, entry("test_bag", {"vessel": "bag 1", "gross": "0.43"}, id="bag-1"))
    assert corrected(app, client, "bag-1", gross="0.44").method is None
    told(app, entry("test_bag", {"vessel": "bag 1", "gross": "0.43"}, id="bag-2", method="spun"))
    assert corrected(app, client, "bag-2", gross="0.44").method == "spun"
    assert corrected(app, client, superseded(app, "bag-2"), method="drained").method == "drained"


def superseded(app: Flask, fact_id: str) -> str:
    later = superseder(app, fact_id)
    assert later is not None
    return later.id


def test_a_charge_can_be_corrected(app: Flask, client: FlaskClient) -> None:
    corrected(app, client, f"charge-{BATCH}", as_is="24.5")
    with read_session(app.extensions["engine"]) as session:
        assert [part.as_is_kg for part in get_history(session, BATCH).charges] == [24.5]


def test_an_entry_about_a_lot_can_be_corrected_and_leads_back_to_the_lot(app: Flask, client: FlaskClient) -> None:
    form = form_of(client, f"intake-{LOT}")
    answer = client.post(form.action, data=form.filled(net="490"))
    assert (answer.status_code, answer.location) == (303, f"/lots/{LOT}")
    later = superseder(app, f"intake-{LOT}")
    assert isinstance(later, Weighing)
    assert later.net_kg == 490.0


def test_a_withdrawal_and_an_unknown_entry_cannot_be_corrected(app: Flask, client: FlaskClient, batch: Opened) -> None:
    told(app, water())
    with write_session(app.extensions["engine"]) as session:
        fact = find_fact(session, "water-1")
        assert fact is not None
        withdraw_fact(session, fact, new_id="struck-1", now=NOW)
    for fact_id in ("struck-1", "nothing"):
        assert client.get(f"/facts/{fact_id}/correct").status_code == 404
        assert client.post(f"/facts/{fact_id}/correct", data={"id": "x"}).status_code == 404


def test_a_correction_looks_like_one_and_shows_what_was_said(app: Flask, client: FlaskClient) -> None:
    told(app, water("12"))
    page = client.get("/facts/water-1/correct")
    assert "<h1>Correct: Water temperature</h1>" in page.text
    assert "It says <b>12.0 °C</b>. What it says now stays in the record" in page.text.replace("\xa0", " ")
    assert ">Keep correction</button>" in page.text
