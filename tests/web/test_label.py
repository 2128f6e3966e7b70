"""The label of a sack or jar, with a code that opens its batch; none for what is held."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select

from app.operations.facts import record_fact
from app.store.batches import Batch
from app.store.engine import write_session
from app.store.lots import Lot
from tests.pages import forms_of
from tests.stories import add_story
from tests.web.test_packs import fill, finished
from tests.writing import NOW, fill_jar, iso

pytestmark = pytest.mark.usefixtures("morning")


@pytest.fixture
def jar(app: Flask) -> None:
    fill(app, finished(app))


def label(client: FlaskClient) -> str:
    page = client.get("/packs/jar-3/label").text
    found = re.search(r'<section class="label".*?</section>', page, re.DOTALL)
    return found[0] if found else ""


@pytest.mark.usefixtures("jar")
def test_it_tells_what_one_must_know_of_the_malt(client: FlaskClient):
    text = label(client)
    for said in ("Jar 3", "Malt of barley", "Barley, pale base malt", "Batch 1", "packed 14 Mar 2026", "4.5\u00a0%"):
        assert said in text


def test_it_bears_net_weight_lot_harvest_and_who_packed_it(app: Flask, client: FlaskClient):
    batch = finished(app)
    with write_session(app.extensions["engine"]) as session:
        (lot,) = session.scalars(select(Lot))
        lot.harvest = "2025"
    fill(app, batch)
    text = label(client).replace("\u00a0", " ")
    assert "2500 g net" in text
    assert f"Grain: {lot.name}, harvest 2025" in text
    assert "packed 14 Mar 2026 by Anna" in text


@pytest.mark.usefixtures("jar")
def test_its_net_weight_is_what_was_packed_whatever_left_it_since(client: FlaskClient):
    assert "left in it" not in client.get("/packs/jar-3/label").text
    path = "/packs/jar-3/dispatch"
    blank = next(form for form in forms_of(client.get(path).text) if form.action == path)
    assert client.post(path, data=blank.filled(as_is_0="1", to="Mill bakery")).status_code == 303
    assert "2500 g net" in label(client).replace("\u00a0", " ")
    page = client.get("/packs/jar-3/label").text.replace("\u00a0", " ")
    assert "1500 g is left in it" in page.replace(label(client), "")
    assert "2500 g" in sheet(client)


def test_two_jars_of_one_name_and_batch_are_told_apart_by_their_codes_on_label_sheet_and_page(
    app: Flask, client: FlaskClient
):
    batch = finished(app)
    ids = ("0b51a2c4-1d2e", "9f00c1d2-1d2e")
    for pack_id in ids:
        fill(app, batch, pack_id)
    for pack_id, code in zip(ids, ("0B51A2C4", "9F00C1D2"), strict=True):
        for page in ("", "/label", "/sheet"):
            assert code in client.get(f"/packs/{pack_id}{page}").text.replace(f"packs/{pack_id}", "")


@pytest.mark.usefixtures("jar")
def test_it_says_that_malt_is_not_ready_to_eat_and_holds_gluten(client: FlaskClient):
    assert "Not ready to eat" in label(client)
    assert "Contains gluten: barley." in label(client)


@pytest.mark.usefixtures("jar")
def test_other_grain_malted_in_the_house_is_named(app: Flask, client: FlaskClient):
    assert "also malts" not in label(client)
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=20, key="rye")
    assert "Malted in a house that also malts rye." in label(client)


@pytest.mark.usefixtures("jar")
def test_its_code_opens_the_pack_at_the_address_by_which_the_house_is_called(client: FlaskClient):
    page = client.get("/packs/jar-3/label").text
    assert "Opens pack JAR-3" in label(client)
    assert 'The code opens <a href="http://localhost/packs/jar-3">' in page
    assert "Only this computer knows that address" in page


@pytest.mark.usefixtures("jar")
def test_its_drawing_has_no_style_of_its_own(client: FlaskClient):
    drawn = re.search(r"<svg.*?</svg>", label(client), re.DOTALL)
    assert drawn is not None
    assert "style" not in drawn[0]
    assert 'viewBox="0 0 ' in drawn[0]


def test_what_is_held_gets_none_and_says_why(app: Flask, client: FlaskClient):
    fill(app, finished(app, is_declared=False))
    page = client.get("/packs/jar-3/label").text
    assert label(client) == ""
    assert "Held: no label" in page
    assert "Not declared untreated and for food" in page


def measure(app: Flask, kind: str, values: dict[str, object], id: str = "", **more: object) -> None:
    with write_session(app.extensions["engine"]) as session:
        (batch_id,) = session.scalars(select(Batch.id).where(Batch.number == 1))
        about = {"type": "batch", "id": batch_id}
        record = {"id": id or kind, "kind": kind, "subject": about, "at": iso(NOW), "values": values} | more
        record_fact(session, record, now=NOW)


def sheet(client: FlaskClient) -> str:
    return unescape(client.get("/packs/jar-3/sheet").text).replace("\u00a0", " ")


UNTOLD = "not known: test it before it is sold or kept long"


@pytest.mark.parametrize(("method", "is_told"), [("assumed", False), ("measured", True)])
def test_a_moisture_that_was_only_guessed_as_it_was_packed_stands_on_neither_label_nor_sheet(
    app: Flask, client: FlaskClient, method: str, is_told: bool
):
    kinds = {"steep_on", "drained", "cast", "loaded", "heat_on", "heat_off", "finished"}
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=400, kinds=kinds)
        fill_jar(session, "jar-3", method=method, batch=batch.id, name="Jar 3", as_is="2.5")
    page = client.get("/packs/jar-3/label").text
    assert (f"Moisture {UNTOLD}." in page.replace(label(client), "")) is not is_told
    assert ("Moisture 4.5" in label(client).replace("\u00a0", " ")) is is_told
    assert sheet(client).count(UNTOLD) == (0 if is_told else 1)


POWER = {"value": 250.0}


@pytest.mark.usefixtures("jar")
def test_what_was_measured_of_the_malt_stands_on_label_sheet_and_page(app: Flask, client: FlaskClient):
    measure(app, "diastatic_power", POWER, method="ebc")
    measure(app, "malt_colour", {"value": 4.0})
    for text in (label(client), sheet(client), client.get("/packs/jar-3").text):
        assert "Colour" in text
        assert "4.0" in text
        assert "Diastatic power" in text


@pytest.mark.usefixtures("jar")
def test_a_power_that_nobody_measured_is_on_no_paper(app: Flask, client: FlaskClient):
    measure(app, "diastatic_power", POWER, quality="estimated")
    measure(app, "malt_colour", {"value": 4.0}, quality="estimated")
    for text in (label(client), sheet(client).split("Its grain")[0], client.get("/packs/jar-3").text):
        assert "Colour" not in text
        assert "Lintner" not in text
        assert "Windisch" not in text
        assert "WK" not in text
    assert "was not measured: no diastatic power is shown" in sheet(client)


@pytest.mark.usefixtures("jar")
def test_the_moisture_that_was_tested_stands_on_the_sheet_with_its_way(client: FlaskClient):
    measured = sheet(client).split("Measured of its malt")[1].split("</section>")[0]
    assert "Moisture" in measured
    assert "by a moisture test" in measured


def test_a_batch_of_which_nothing_was_tested_says_so(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=400, kinds={"steep_on", "drained", "cast", "loaded", "heat_off"})
    fill(app, batch)
    assert "Nothing was measured of it." in sheet(client)


@pytest.mark.usefixtures("jar")
def test_a_label_bears_the_last_of_each_test_and_the_sheet_all(app: Flask, client: FlaskClient):
    measure(app, "malt_colour", {"value": 4.0}, id="first", at=iso(NOW - timedelta(days=2)))
    measure(app, "malt_colour", {"value": 6.0}, id="second")
    assert label(client).count("Colour") == 1
    assert "Colour 6.0" in label(client).replace("\u00a0", " ")
    assert sheet(client).count("Colour</th>") + sheet(client).count("Colour <a") == 2


@pytest.mark.usefixtures("jar")
def test_the_sheet_names_the_grain_and_who_declared_it(client: FlaskClient):
    text = sheet(client)
    assert "Lot of 25 Feb 17:30 barley_pale" in text
    assert "Declared untreated and for food by" in text
    assert "Not ready to eat" in text


def test_what_is_held_gets_no_sheet(app: Flask, client: FlaskClient):
    fill(app, finished(app, is_declared=False))
    measure(app, "malt_colour", {"value": 4.0})
    text = sheet(client)
    assert "Held: no malt sheet" in text
    assert "Colour" not in text


# --- what a name says only on evidence -------------------------------------------------------------------------------


CONVERTED = {"value": 12.0, "beside": {"reference_min": 10.0}}


def jar_of(app: Flask, key: str, name: str = "Jar 3", lot: str = "Croft") -> None:
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=400, key=key)
        session.scalars(select(Lot)).one().name = lot
    fill(app, batch, name=name)


def left_off(client: FlaskClient) -> str:
    page = unescape(client.get("/packs/jar-3/label").text)
    return page.partition("Left off the label")[2].partition("</div>")[0]


@pytest.mark.parametrize(
    ("key", "claim", "neutral", "test", "values"),
    [
        ("barley_diastatic", "diastatic", "Barley malt", "diastatic_power", {"value": 100.0}),
        ("barley_diastatic", "diastatic", "Barley malt", "conversion_test", CONVERTED),
        ("barley_diastatic", "diastatic", "Barley malt", "conversion_test", CONVERTED | {"value": 20.0}),
        ("barley_dark", "dark", "Barley malt", "malt_colour", {"value": 15.0}),
        ("smoked", "smoked", "Barley malt", "addition", {"what": "beech smoke, 4 h"}),
    ],
)  # fmt: skip
def test_a_label_claims_only_what_was_measured(
    app: Flask, client: FlaskClient, key: str, claim: str, neutral: str, test: str, values: dict[str, object]
):
    jar_of(app, key)
    assert claim not in label(client)
    assert neutral in label(client)
    assert f"“{claim}”: " in left_off(client)
    assert claim not in sheet(client).partition("Measured of its malt")[0].partition("<h1>")[2]
    measure(app, test, values)
    assert f", {claim} malt" in label(client)
    assert not left_off(client)


@pytest.mark.parametrize(
    ("key", "claim", "test", "values"),
    [
        ("barley_diastatic", "diastatic", "diastatic_power", {"value": 20.0}),
        ("barley_diastatic", "diastatic", "conversion_test", CONVERTED | {"value": 20.1}),
        ("barley_diastatic", "diastatic", "conversion_test", CONVERTED | {"value": 600.0}),
        ("barley_dark", "dark", "malt_colour", {"value": 14.0}),
    ],
)
def test_a_test_that_says_otherwise_shows_nothing(
    app: Flask, client: FlaskClient, key: str, claim: str, test: str, values: dict[str, object]
):
    jar_of(app, key)
    measure(app, test, values)
    assert claim not in label(client)


def test_a_lot_keeps_its_own_name_whatever_it_says(app: Flask, client: FlaskClient):
    jar_of(app, "barley_pale", lot="Dark Horse field")
    assert "Grain: Dark Horse field" in label(client)
    assert "<b>Dark Horse field</b>" in sheet(client)
    assert not left_off(client)


def test_what_was_only_estimated_shows_nothing(app: Flask, client: FlaskClient):
    jar_of(app, "barley_dark")
    measure(app, "malt_colour", {"value": 30.0}, quality="estimated")
    assert "dark" not in label(client)


def test_smoke_is_claimed_once_the_record_tells_of_it(app: Flask, client: FlaskClient):
    jar_of(app, "barley_pale", name="Smoked 7")
    assert "<h2>7</h2>" in label(client)
    measure(app, "addition", {"what": "beech smoke, 6 h"})
    assert "<h2>Smoked 7</h2>" in label(client)


@pytest.mark.parametrize("what", ["no smoke", "Not smoked, 4 h", "without any smoke", "smoke-free", "non-smoked"])
def test_an_addition_that_says_there_was_no_smoke_shows_none(app: Flask, client: FlaskClient, what: str):
    jar_of(app, "smoked")
    measure(app, "addition", {"what": what})
    assert "smoked" not in label(client)


@pytest.mark.parametrize(
    "name",
    [
        "Gluten-free oats",
        "gluten free oats",
        "Oats without gluten",
        "OATS, GLUTENFREE",
        "Gluten\u2011free oats",
        "Gluten\u2013free oats",
        "GF oats",
    ],
)
def test_nothing_shows_that_malt_is_free_of_gluten(app: Flask, client: FlaskClient, name: str):
    jar_of(app, "oats", name=name)
    measure(app, "diastatic_power", {"value": 100.0})
    heading = re.search(r"<h2>(.*?)</h2>", label(client))
    assert heading is not None
    assert heading[1].lower() == "oats"
    assert "no entry here can show it" in left_off(client)
