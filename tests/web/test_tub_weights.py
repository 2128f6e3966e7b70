"""Weights beside the tub: bounded by the grain that there is, and typed in the unit that this batch is weighed in."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.facts.shapes import Weighing
from app.store.engine import write_session
from tests.pages import Tub, forms_of, insisting, tub_form
from tests.writing import NOW, OTHER, add_batch, charge, entry, iso

from .keeping import asked, facts_of, kept, said, text_of, wrong_fields

WEIGHED = ("tray", "test_bag", "test_bag_start", "charge_weighing", "skimmings", "loss", "culms", "outturn")
MINE, MINE_TOO = {"metric": ("g", "kg"), "us": ("oz", "lb")}, {"metric": "us", "us": "metric"}
pytestmark = pytest.mark.usefixtures("morning")


def tub_of(app: Flask, client: FlaskClient, kilograms: str, system: str = "metric") -> Tub:
    """The tub of a batch of so many kilograms on the kiln, for a reader of this system."""
    with write_session(app.extensions["engine"]) as session:
        number = add_batch(session, OTHER, charge(id="charge-other", as_is=kilograms)).number
    said(app, entry("loaded", id="loaded-1", batch=OTHER, at=iso(NOW - timedelta(hours=1))))
    with client.session_transaction() as cookie:
        cookie["units"] = system
    return Tub(client, number)


def read_in(client: FlaskClient, system: str) -> None:
    with client.session_transaction() as cookie:
        cookie["units"] = system


def weighings(app: Flask) -> list[Weighing]:
    return [fact for fact in facts_of(app, OTHER) if isinstance(fact, Weighing)]


def test_a_tray_heavier_than_its_batch_is_asked_about_and_grams_are_one_tap_away(
    app: Flask, client: FlaskClient
) -> None:
    tub = tub_of(app, client, "5")
    answer = tub.keep("tray", {"gross": "1400", "gross_unit": "kg"})
    assert "Gross 1400 kg is more than one expects here" in asked(answer)
    assert weighings(app) == []
    form = tub_form(answer.text)
    other = next(button for button in form.buttons if (button[2] or "").startswith("alternative"))
    kept(tub.client.post(other[0], data=form.values | {"insist": str(other[2])}))
    (tray,) = weighings(app)
    assert (tray.gross_kg, tray.typed["gross_unit"]) == (pytest.approx(1.4), "g")


def test_what_no_scale_can_show_of_this_batch_can_not_be_kept_as_typed(app: Flask, client: FlaskClient) -> None:
    tub = tub_of(app, client, "5")
    typed = {"gross": "1400", "gross_unit": "kg"}
    answer = tub.keep("tray", typed)
    assert "as typed" not in asked(answer)
    about = re.findall(r'value="alternative0:([^"]+)"', answer.text)[0]
    refused = tub.send("tray", tub.values("tray", typed), insist=f"1:{about}")
    assert wrong_fields(refused) == {"gross"}
    assert tub_form(refused.text).values["tray-gross"] == "1400"
    assert weighings(app) == []


@pytest.mark.parametrize("kind", ["charge_weighing", "culms"])
def test_what_no_scale_can_show_and_no_unit_explains_is_wrong_at_its_field(
    app: Flask, client: FlaskClient, kind: str
) -> None:
    answer = tub_of(app, client, "5").keep(kind, {"net": "1400", "gross_unit": "kg"})
    assert wrong_fields(answer) == {"net"}
    assert "Look at the number and its unit, or correct the charge." in text_of(answer)
    assert 'name="insist"' not in answer.text.partition(f'id="{kind}"')[2].partition('class="keep"')[0]


def test_a_heavy_vessel_that_was_not_taken_off_may_still_be_insisted_on(app: Flask, client: FlaskClient) -> None:
    tub = tub_of(app, client, "5")
    answer = tub.keep("charge_weighing", {"gross": "20", "gross_unit": "kg"})
    kept(tub.send("charge_weighing", insisting(answer.text)))


def test_a_phone_that_insists_on_what_can_not_be_is_refused_with_its_field(app: Flask, client: FlaskClient) -> None:
    tub_of(app, client, "5")
    typed = {"vessel": "tray 1", "gross": "1400", "gross_unit": "kg", "insisted": "1"}
    entries = [entry("tray", typed, id="beyond", batch=OTHER)]
    (answer,) = client.post("/sync/facts", json={"entries": entries}).get_json()["answers"]
    assert (answer["status"], set(answer["errors"])) == (422, {"gross"})
    assert client.get(f"/sync/batches/{OTHER}").get_json()["most"]["g"] == pytest.approx(25_000.0)


def test_what_can_not_be_and_was_insisted_on_before_is_left_out(app: Flask, client: FlaskClient) -> None:
    tub = tub_of(app, client, "5")
    typed = {"vessel": "tray 1", "gross": "1400", "gross_unit": "kg", "insisted": "1"}
    said(app, entry("tray", typed, id="beyond", batch=OTHER))
    assert "It is left out until it is corrected." in text_of(client.get(f"{tub.path}?kept=beyond"))


def test_a_tray_corrected_to_more_than_its_batch_is_asked_about(app: Flask, client: FlaskClient) -> None:
    tub = tub_of(app, client, "5")
    fact_id = kept(tub.keep("tray", {"gross": "1400", "gross_unit": "g"}))
    form = next(each for each in forms_of(client.get(f"/facts/{fact_id}/correct").text) if "when" in each.choices)
    asked(client.post(form.action, data=form.filled(gross_unit="kg")))


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize(("kilograms", "is_small"), [("0.5", True), ("5", True), ("25", False), ("300", False)])
def test_a_weight_is_typed_in_the_reader_s_unit_that_the_batch_is_weighed_in(
    app: Flask, client: FlaskClient, kilograms: str, is_small: bool, system: str
) -> None:
    values = tub_of(app, client, kilograms, system).form().values
    small, large = MINE[system]
    units = {kind: values[f"{kind}-gross_unit"] for kind in WEIGHED} | {"of": values["skimmings-of_unit"]}
    always_small = {"test_bag", "test_bag_start", "skimmings", "loss"}
    assert units == {kind: small if is_small or kind in always_small else large for kind in units}


def test_the_unit_used_last_stays_where_it_fits(app: Flask, client: FlaskClient) -> None:
    tub = tub_of(app, client, "5")
    kept(tub.keep("tray", {"gross": "1.9", "tare": "0.5", "gross_unit": "kg"}))
    values = tub.form().values
    assert (values["tray-gross_unit"], values["tray-tare"]) == ("kg", "0.5")


def test_a_unit_in_which_the_charge_was_exceeded_is_not_offered_again(app: Flask, client: FlaskClient) -> None:
    tub = tub_of(app, client, "5")
    typed = {"gross": "19", "tare": "5", "gross_unit": "kg"}
    answer = tub.keep("tray", typed)
    kept(tub.send("tray", insisting(answer.text)))
    assert tub.form().values["tray-gross_unit"] == "g"


@pytest.mark.parametrize(("system", "unit", "tare"), [("us", "oz", "17.637"), ("metric", "g", "500")])
def test_the_tare_is_told_in_the_reader_s_own_unit(
    app: Flask, client: FlaskClient, system: str, unit: str, tare: str
) -> None:
    tub = tub_of(app, client, "5", MINE_TOO[system])
    typed = {"us": {"gross": "67.02", "tare": "17.637"}, "metric": {"gross": "1900", "tare": "500"}}
    kept(tub.keep("tray", {**typed[MINE_TOO[system]], "gross_unit": MINE[MINE_TOO[system]][0]}))
    read_in(client, system)
    values = tub.form().values
    assert values["tray-gross_unit"] == unit
    assert float(values["tray-tare"]) == pytest.approx(float(tare), rel=1e-4)


def test_a_bag_is_told_empty_in_the_unit_of_its_start(app: Flask, client: FlaskClient) -> None:
    tub = tub_of(app, client, "25")
    kept(tub.keep("test_bag_start", {"gross": "0.312", "tare": "0.012", "gross_unit": "kg"}))
    values = tub.form().values
    assert (values["test_bag-gross_unit"], values["test_bag-tare"]) == ("kg", "0.012")


def test_a_right_tray_after_a_mistaken_one_that_came_unasked_is_its_start(app: Flask, client: FlaskClient) -> None:
    tub = tub_of(app, client, "5")
    typed = {"vessel": "tray 1", "gross": "1900", "tare": "500", "gross_unit": "kg"}
    said(app, entry("tray", typed, id="wrong", batch=OTHER, at=iso(NOW - timedelta(minutes=30))))
    assert "Another unit or a slip?" in text_of(client.get(f"{tub.path}?kept=wrong"))
    fact_id = kept(tub.keep("tray", {"gross": "1900", "tare": "500", "gross_unit": "g"}))
    assert "Tray’s start kept" in text_of(client.get(f"{tub.path}?kept={fact_id}"))


@pytest.mark.parametrize("told", [{"person": "Ben"}, {"person": "Ben", "instrument": "his probe"}, {}])
def test_nobody_is_given_the_unit_of_somebody_else_s_system(
    app: Flask, client: FlaskClient, told: dict[str, str]
) -> None:
    tub = tub_of(app, client, "5")
    said(app, entry("grain_temperature", {"value": "68", "value_unit": "f"}, id="us-1", batch=OTHER, **told))
    assert tub.form().values["grain_temperature-value_unit"] == "c"
    read_in(client, "us")
    assert tub.form().values["grain_temperature-value_unit"] == "f"


def test_one_s_own_last_instrument_tells_its_unit(app: Flask, client: FlaskClient) -> None:
    tub = tub_of(app, client, "5")
    kept(tub.keep("grain_temperature", {"value": "68", "value_unit": "f"}, instrument="oven probe"))
    said(app, entry("grain_temperature", {"value": "20", "value_unit": "c"}, id="other-1", batch=OTHER, person="Ben"))
    assert tub.form().values["grain_temperature-value_unit"] == "f"
    kept(tub.keep("co2_room", {"value": "0.1", "value_unit": "percent_co2"}))
    assert tub.form().values["co2_room-value_unit"] == "percent_co2"
