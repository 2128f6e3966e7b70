"""What is not as it was foreseen just before is asked about at the tub, and what may have slipped is one tap away."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.judgement.facts.shapes import Weighing
from tests.pages import Tub, forms_of, insisting, tub_form
from tests.web.keeping import write
from tests.writing import NOW, OTHER, Record, add_batch, charge, entry, iso, store_unasked

from .keeping import asked, facts_of, kept

pytestmark = pytest.mark.usefixtures("morning")
BAG, TRAY = {"vessel": "bag 1"}, {"vessel": "tray 1"}
STEEP = (
    (-20.0, "test_bag_start", BAG | {"gross": "530", "gross_unit": "g", "tare": "30"}),
    (-19.5, "steep_on", {}),
    (-13.5, "test_bag", BAG | {"gross": "689", "gross_unit": "g", "tare": "30"}),
    (-13.4, "drained", {}),
    (-4.0, "test_bag", BAG | {"gross": "704", "gross_unit": "g", "tare": "30"}),
    (-3.9, "steep_on", {}),
)
FLOOR = (
    (-170.0, "test_bag_start", BAG | {"gross": "530", "gross_unit": "g", "tare": "30"}),
    (-169.5, "steep_on", {}),
    (-140.0, "test_bag", BAG | {"gross": "830", "gross_unit": "g", "tare": "30"}),
    (-139.5, "cast", {}),
)
KILN = (
    *FLOOR,
    (-8.0, "loaded", {}),
    (-7.8, "tray", TRAY | {"gross": "2000", "gross_unit": "g", "tare": "400"}),
    (-7.7, "tray", {"vessel": "tray 2", "gross": "1000", "gross_unit": "g", "tare": "400"}),
    (-7.5, "heat_on", {}),
    (-4.0, "tray", TRAY | {"gross": "1720", "gross_unit": "g", "tare": "400"}),
    (-3.9, "tray", {"vessel": "tray 2", "gross": "895", "gross_unit": "g", "tare": "400"}),
    (-2.0, "tray", TRAY | {"gross": "1580", "gross_unit": "g", "tare": "400"}),
    (-1.9, "tray", {"vessel": "tray 2", "gross": "843", "gross_unit": "g", "tare": "400"}),
)


def tub_after(app: Flask, client: FlaskClient, told: Sequence[tuple[float, str, dict[str, str]]]) -> Tub:
    """The tub of a batch of five kilograms of which this was said, each so many hours before now."""
    blotted = {"test_bag": {"method": "blotted"}}
    records: list[Record] = [
        entry(kind, typed, id=f"said-{n}", batch=OTHER, at=iso(NOW + timedelta(hours=hour)), **blotted.get(kind, {}))
        for n, (hour, kind, typed) in enumerate(told)
    ]
    with write(app) as session:
        begun = charge(id="charge-other", as_is="5") | {"at": iso(NOW + timedelta(hours=told[0][0] - 0.5))}
        number = add_batch(session, OTHER, begun).number
        store_unasked(session, *records)
    return Tub(client, number)


def alternatives(answer: TestResponse) -> list[str]:
    return [str(value) for _, name, value in tub_form(answer.text).buttons if name == "insist" and "alt" in str(value)]


def take(tub: Tub, answer: TestResponse) -> str:
    """Tap the first of what is offered."""
    form = tub_form(answer.text)
    action, value = next((action, value) for action, _, value in form.buttons if "alternative" in str(value))
    return kept(tub.client.post(action, data=form.values | {"insist": str(value)}))


def weighed(app: Flask, fact_id: str) -> Weighing:
    (fact,) = (each for each in facts_of(app, OTHER) if each.id == fact_id)
    assert isinstance(fact, Weighing)
    return fact


def test_a_bag_as_heavy_as_foreseen_is_kept_at_once(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, STEEP)
    kept(tub.keep("test_bag", {"gross": "735", "method": "blotted"}))


@pytest.mark.parametrize(("typed", "meant"), [("783", "738"), ("835", "735"), ("7350", "735")])
def test_a_slip_of_the_digits_is_offered_put_right(app: Flask, client: FlaskClient, typed: str, meant: str) -> None:
    tub = tub_after(app, client, STEEP)
    answer = tub.keep("test_bag", {"gross": typed, "method": "blotted"})
    assert f"Is it {meant} g" in asked(answer)
    assert weighed(app, take(tub, answer)).gross_kg == pytest.approx(float(meant) / 1000.0)


def test_a_bag_that_got_lighter_under_water_is_always_asked_about(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, STEEP)
    answer = tub.keep("test_bag", {"gross": "690", "method": "blotted"})
    assert "Under water grain gets heavier, and 690 g is less than the 704.0 g of 05:30" in asked(answer)
    fact_id = kept(tub.client.post(tub_form(answer.text).action + "/test_bag", data=insisting(answer.text)))
    assert weighed(app, fact_id).typed["insisted"] == "1"


def test_a_tray_that_got_heavier_on_the_kiln_is_always_asked_about(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, KILN)
    answer = tub.keep("tray", TRAY | {"gross": "1620"})
    assert "On the kiln grain gets lighter, and 1620 g is more than the 1580 g of 07:30" in asked(answer)


def test_the_other_tray_is_offered_where_it_fits_that_one(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, KILN)
    answer = tub.keep("tray", TRAY | {"gross": "805"})
    assert "Is it tray 2?" in asked(answer)
    assert weighed(app, take(tub, answer)).vessel == "tray 2"


def test_a_tare_that_was_left_in_the_net_weight_is_offered_off(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, KILN)
    answer = tub.keep("tray", TRAY | {"gross": "", "tare": "", "net": "1480"})
    assert "Is the tare still in it? tray 1 weighed 400.0 g by itself before" in asked(answer)
    tray = weighed(app, take(tub, answer))
    assert (tray.net_kg, tray.tare_kg) == (pytest.approx(1.08), pytest.approx(0.4))


def test_a_tare_that_was_taken_off_twice_is_offered_back(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, KILN)
    answer = tub.keep("tray", TRAY | {"gross": "1080"})
    assert "its tare taken off already" in asked(answer)
    assert weighed(app, take(tub, answer)).net_kg == pytest.approx(1.08)


def test_a_moisture_far_from_the_forecast_is_asked_about_and_its_decimal_place_offered(
    app: Flask, client: FlaskClient
) -> None:
    tub = tub_after(app, client, FLOOR)
    answer = tub.keep("moisture_test", {"value": "4.5", "method": "oven_two_stage"})
    assert "is far from what was foreseen" in asked(answer)
    assert "Is it 45 %" in asked(answer)
    kept(tub.keep("moisture_test", {"value": "45", "method": "oven_two_stage"}))


def test_a_true_moisture_is_never_offered_as_the_one_that_was_hoped_for(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, FLOOR)
    answer = tub.keep("moisture_test", {"value": "37.1", "method": "oven_two_stage"})
    assert "Is that what you read?" in asked(answer)
    assert alternatives(answer) == []


def test_a_count_far_from_the_forecast_is_asked_about(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, (*FLOOR[:-1], (-20.0, "cast", {})))
    answer = tub.keep("growth_count", {"over": "50"})
    assert "Mean acrospire 1.12 is far from what was foreseen" in asked(answer)
    kept(tub.keep("growth_count", {"to_quarter": "50"}))


def test_a_first_count_of_grain_that_grows_well_is_not_asked_about(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, FLOOR)
    counts = {"quarter_to_half": "3", "half_to_three_quarters": "16", "three_quarters_to_full": "31"}
    kept(tub.keep("growth_count", counts))


def test_of_grain_whose_steep_was_not_recorded_nothing_is_foreseen(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, ((-20.0, "cast", {}),))
    kept(tub.keep("moisture_test", {"value": "45", "method": "oven_two_stage"}))


def test_what_was_said_since_has_no_part_in_what_was_foreseen(app: Flask, client: FlaskClient) -> None:
    """Typed a day after: the bag of that night is looked at as it would have been then."""
    tub = tub_after(app, client, (*STEEP, (-0.5, "test_bag", BAG | {"gross": "830", "gross_unit": "g", "tare": "30"})))
    at = (NOW - timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M")
    kept(tub.keep("test_bag", {"gross": "732", "method": "blotted"}, when="at", at=at))


def test_a_correction_is_not_looked_at_against_what_it_corrects(app: Flask, client: FlaskClient) -> None:
    tub = tub_after(app, client, STEEP)
    answer = tub.keep("test_bag", {"gross": "835", "method": "blotted"})
    fact_id = kept(tub.client.post(tub_form(answer.text).action + "/test_bag", data=insisting(answer.text)))
    form = next(each for each in forms_of(client.get(f"/facts/{fact_id}/correct").text) if "when" in each.choices)
    assert client.post(form.action, data=form.filled(gross="735")).status_code == 303


def test_a_phone_that_is_still_being_written_on_is_asked_too(app: Flask, client: FlaskClient) -> None:
    tub_after(app, client, STEEP)
    record = entry("test_bag", BAG | {"gross": "690", "gross_unit": "g", "tare": "30"}, id="phone-1", batch=OTHER)
    body = {"entries": [record | {"method": "blotted"}], "ask": "phone-1"}
    (answer,) = client.post("/sync/facts", json=body).get_json()["answers"]
    assert "Under water grain gets heavier" in answer["questions"][0]["message"]
