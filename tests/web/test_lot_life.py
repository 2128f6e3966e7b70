"""Germination tests through the screens: dishes on one form, the verdict, and what is wrong told at its dish."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.judgement.facts.shapes import Tally
from app.store.engine import read_session, write_session
from app.store.lots import get_lot, load_lot_stories
from app.web.words.lot_life import left_words
from tests.pages import PageForm, forms_of
from tests.writing import LOT, add_lot

PATH = f"/lots/{LOT}/germination"
# Counts: K. Kunze, BarleyGermination-KK: GE 100 and 95, WS 5, GI 5.025126 and 6.834532.
FOUR = {"dish1_day_1": "28", "dish1_day_2": "45", "dish1_day_3": "27"}
EIGHT = {"dish3_day_1": "54", "dish3_day_2": "38", "dish3_day_3": "3"}


@pytest.fixture(autouse=True)
def _lot_this_morning(app: Flask, morning: None) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)


def form(client: FlaskClient) -> PageForm:
    page = client.get(PATH)
    assert page.status_code == 200
    return next(each for each in forms_of(page.text) if each.action == PATH)


def keep(client: FlaskClient, **changes: str) -> TestResponse:
    return client.post(PATH, data=form(client).filled(**changes))


def dishes(app: Flask) -> list[Tally]:
    with read_session(app.extensions["engine"]) as session:
        story = load_lot_stories(session, [get_lot(session, LOT)])[0]
        found = [fact for fact in story.info.facts if isinstance(fact, Tally) and fact.kind == "germination_test"]
        return sorted(found, key=lambda fact: fact.place or "")


def test_the_published_dishes_through_the_form_give_the_published_figures(client, app):
    answer = keep(client, **FOUR, **EIGHT)
    assert answer.status_code == 303
    assert [(dish.method, dish.place, dish.looked_at, dict(dish.counts)) for dish in dishes(app)] == [
        ("4ml", "dish 1", 100, {"day_1": 28, "day_2": 45, "day_3": 27}),
        ("8ml", "dish 3", 100, {"day_1": 54, "day_2": 38, "day_3": 3}),
    ]
    page = client.get(answer.location).text
    assert "The lot is fit." in page
    assert "100.0\u00a0%" in page
    assert "95.0\u00a0%" in page
    assert "5\u00a0points\u00a0(0\u00a0to\u00a011)" in page  # Newcombe: 0.47 to 11.18
    assert "very low to low water sensitivity" in page
    assert ">5.03</a>" in page
    assert ">6.83</a>" in page


def test_the_list_of_lots_says_whether_each_is_alive(client):
    assert "not tested" in client.get("/lots").text
    keep(client, **{name: "0" if "day_1" in name else text for name, text in FOUR.items()})
    assert "unfit" in client.get("/lots").text


def test_a_dish_without_counts_is_left_out_whatever_its_kernels(client, app):
    keep(client, **FOUR, dish2_looked_at="101")
    assert len(dishes(app)) == 1


def test_the_true_number_of_kernels_is_kept(client, app):
    keep(client, **FOUR, dish1_looked_at="103")
    assert dishes(app)[0].looked_at == 103


def test_dishes_beyond_the_fourth_are_kept_too(client, app):
    keep(client, **{f"dish{n}_{day}": "30" for n in (1, 2, 5, 6) for day in ("day_1", "day_2", "day_3")})
    assert [dish.method for dish in dishes(app)] == ["4ml"] * 4


def test_the_water_of_a_dish_can_be_changed(client, app):
    keep(client, **FOUR, dish1_water="8ml")
    assert dishes(app)[0].method == "8ml"


def test_a_dish_not_counted_out_is_kept_and_judged_once_it_is_corrected(client, app):
    answer = keep(client, dish1_day_1="28", dish1_day_2="45")
    page = client.get(answer.location).text
    assert "not counted out" in page
    assert "so far" in page
    path = f"/facts/{dishes(app)[0].id}/correct"
    correction = next(each for each in forms_of(client.get(path).text) if "when" in each.choices)
    assert (correction.values["looked_at"], correction.values["day_2"], correction.values["method"]) == (
        "100",
        "45",
        "4ml",
    )
    assert client.post(path, data=correction.filled(day_3="24")).status_code == 303
    assert dict(dishes(app)[0].counts) == {"day_1": 28, "day_2": 45, "day_3": 24}
    assert "97.0\u00a0%" in client.get(f"/lots/{LOT}").text


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"dish1_day_2": "many"}, "dish1_day_2", "not a number"),
        ({"dish1_day_1": "-3"}, "dish1_day_1", "from 0"),
        ({"dish1_day_1": "2.5"}, "dish1_day_1", "whole number"),
        ({"dish1_looked_at": ""}, "dish1_looked_at", "missing"),
        ({"dish1_looked_at": "0"}, "dish1_looked_at", "from 1"),
        ({"dish1_day_2": "73", "dish1_day_3": "100"}, "dish1_looked_at", "not the running total"),
    ],
)
def test_what_is_wrong_is_told_at_its_dish_and_no_dish_is_kept(client, app, changes, field, words):
    answer = keep(client, **{**FOUR, **EIGHT, **changes})
    assert answer.status_code == 422
    place = answer.text.index(f'id="{field}-wrong"')
    assert words in answer.text[place : place + 300]
    assert 'value="54"' in answer.text
    assert dishes(app) == []


def test_a_form_without_any_count_says_so(client, app):
    answer = keep(client)
    assert answer.status_code == 422
    assert "No dish is filled in" in answer.text
    assert dishes(app) == []


def test_a_time_to_come_is_refused(client, app):
    answer = keep(client, **FOUR, when="at", at="2026-03-14T18:00")
    assert answer.status_code == 422
    assert "still to come" in answer.text
    assert dishes(app) == []


def test_a_double_press_keeps_each_dish_once(client, app):
    values = form(client).filled(**FOUR, **EIGHT)
    answers = [client.post(PATH, data=values) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    assert len(dishes(app)) == 2


def test_the_same_form_sent_again_with_other_counts_changes_nothing(client, app):
    values = form(client).filled(**FOUR, **EIGHT)
    client.post(PATH, data=values)
    answer = client.post(PATH, data=values | {"dish1_day_1": "27"})
    assert answer.status_code == 422
    assert "kept already, with other counts" in answer.text
    assert dishes(app)[0].counts["day_1"] == 28


def test_an_unknown_lot_is_not_found(client):
    assert client.get("/lots/none/germination").status_code == 404
    assert client.post("/lots/none/germination", data={}).status_code == 404


def test_what_so_few_kernels_cannot_tell_is_said(client):
    page = client.get(keep(client, **FOUR).location).text
    assert "100\u00a0kernels cannot tell a lot at 95\u00a0% from one at 98\u00a0%" in page
    assert "water sensitivity is not known" in page


def test_figures_lead_to_how_they_came_about(client):
    page = client.get(keep(client, **FOUR, **EIGHT).location).text
    for key, formula in (("energy_4ml", "k / n"), ("water_sensitivity", "E₄ − E₈"), ("index_8ml", "x₃")):
        address = re.findall(rf'href="(/lots/[^"]+/how/{key})"', page)[0]
        assert formula in client.get(address).text


def test_a_batch_charged_from_a_dead_lot_is_flagged_on_its_page(client, app):
    from tests.writing import NOW, add_batch, charge, iso

    keep(client, dish1_day_1="10", dish1_day_2="20", dish1_day_3="10")
    with write_session(app.extensions["engine"]) as session:
        number = add_batch(session, "batch-1", charge(at=iso(NOW))).number
    assert "Field by the river is unfit" in client.get(f"/batches/{number}").text


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ((663.0, 663.0), "more than a year and a half left"),
        ((400.0, 400.0), "more than a year left"),
        ((134.6, 134.6), "about 130\u00a0days left"),
        ((12.3, 12.3), "about 12\u00a0days left"),
        ((0.0, 0.0), "by the tables nothing is left"),
        ((0.0, 134.6), "nothing to about 130\u00a0days left"),
        ((168.8, 430.0), "about 170\u00a0days to more than a year left"),
    ],
)
def test_a_storage_life_is_told_no_finer_than_an_assumed_temperature_lets_one(days: tuple[float, float], said: str):
    assert left_words(*days) == said
