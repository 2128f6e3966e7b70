"""Recording something about a lot."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.facts.kinds import KINDS
from app.store.engine import read_session, write_session
from app.store.lots import get_lot, load_lot_stories
from app.web.lots.page import LOT_KINDS
from tests.pages import PageForm, forms_of, insisting
from tests.writing import LOT, add_lot

TYPED: dict[str, dict[str, str]] = {
    "moisture_test": {"value": "13,2"},
    "germination_test": {"looked_at": "100", "day_1": "28", "day_2": "45", "day_3": "27"},
    "capacity_test": {"looked_at": "200", "not_germinated": "5"},
    "sieve_test": {"value": "62,5", "on_25": "31", "on_22": "5.2", "through": "1.3"},
    "float_count": {"looked_at": "100", "floated": "4"},
    "inspection": {"mould": "no"},
    "declaration": {"untreated": "yes", "for_food": "yes", "by": "Mary Keane", "ground": "her letter"},
    "stock_adjustment": {"gross": "4"},
    "intake": {"gross": "25"},
    "returned": {"net": "3"},
    "kernel_weight": {"value": "45"},
    "note": {"text": "Rats in the store"},
}


@pytest.fixture(autouse=True)
def _lot_this_morning(app: Flask, morning: None) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)


def form(client: FlaskClient, kind: str, way: str = "") -> PageForm:
    page = client.get(f"/lots/{LOT}/entries/{kind}{way}")
    assert page.status_code == 200
    return next(each for each in forms_of(page.text) if "when" in each.choices)


def keep(client: FlaskClient, kind: str, way: str = "", **changes: str):
    sheet = form(client, kind, way)
    return client.post(sheet.action, data=sheet.filled(**changes))


def facts(app: Flask, kind: str | None = None):
    with read_session(app.extensions["engine"]) as session:
        story = load_lot_stories(session, [get_lot(session, LOT)])[0]
        return [fact for fact in story.info.facts if kind in (None, fact.kind)]


@pytest.mark.parametrize("kind", LOT_KINDS)
def test_every_kind_is_kept_and_shown_with_its_meaning(client, app, kind):
    before = len(facts(app, kind))
    answer = keep(client, kind, **TYPED[kind])
    assert answer.status_code == 303
    assert len(facts(app, kind)) == before + 1
    page = client.get(answer.location).text
    assert "What it means" in page
    assert "Saved" in page


def test_the_lot_page_offers_every_kind(client):
    page = client.get(f"/lots/{LOT}").text
    for kind in LOT_KINDS:
        path = "germination" if kind == "germination_test" else f"entries/{kind}"
        assert f'href="/lots/{LOT}/{path}"' in page


def test_an_unknown_kind_is_not_found(client):
    assert client.get(f"/lots/{LOT}/entries/cast").status_code == 404
    assert client.post(f"/lots/{LOT}/entries/cast").status_code == 404


def test_an_unknown_lot_is_not_found(client):
    assert client.post("/lots/none/entries/note", data={}).status_code == 404


def test_what_was_taken_out_needs_no_minus(client, app):
    answer = keep(client, "stock_adjustment", gross="4,5")
    assert facts(app, "stock_adjustment")[0].net_kg == pytest.approx(-4.5)
    assert "495.5\u00a0kg in stock now" in client.get(answer.location).text


def test_a_minus_typed_all_the_same_is_no_double_minus(client, app):
    keep(client, "stock_adjustment", gross="-4.5")
    assert facts(app, "stock_adjustment")[0].net_kg == pytest.approx(-4.5)


def test_a_sack_taken_out_is_weighed_with_its_tare(client, app):
    keep(client, "stock_adjustment", gross="24.3", tare="0.3")
    assert facts(app, "stock_adjustment")[0].net_kg == pytest.approx(-24.0)


def test_what_was_found_beyond_the_book_is_added(client, app):
    keep(client, "stock_adjustment", "?way=in", gross="4")
    assert facts(app, "stock_adjustment")[0].net_kg == pytest.approx(4.0)


def test_a_declaration_frees_the_lot(client):
    assert "Held" in client.get(f"/lots/{LOT}").text
    page = client.get(keep(client, "declaration", **TYPED["declaration"]).location).text
    assert "no longer held" in page
    assert "Held: batches" not in page


def test_a_declaration_without_a_name_is_refused(client, app):
    answer = keep(client, "declaration", **TYPED["declaration"] | {"by": ""})
    assert answer.status_code == 422
    assert "Say who declares it" in answer.text
    assert "her letter" in answer.text
    assert facts(app, "declaration") == []


def test_mould_is_told_loudly_with_what_to_do(client):
    page = client.get(keep(client, "inspection", mould="yes").location).text
    assert "Mould: keep this lot out of the house" in page
    assert "FFP3" in page


def test_not_sure_of_mould_keeps_the_lot_apart(client):
    page = client.get(keep(client, "inspection", mould="not_sure").location).text
    assert "keep the lot apart" in page


def test_cautions_stand_where_they_matter(client):
    assert "maltworker" in client.get(f"/lots/{LOT}/entries/inspection").text
    assert "dye washes off" in client.get(f"/lots/{LOT}/entries/declaration").text
    assert "explodes" in client.get(f"/lots/{LOT}/entries/intake").text


@pytest.mark.parametrize(
    ("kind", "changes", "words"),
    [
        ("moisture_test", {"value": "101"}, "can&#39;t be above"),
        ("moisture_test", {"value": "damp"}, "not a number"),
        ("float_count", {"looked_at": "50", "floated": "60"}, "more than the 50 looked at"),
        ("moisture_test", {"value": "31", "method": "meter"}, "above the meter"),
        ("germination_test", {"looked_at": "100", "day_1": "28", "day_2": "73"}, "more than the 100"),
        ("capacity_test", {"looked_at": "200", "not_germinated": "201"}, "more than the 200"),
        ("capacity_test", {"looked_at": "200"}, "Nothing was counted"),
        ("sieve_test", {"value": "0", "on_25": "0", "on_22": "0", "through": "0"}, "Nothing lay on any sieve"),
        ("sieve_test", {"value": "62", "on_25": "31", "on_22": "5"}, "is missing"),
        ("intake", {"gross": "20", "tare": "25"}, "more than the gross"),
        ("intake", {"gross": "-20"}, "can&#39;t be below"),
        ("inspection", {}, "Mould is missing"),
        ("note", {"text": "Rats", "when": "at", "at": "yesterday"}, "not a date and time"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_stored(client, app, kind, changes, words):
    before = len(facts(app))
    answer = keep(client, kind, **changes)
    assert answer.status_code == 422
    assert words in answer.text
    for value in changes.values():
        assert value in answer.text
    assert len(facts(app)) == before


def test_a_double_press_is_kept_once(client, app):
    sheet = form(client, "note")
    values = sheet.filled(text="Rats in the store")
    first, second = (client.post(sheet.action, data=values) for _ in range(2))
    assert (first.status_code, second.status_code) == (303, 303)
    assert "it was here already" in client.get(second.location).text
    assert len(facts(app, "note")) == 1


def test_the_same_id_with_other_words_shows_what_was_kept(client, app):
    sheet = form(client, "note")
    client.post(sheet.action, data=sheet.filled(text="Rats in the store"))
    answer = client.post(sheet.action, data=sheet.filled(text="Cats in the store"))
    assert answer.status_code == 422
    assert "kept already, with other values" in answer.text
    assert f"/facts/{sheet.values['id']}/correct" in answer.text
    assert [fact.text for fact in facts(app, "note")] == ["Rats in the store"]


def test_what_was_kept_can_be_undone(client, app):
    page = client.get(keep(client, "note", text="Rats in the store").location).text
    undo = next(each for each in forms_of(page) if each.action.endswith("/withdraw"))
    answer = client.post(undo.action, data=undo.values, follow_redirects=True)
    assert "struck out" in answer.text
    assert facts(app, "note") == []


def test_the_person_at_the_screen_is_named(client, app):
    client.post("/people", data={"id": "p1", "name": "Anna", "units": "metric"})
    keep(client, "note", text="Rats in the store")
    fact = facts(app, "note")[0]
    assert (fact.person, fact.entered_by) == ("Anna", "Anna")


def test_a_time_to_come_is_asked_about_and_kept_when_insisted_on(client, app):
    sheet = form(client, "note")
    values = sheet.filled(text="Rats in the store", when="at", at="2026-03-14T18:00")
    asked = client.post(sheet.action, data=values)
    assert asked.status_code == 422
    assert "still to come" in asked.text
    assert facts(app, "note") == []
    client.post(sheet.action, data=insisting(asked.text))
    assert [fact.text for fact in facts(app, "note")] == ["Rats in the store"]


def test_sieves_are_told_as_shares_and_counted_ones_with_an_interval(client):
    # 93.5 % on 2.5 mm and above; of 100 kernels 95: Wilson 88.8 to 97.8 %.
    assert "93.5\u00a0% on 2.5\u00a0mm" in client.get(keep(client, "sieve_test", **TYPED["sieve_test"]).location).text
    counted = {"value": "60", "on_25": "35", "on_22": "4", "through": "1", "method": "count"}
    page = client.get(keep(client, "sieve_test", **counted).location).text
    assert "between 88.8\u00a0% and 97.8\u00a0%" in page


def test_a_capacity_beside_a_poor_dish_says_that_the_lot_sleeps(client):
    keep(client, "germination_test", looked_at="100", day_1="10", day_2="40", day_3="30")
    page = client.get(keep(client, "capacity_test", **TYPED["capacity_test"]).location).text
    assert "The lot is dormant" in page
    assert "wait some weeks" in page


def tiles_of(client: FlaskClient) -> list[tuple[str, str]]:
    return re.findall(r'<a class="(tile[^"]*)" href="[^"]*">([^<]+)', client.get(f"/lots/{LOT}").text)


def test_the_next_step_of_a_lot_is_the_first_and_only_dark_tile(client):
    assert tiles_of(client)[0] == ("tile tile--first", KINDS["declaration"].word)
    keep(client, "declaration", **TYPED["declaration"])
    assert tiles_of(client)[:2] == [("tile tile--first", "Germination test"), ("tile", "Charge a batch from it")]
    keep(client, "germination_test", **TYPED["germination_test"])
    assert tiles_of(client)[0] == ("tile tile--first", "Charge a batch from it")
    assert [kind for kind, _ in tiles_of(client)].count("tile tile--first") == 1
