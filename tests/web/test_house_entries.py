"""Recording something about the house, a vessel or an instrument."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app import ports
from app.judgement.facts.shapes import Fact, Subject
from app.store.engine import read_session
from app.store.house import HOUSE, list_house_facts
from app.web.house.guidance import HOUSE_KINDS
from tests.pages import PageForm, forms_of, insisting, value_shown
from tests.writing import NOW

pytestmark = pytest.mark.usefixtures("morning")
TYPED: dict[str, dict[str, str]] = {
    "calibrated": {"about": "probe 2", "amount": "-3"},
    "cleaned": {"about": "Tub 1", "what": "hot soda"},
    "cleaning_plan": {"about": "Floor", "amount": "14", "what": "hot soda"},
    "water_analysis": {"iron": "0.1", "nitrate": "20"},
    "scale_checked": {"about": "platform", "value": "1004", "known": "1000"},
    "humidity_checked": {"about": "probe h", "value": "71", "known": "75"},
    "co2_room": {"value": "980"},
    "co_room": {"value": "5"},
    "note": {"text": "Pest round: two mice"},
}


def form(client: FlaskClient, kind: str, query: str = "") -> PageForm:
    page = client.get(f"/house/entries/{kind}{query}")
    assert page.status_code == 200
    return next(each for each in forms_of(page.text) if "when" in each.choices)


def keep(client: FlaskClient, kind: str, **changes: str) -> TestResponse:
    sheet = form(client, kind)
    return client.post(sheet.action, data=sheet.filled(**TYPED[kind] | changes))


def facts(app: Flask) -> list[Fact]:
    with read_session(app.extensions["engine"]) as session:
        return list_house_facts(session)


@pytest.mark.parametrize("kind", HOUSE_KINDS)
def test_every_kind_is_kept_and_shown_with_its_meaning(app: Flask, client: FlaskClient, kind: str):
    answer = keep(client, kind)
    assert answer.status_code == 303
    assert [fact.kind for fact in facts(app)] == [kind]
    page = client.get(answer.location).text
    assert "What it means" in page
    assert "Saved" in page


@pytest.mark.parametrize(
    ("kind", "subject"),
    [
        ("calibrated", Subject("instrument", "probe 2")),
        ("cleaned", Subject("vessel", "Tub 1")),
        ("cleaning_plan", Subject("vessel", "Floor")),
        ("water_analysis", HOUSE),
        ("scale_checked", Subject("instrument", "platform")),
        ("humidity_checked", Subject("instrument", "probe h")),
        ("co2_room", HOUSE),
        ("co_room", HOUSE),
        ("note", HOUSE),
    ],
)
def test_each_is_about_what_it_names(app: Flask, client: FlaskClient, kind: str, subject: Subject):
    keep(client, kind)
    assert facts(app)[0].subject == subject


@pytest.mark.parametrize(
    ("kind", "label"),
    [
        ("calibrated", "Thermometer"),
        ("scale_checked", "Scale"),
        ("humidity_checked", "Hygrometer"),
        ("cleaned", "Vessel"),
        ("cleaning_plan", "Vessel"),
    ],
)
def test_the_form_says_what_is_to_be_named(client: FlaskClient, kind: str, label: str):
    assert f'<label for="about">{label}' in client.get(f"/house/entries/{kind}").text


def test_cleaning_that_names_no_vessel_is_of_the_house(app: Flask, client: FlaskClient):
    keep(client, "cleaned", about=" ")
    assert facts(app)[0].subject == HOUSE


def test_the_page_of_the_house_leads_to_the_form_with_the_name_filled_in(client: FlaskClient):
    keep(client, "cleaned", about="Tub 1 & floor")
    assert 'href="/house/entries/cleaned?about=Tub%201%20%26%20floor"' in client.get("/house").text
    assert form(client, "cleaned", "?about=Tub%201%20%26%20floor").values["about"] == "Tub 1 & floor"


@pytest.mark.parametrize(
    ("value", "said"), [("980", "Within the limit"), ("5200", "Open doors"), ("15500", "Leave now")]
)
def test_the_air_is_held_against_the_limits_for_people(client: FlaskClient, value: str, said: str):
    # GB EH40: 5000 ppm over eight hours, 15 000 ppm over a quarter of one.
    assert said in client.get(keep(client, "co2_room", value=value).location).text


def test_the_caution_about_gas_stands_above_the_number(client: FlaskClient):
    page = client.get("/house/entries/co2_room").text
    assert "nose and candle are no test" in page
    assert page.index("nose and candle") < page.index('name="value"')


@pytest.mark.parametrize(
    ("kind", "changes", "field", "said"),
    [
        ("calibrated", {"about": ""}, "about", "Name the thermometer"),
        ("calibrated", {"about": "p" * 61}, "about", "At most 60"),
        ("calibrated", {"amount": "much"}, "amount", "not a number"),
        ("scale_checked", {"about": ""}, "about", "Name the scale"),
        ("humidity_checked", {"value": "120"}, "value", "can&#39;t be above 100"),
        ("humidity_checked", {"known": "", "quality": "not_possible"}, "known", "missing"),
        ("scale_checked", {"known": "", "quality": "all_well"}, "known", "missing"),
        ("cleaning_plan", {"amount": "0"}, "amount", "can&#39;t be below 1"),
        ("water_analysis", {"iron": "", "nitrate": ""}, "ph", "at least one figure"),
        ("water_analysis", {"iron": "-1"}, "iron", "can&#39;t be below"),
        ("calibrated", {"amount": "-300"}, "amount", "can&#39;t be below"),
        ("calibrated", {"until": "some day"}, "until", "not a date and time"),
        ("calibrated", {"when": "at", "at": "yesterday"}, "when", "not a date and time"),
        ("co2_room", {"value": "-1"}, "value", "can&#39;t be below"),
        ("co2_room", {"value": ""}, "value", "missing"),
        ("note", {"text": ""}, "text", "missing"),
    ],
)
def test_what_is_wrong_is_told_at_its_field_and_nothing_is_stored(
    app: Flask, client: FlaskClient, kind: str, changes: dict[str, str], field: str, said: str
):
    answer = keep(client, kind, **changes)
    assert answer.status_code == 422
    place = answer.text.index(f'id="{field}-wrong"')
    assert said in answer.text[place : place + 300]
    for name, value in changes.items():
        assert value_shown(answer.text, name) == value
    assert facts(app) == []


def test_a_double_press_is_kept_once(app: Flask, client: FlaskClient):
    sheet = form(client, "note")
    values = sheet.filled(**TYPED["note"])
    first, second = (client.post(sheet.action, data=values) for _ in range(2))
    assert (first.status_code, second.status_code) == (303, 303)
    assert "it was here already" in client.get(second.location).text
    assert len(facts(app)) == 1


def test_the_same_id_about_another_vessel_shows_what_was_kept(app: Flask, client: FlaskClient):
    sheet = form(client, "cleaned")
    client.post(sheet.action, data=sheet.filled(about="Tub 1"))
    answer = client.post(sheet.action, data=sheet.filled(about="Tub 2"))
    assert answer.status_code == 422
    assert "kept already, with other values" in answer.text
    assert [fact.subject.id for fact in facts(app)] == ["Tub 1"]


def test_a_time_to_come_is_asked_about_and_kept_when_insisted_on(app: Flask, client: FlaskClient):
    asked = keep(client, "note", when="at", at="2026-03-14T18:00")
    assert asked.status_code == 422
    assert "still to come" in asked.text
    client.post("/house/entries/note", data=insisting(asked.text))
    assert len(facts(app)) == 1


def test_what_was_kept_can_be_undone_and_leads_back_to_the_house(app: Flask, client: FlaskClient):
    page = client.get(keep(client, "note").location).text
    undo = next(each for each in forms_of(page) if each.action.endswith("/withdraw"))
    answer = client.post(undo.action, data=undo.values)
    assert answer.location == "/house"
    assert "struck out by" in client.get("/house").text


@pytest.mark.parametrize("kind", HOUSE_KINDS)
def test_each_can_be_corrected_and_leads_back_to_the_house(app: Flask, client: FlaskClient, kind: str):
    keep(client, kind)
    sheet = form_of_correction(client, facts(app)[0].id)
    answer = client.post(sheet.action, data=sheet.filled(note="looked again"))
    assert (answer.status_code, answer.location) == (303, "/house")
    assert [fact.note for fact in facts(app)] == [None, "looked again"]
    assert len({fact.subject for fact in facts(app)}) == 1


def form_of_correction(client: FlaskClient, fact_id: str) -> PageForm:
    return next(each for each in forms_of(client.get(f"/facts/{fact_id}/correct").text) if "when" in each.choices)


def test_other_kinds_are_not_said_here(client: FlaskClient):
    for kind in ("turned", "inspection", "nothing"):
        assert client.get(f"/house/entries/{kind}").status_code == 404
        assert client.post(f"/house/entries/{kind}", data={}).status_code == 404


def test_what_is_kept_elsewhere_has_no_meaning_here(client: FlaskClient):
    assert "What it means" not in client.get("/house?kept=nothing").text


def test_gas_read_in_the_room_is_told_with_its_time_and_dropped_once_it_tells_nothing(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
):
    keep(client, "co2_room", value="20000")
    for hours, is_told in ((0, True), (11, True), (13, False)):
        monkeypatch.setattr(ports, "now", lambda later=hours: NOW + timedelta(hours=later))
        page = client.get("/house").text.partition('id="said"')[0]
        assert ("20000 ppm" in page) is is_told
        assert ("as read 09:30" in page) is is_told
