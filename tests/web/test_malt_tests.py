"""The page of a batch's malt tests and the form of each: it works, and what is wrong is said."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.judgement.facts.kinds import KINDS, MALT_TESTS
from app.judgement.facts.records import values_from_typed
from app.operations.facts import record_fact
from app.store.engine import read_session, write_session
from app.store.facts import find_fact
from app.store.history import get_history
from tests.examples import EXAMPLES
from tests.pages import PageForm, forms_of, tub_form
from tests.writing import BATCH, NOW, OTHER, add_batch, entry, iso


@pytest.fixture(autouse=True)
def _finished_batch(app: Flask, morning: None) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_batch(session)
        add_batch(session, OTHER)
        stages = ("steep_on", "drained", "cast", "loaded", "heat_off", "finished")
        for place, kind in enumerate(stages):
            record_fact(session, entry(kind, id=f"s{place}", at=iso(NOW - timedelta(minutes=60 - place))), now=NOW)


def form(client: FlaskClient, kind: str) -> PageForm:
    page = client.get(f"/batches/1/tests/{kind}")
    assert page.status_code == 200
    return next(each for each in forms_of(page.text) if "when" in each.choices)


def keep(client: FlaskClient, kind: str, **changes: str) -> TestResponse:
    sheet = form(client, kind)
    return client.post(sheet.action, data=sheet.filled(**changes))


def typed(kind: str) -> dict[str, str]:
    return dict(EXAMPLES[kind]) | ({"value": "4.4"} if kind == "moisture_test" else {})


def results(app: Flask) -> list[Any]:
    """Results and tastings."""
    with read_session(app.extensions["engine"]) as session:
        return [fact for kind in MALT_TESTS for fact in get_history(session, BATCH).of_kind(kind)]


@pytest.mark.parametrize("kind", MALT_TESTS)
def test_every_test_is_kept_with_its_meaning_and_shown_on_both_pages(client, app, kind):
    answer = keep(client, kind, **typed(kind))
    assert answer.status_code == 303
    (fact,) = results(app)
    expected = values_from_typed(KINDS[kind], typed(kind))
    assert {name: getattr(fact, name) for name in expected} == expected
    page = client.get(answer.location).text
    assert "What it means" in page
    assert "Saved" in page
    word = "Moisture" if kind == "moisture_test" else KINDS[kind].word
    for path in ("/batches/1/tests", "/batches/1"):
        assert f'<th scope="row">{word}' in client.get(path).text


@pytest.mark.parametrize("kind", MALT_TESTS)
def test_a_test_can_be_corrected_as_it_stands(client, app, kind):
    keep(client, kind, **typed(kind))
    (before,) = results(app)
    page = client.get(f"/facts/{before.id}/correct")
    correction = next(each for each in forms_of(page.text) if "when" in each.choices)
    assert client.post(correction.action, data=correction.values).status_code == 303
    (after,) = results(app)
    assert after.supersedes_id == before.id
    names = values_from_typed(KINDS[kind], typed(kind))
    assert {name: getattr(after, name) for name in (*names, "method")} == {
        name: getattr(before, name) for name in (*names, "method")
    }


def test_a_corrected_test_moves_what_the_pages_show(client, app):
    keep(client, "diastatic_power", value="250", value_unit="wk")
    path = f"/facts/{results(app)[0].id}/correct"
    correction = next(each for each in forms_of(client.get(path).text) if "when" in each.choices)
    client.post(path, data=correction.filled(value="300"))
    page = client.get("/batches/1/tests").text
    assert "300\u00a0°WK" in page
    assert "250\u00a0°WK" not in page


def test_no_diastatic_power_is_shown_that_nobody_measured(client):
    keep(client, "conversion_test", value="15", reference="10")
    keep(client, "moisture_test", value="4.4")
    for path in ("/batches/1", "/batches/1/tests", "/compare?batch=1&batch=2"):
        assert "°WK" not in client.get(path).text
        assert "°L" not in client.get(path).text


def test_nothing_tested_is_said_beside_the_missing_power(client):
    page = client.get("/batches/1/tests").text
    assert "Nothing was tested yet" in page
    assert "was not measured: no diastatic power is shown" in page


UNTOLD = "Moisture not known: test it before it is sold or kept long."


@pytest.mark.parametrize("path", ["/batches/1", "/batches/1/tests"])
def test_of_finished_malt_whose_moisture_nothing_tells_the_page_says_so_once_until_it_is_tested(client, path):
    assert client.get(path).text.count(UNTOLD) == 1
    keep(client, "moisture_test", value="4.4")
    assert UNTOLD not in client.get(path).text


def test_malt_weighed_with_its_moisture_is_told(client, app):
    outturn = entry("outturn", {"net": "20", "moisture": "4.5", "moisture_unit": "percent"}, id="out")
    with write_session(app.extensions["engine"]) as session:
        record_fact(session, outturn, now=NOW)
    assert UNTOLD not in client.get("/batches/1").text


def test_the_comparison_shows_what_was_measured(client):
    keep(client, "diastatic_power", value="250", value_unit="wk")
    page = client.get("/compare?batch=1&batch=2").text
    assert "Diastatic power" in page
    assert "250\u00a0°WK" in page


def test_a_reader_of_us_units_gets_degrees_lovibond_and_lintner(client, app):
    client.post("/people/units", data={"units": "us"})
    assert form(client, "malt_colour").values["value_unit"] == "lovibond"
    assert form(client, "diastatic_power").values["value_unit"] == "lintner"
    keep(client, "malt_colour", value="10")
    assert results(app)[0].value == pytest.approx(25.2, abs=0.05)  # 10 °L is 25.2 EBC
    assert "10.0\u00a0°L" in client.get("/batches/1/tests").text


def test_the_malts_moisture_is_filled_in_for_a_mash(client):
    keep(client, "moisture_test", value="4.4")
    assert form(client, "extract_mash").values["moisture"] == "4.4"


@pytest.mark.parametrize(
    ("kind", "changes", "field", "words"),
    [
        ("malt_colour", {"value": ""}, "value", "missing"),
        ("malt_colour", {"value": "pale"}, "value", "not a number"),
        ("malt_colour", {"value": "-1"}, "value", "below"),
        ("malt_colour", {"value": "4000"}, "value", "above"),
        ("extract_mash", {"value": "25"}, "value", "more extract than the malt"),
        ("extract_mash", {"value": "13.9", "value_unit": "sg"}, "value", "specific gravity"),
        ("extract_mash", {"malt": "0"}, "malt", "weigh something"),
        ("extract_mash", {"water": ""}, "water", "missing"),
        ("diastatic_power", {"value": "-5"}, "value", "below"),
        ("diastatic_power", {"value": "12000"}, "value", "above"),
        ("conversion_test", {"value": "0"}, "value", "below"),
        ("conversion_test", {"reference": ""}, "reference", "missing"),
        ("falling_number", {"value": "40"}, "value", "below"),
        ("falling_number", {"share": "120"}, "share", "above"),
        ("falling_number", {"flour": "long"}, "flour", "not a number"),
        ("moisture_test", {"value": "26", "method": "meter"}, "value", "above the meter"),
        ("kernel_weight", {"value": "heavy"}, "value", "not a number"),
    ],
)
def test_what_is_wrong_is_told_at_its_field_and_nothing_is_kept(client, app, kind, changes, field, words):
    answer = keep(client, kind, **{**typed(kind), **changes})
    assert answer.status_code == 422
    place = answer.text.index(f'id="{kind}-{field}-wrong"')
    assert words in answer.text[place : place + 300]
    assert results(app) == []


def test_a_test_that_could_not_be_made_is_no_result(client, app):
    answer = keep(client, "malt_colour", value="", quality="not_possible")
    assert answer.status_code == 422
    assert results(app) == []


def test_a_meter_is_refused_on_warm_grain(client, app):
    with write_session(app.extensions["engine"]) as session:
        warm = entry(
            "grain_temperature", {"value": "48", "value_unit": "c"}, id="warm", at=iso(NOW - timedelta(minutes=5))
        )
        record_fact(session, warm, now=NOW)
    answer = keep(client, "moisture_test", value="8", method="meter")
    assert answer.status_code == 422
    assert "too warm for the meter" in answer.text
    assert keep(client, "moisture_test", value="8", method="oven_malt").status_code == 303


def test_a_meter_is_refused_on_roasted_malt(client, app):
    from app.judgement.programmes.programme import load_builtin
    from app.operations.batches import open_batch
    from tests.writing import arrival, charge

    with write_session(app.extensions["engine"]) as session:
        roast = load_builtin()["roasted"].digest
        number = open_batch(
            session,
            batch_id="roast",
            species="barley",
            programme=roast,
            parts=[arrival(charge(id="c2"), "roast")],
            now=NOW,
        ).number
    sheet = next(
        each for each in forms_of(client.get(f"/batches/{number}/tests/moisture_test").text) if "when" in each.choices
    )
    answer = client.post(sheet.action, data=sheet.filled(value="3", method="meter"))
    assert answer.status_code == 422
    assert "roasted malt" in answer.text


def test_an_unknown_test_or_batch_is_not_found(client):
    assert client.get("/batches/1/tests/cast").status_code == 404
    assert client.post("/batches/1/tests/cast").status_code == 404
    assert client.get("/batches/77/tests").status_code == 404


def test_a_double_press_is_kept_once(client, app):
    sheet = form(client, "malt_colour")
    values = sheet.filled(value="4")
    answers = [client.post(sheet.action, data=values) for _ in range(2)]
    assert "it was here already" in client.get(answers[1].location).text
    assert len(results(app)) == 1


def test_what_was_kept_can_be_undone(client, app):
    page = client.get(keep(client, "malt_colour", value="4").location).text
    undo = next(each for each in forms_of(page) if each.action.endswith("/withdraw"))
    client.post(undo.action, data=undo.values)
    assert results(app) == []
    with read_session(app.extensions["engine"]) as session:
        assert find_fact(session, undo.values["id"]) is not None


def test_the_tub_leads_to_the_tests(client):
    assert 'href="/batches/1/tests"' in client.get("/batches/1/tub").text


def test_nobody_is_said_to_have_tested_moisture_in_a_way_that_nobody_chose(client: FlaskClient, app: Flask):
    assert "method" not in form(client, "moisture_test").values
    assert keep(client, "moisture_test", value="4.4").status_code == 303
    assert [fact.method for fact in results(app)] == [None]


def test_only_ways_to_test_malt_are_offered_for_malt(client: FlaskClient):
    malt = ["oven_malt", "kitchen_oven", "meter"]
    assert form(client, "moisture_test").choices["method"] == malt
    assert tub_form(client.get("/batches/1/tub").text).choices["moisture_test-method"] == malt


def test_at_the_tub_no_way_is_chosen_beforehand_and_raw_grain_is_left_to_the_other_stages(
    client: FlaskClient, app: Flask
):
    with write_session(app.extensions["engine"]) as session:
        record_fact(session, entry("steep_on", id="again", at=iso(NOW)), now=NOW)
    sheet = tub_form(client.get("/batches/1/tub").text)
    assert "moisture_test-method" not in sheet.values
    assert "oven_grain" in sheet.choices["moisture_test-method"]
