"""The page of the house: its instruments and vessels, its air, and all that was said of them."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.operations.facts import record_fact, withdraw_fact
from app.store.engine import write_session
from app.store.facts import find_fact
from tests.stories import statements
from tests.writing import NOW, Record, add_batch, entry, iso, water

pytestmark = pytest.mark.usefixtures("morning")
HOUSE = {"type": "house", "id": "house"}


def about(type_: str, name: str) -> dict[str, dict[str, str]]:
    return {"subject": {"type": type_, "id": name}}


def calibrated(name: str, amount: str, *, id: str, **more: object) -> Record:
    return entry("calibrated", {"amount": amount, "amount_unit": "c"}, id=id) | about("instrument", name) | more


def told(app: Flask, *records: Record) -> None:
    with write_session(app.extensions["engine"]) as session:
        for record in records:
            record_fact(session, record, now=NOW)


def row_of(page: str, fact_id: str) -> str:
    found = re.search(rf'<tr id="fact-{fact_id}".*?</tr>', page, re.DOTALL)
    assert found is not None, f"no row for {fact_id}"
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", found[0])).split())


def test_it_tells_what_was_said_of_house_vessels_and_instruments_and_who_said_it(app: Flask, client: FlaskClient):
    told(
        app,
        entry("note", {"text": "Pest round, two mice"}, id="n", person="Anna", entered_by="Ben") | {"subject": HOUSE},
        entry("cleaned", {"what": "hot soda"}, id="c", person="Ben") | about("vessel", "Tub 1"),
        calibrated("probe 2", "-3", id="k", person="Mary"),
    )
    page = client.get("/house").text
    assert "Pest round, two mice" in row_of(page, "n")
    assert "Anna, typed by Ben" in row_of(page, "n")
    assert "Cleaned: Tub 1" in row_of(page, "c")
    assert "Calibrated: probe 2 −3.0 °C added" in row_of(page, "k")


def test_the_newest_stands_first(app: Flask, client: FlaskClient):
    for place, text in enumerate(("older", "newer")):
        at = iso(NOW - timedelta(days=2 - place))
        told(app, entry("note", {"text": text}, id=f"n{place}", at=at) | {"subject": HOUSE})
    page = client.get("/house").text
    assert page.index("newer") < page.index("older")


def test_a_correction_stands_above_what_it_corrects_which_is_struck_through(app: Flask, client: FlaskClient):
    told(
        app,
        entry("note", {"text": "one mouse"}, id="n1", person="Anna") | {"subject": HOUSE},
        entry("note", {"text": "two mice"}, id="n2", person="Ben", supersedes_id="n1") | {"subject": HOUSE},
    )
    page = client.get("/house").text
    assert '<span class="struck">one mouse</span>' in page
    assert "corrected by Ben" in row_of(page, "n1")
    assert "/facts/n2/correct" in page
    assert "/facts/n1/correct" not in page


def test_what_was_struck_out_stays_with_who_and_why(app: Flask, client: FlaskClient):
    told(app, entry("cleaned", {}, id="c") | about("vessel", "Tub 1"))
    with write_session(app.extensions["engine"]) as session:
        target = find_fact(session, "c")
        assert target is not None
        withdraw_fact(session, target, new_id="w", now=NOW, reason="that was tub 2", entered_by="Mary")
    page = client.get("/house").text
    assert "struck out by Mary: that was tub 2" in row_of(page, "c")
    assert "nobody said" not in page.partition("All that was said")[0]


def test_a_thermometer_stands_there_with_what_is_added_to_its_readings_now(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        add_batch(session)
    told(app, water(instrument="probe 1"), water(id="w2", instrument="probe 2"), calibrated("probe 2", "-3", id="k"))
    told(app, entry("ph", {"value": "6"}, id="ph", instrument="ph meter"))
    page = " ".join(client.get("/house").text.partition("All that was said")[0].split())
    probe_2, _, never = page.partition("Never calibrated")
    assert "−3.0 °C added" in probe_2
    assert "1 reading" in probe_2
    assert ">probe 1</a>" in never
    assert ">probe 2</a>" not in never
    assert "ph meter" not in page


def test_an_instrument_calibrated_anew_reads_right_again(app: Flask, client: FlaskClient):
    before = iso(NOW - timedelta(days=3))
    told(app, calibrated("probe 2", "-3", id="k1", at=before), calibrated("probe 2", "0", id="k2"))
    assert "nothing added: it reads right" in client.get("/house").text.partition("All that was said")[0]


def test_a_vessel_stands_there_with_when_it_was_cleaned_last(app: Flask, client: FlaskClient):
    for days in (9, 2):
        at = iso(NOW - timedelta(days=days))
        told(app, entry("cleaned", {"what": f"{days} ago"}, id=f"c{days}", at=at) | about("vessel", "Tub 1"))
    vessels = client.get("/house").text.partition("All that was said")[0].partition("Vessels")[2]
    assert "2 ago" in vessels
    assert "9 ago" not in vessels


def test_differences_are_said_in_the_readers_unit(app: Flask, client: FlaskClient):
    told(app, calibrated("probe 2", "-3", id="k"))
    with client.session_transaction() as cookie:
        cookie["units"] = "us"
    # 3 °C are 5.4 °F, and not 37.4.
    assert "−5.4\u00a0°F added" in client.get("/house").text


def test_bad_air_is_told_at_the_head_of_the_page(app: Flask, client: FlaskClient):
    told(app, entry("co2_room", {"value": "16000", "value_unit": "ppm"}, id="a") | {"subject": HOUSE})
    assert "Leave now" in client.get("/house").text


def gas(hours_ago: float) -> Record:
    at = iso(NOW - timedelta(hours=hours_ago))
    return entry("co_room", {"value": "150", "value_unit": "ppm"}, id="gas", at=at) | {"subject": HOUSE}


def test_bad_air_is_told_at_home_for_half_a_day(app: Flask, client: FlaskClient):
    told(app, gas(hours_ago=11))
    assert "Fuel off from outside" in client.get("/").text


def test_bad_air_of_long_ago_is_told_at_home_no_more(app: Flask, client: FlaskClient):
    told(app, gas(hours_ago=12))
    assert "Fuel off from outside" not in client.get("/").text


def test_an_empty_house_says_what_to_do_first(client: FlaskClient):
    page = client.get("/house").text
    assert "Name the thermometer with a reading" in page
    assert "Nothing yet." in page


def test_a_long_record_goes_on_on_further_pages(app: Flask, client: FlaskClient):
    for place in range(45):
        at = iso(NOW - timedelta(hours=place + 1))
        told(app, entry("note", {"text": f"note <{place}>"}, id=f"n{place}", at=at) | {"subject": HOUSE})
    first, second = client.get("/house").text, client.get("/house?page=2").text
    assert "note &lt;0&gt;" in first
    assert "note &lt;44&gt;" not in first
    assert "note &lt;44&gt;" in second
    assert "Nothing this far back" in client.get("/house?page=99").text
    assert client.get("/house?page=x").status_code == 200


def test_as_many_statements_for_much_as_for_little(app: Flask, client: FlaskClient):
    counts = []
    for place in range(2):
        for each in range(1 + 20 * place):
            name = f"{place}-{each}"
            told(app, calibrated(f"probe {name}", "1", id=f"k{name}"))
            told(app, entry("cleaned", id=f"c{name}") | about("vessel", f"tub {name}"))
        with statements(app) as seen:
            assert client.get("/house").status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1] <= 5
