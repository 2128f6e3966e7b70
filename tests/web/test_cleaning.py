"""What is to be cleaned, seen where one looks: on the page of the house, and at home once it is overdue."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.operations.facts import record_fact, withdraw_fact
from app.store.batches import Batch
from app.store.engine import write_session
from app.store.facts import find_fact
from app.web.request.digests import refresh
from tests.stories import add_story, statements
from tests.writing import NOW, Record, entry, iso

pytestmark = pytest.mark.usefixtures("morning")


def about(kind: str, days_ago: float, vessel: str = "Tub 1", **typed: str) -> Record:
    at = iso(NOW - timedelta(days=days_ago))
    return entry(kind, typed, id=f"{kind}-{vessel}-{days_ago}", at=at) | {"subject": {"type": "vessel", "id": vessel}}


def told(app: Flask, *records: Record) -> None:
    with write_session(app.extensions["engine"]) as session:
        for record in records:
            record_fact(session, record, now=NOW)


def read(client: FlaskClient, path: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", client.get(path).text)).split())


def vessels(client: FlaskClient) -> str:
    return read(client, "/house").partition("Vessels")[2].partition("Steep water")[0]


def ended_in(app: Flask, vessel: str) -> None:
    with write_session(app.extensions["engine"]) as session:
        batch: Batch = add_story(session, hours_ago=400)
        batch.vessel = vessel
        batch_id = batch.id
        record_fact(session, entry("finished", id="over", at=iso(NOW - timedelta(days=1))) | {
            "subject": {"type": "batch", "id": batch_id}
        }, now=NOW)  # fmt: skip
    with app.test_request_context():
        refresh(batch_id)


def test_the_plan_of_a_vessel_stands_beside_its_last_cleaning(app: Flask, client: FlaskClient) -> None:
    told(app, about("cleaning_plan", 40, amount="30"), about("cleaned", 10))
    assert "every 30 days" in vessels(client)
    assert "next 3 Apr 2026" in vessels(client)
    assert "clean it" not in vessels(client)
    assert "To be cleaned" not in read(client, "/")


def test_what_is_overdue_stands_first_and_is_named_at_home(app: Flask, client: FlaskClient) -> None:
    told(app, about("cleaned", 90, "Tub 2"), about("cleaning_plan", 60, "Floor", amount="30"))
    told(app, about("cleaned", 50, "Floor"))
    assert vessels(client).index("Floor") < vessels(client).index("Tub 2")
    assert "clean it: due since 22 Feb 2026" in vessels(client)
    assert "To be cleaned: Floor The house" in read(client, "/")
    told(app, about("cleaned", 0, "Floor"))
    assert "To be cleaned" not in read(client, "/")


def test_a_plan_that_was_struck_out_asks_for_nothing(app: Flask, client: FlaskClient) -> None:
    told(app, about("cleaning_plan", 60, amount="30"))
    assert "To be cleaned: Tub 1" in read(client, "/")
    with write_session(app.extensions["engine"]) as session:
        plan = find_fact(session, "cleaning_plan-Tub 1-60")
        assert plan is not None
        withdraw_fact(session, plan, new_id="w", now=NOW)
    assert "To be cleaned" not in read(client, "/")


def test_after_a_batch_its_vessel_is_to_be_cleaned_and_no_other(app: Flask, client: FlaskClient) -> None:
    told(app, about("cleaning_plan", 300), about("cleaned", 200), about("cleaning_plan", 300, "Tub 2"))
    told(app, about("cleaned", 200, "Tub 2"))
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=20).vessel = "Tub 2"
    assert "To be cleaned" not in read(client, "/")
    ended_in(app, "Tub 1")
    assert "To be cleaned: Tub 1" in read(client, "/")
    assert "To be cleaned: Tub 1, " not in read(client, "/")


def test_the_whole_house_may_have_a_plan(app: Flask, client: FlaskClient) -> None:
    whole = {"subject": {"type": "house", "id": "house"}}
    told(app, about("cleaning_plan", 60, amount="30") | whole)
    assert "To be cleaned: the house" in read(client, "/")
    assert "The house" in vessels(client)


def test_home_asks_no_more_where_no_plan_is_by_batch(app: Flask, client: FlaskClient) -> None:
    counts = []
    for place in range(2):
        told(
            app, *(about("cleaning_plan", 60 + each, f"v{place}-{each}", amount="30") for each in range(1 + 9 * place))
        )
        with statements(app) as seen:
            client.get("/")
        counts.append(len(seen))
    assert counts[0] == counts[1]


# --- water, scales, hygrometers --------------------------------------------------------------------------------------


def water(days_ago: float, place: str, **typed: str) -> Record:
    at = iso(NOW - timedelta(days=days_ago))
    fact = entry("water_analysis", typed, id=f"w{place}{days_ago}", at=at, place=place)
    return fact | {"subject": {"type": "house", "id": "house"}}


def test_the_last_analysis_of_each_place_stands_there_with_what_it_means(app: Flask, client: FlaskClient) -> None:
    told(app, water(90, "well", iron="9"), water(5, "well", iron="0.4"), water(30, "tap", chlorine="0.2"))
    page = read(client, "/house").partition("All that was said")[0]
    assert "0.40 mg/L" in page
    assert "9.00 mg/L" not in page
    assert "0.20 mg/L" in page
    assert "Air it and filter it first. Iron darkens" in page
    assert "40 CFR 143.3" in page


def test_water_that_harms_is_answered_so_and_told_to_a_phone(app: Flask, client: FlaskClient) -> None:
    sent = water(0, "well", e_coli="4", iron="0.1")
    answer = client.post("/sync/facts", json={"entries": [sent]})
    assert "Don’t steep in it" in str(answer.get_json())
    page = read(client, f"/house?kept={sent['id']}")
    assert "E. coli in 100 mL 4" in page
    assert "Don’t steep in it" in page


def test_an_analysis_names_what_harms_and_was_not_looked_for(app: Flask, client: FlaskClient) -> None:
    sent = water(0, "well", ph="7", hardness="200")
    client.post("/sync/facts", json={"entries": [sent]})
    assert "Not looked for: Nitrate, E. coli in 100 mL." in read(client, f"/house?kept={sent['id']}")
    sent = water(1, "spring", nitrate="5", e_coli="0")
    client.post("/sync/facts", json={"entries": [sent]})
    assert "Not looked for" not in read(client, f"/house?kept={sent['id']}")


def test_a_scale_and_a_hygrometer_stand_there_with_their_last_check(app: Flask, client: FlaskClient) -> None:
    def check(kind: str, name: str, shown: str, known: str, unit: str) -> Record:
        typed = {"value": shown, "value_unit": unit, "known": known}
        return entry(kind, typed, id=name, at=iso(NOW)) | {"subject": {"type": "instrument", "id": name}}

    told(app, check("scale_checked", "bench", "1010", "1000", "g"))
    told(app, check("humidity_checked", "probe h", "76", "75", "percent"))
    page = read(client, "/house").partition("All that was said")[0]
    assert "10.0 g too much at 1000 g" in page.partition("Scales")[2]
    assert "1 points too much at 75.0 %" in page.partition("Hygrometers")[2]
    assert "Mend or set it" in read(client, "/house?kept=bench")
    assert "Mend or set it" not in read(client, "/house?kept=probe h")


def test_a_scale_that_was_never_checked_is_named(app: Flask, client: FlaskClient) -> None:
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=20)
        record = entry("tray", {"gross": "6", "gross_unit": "kg", "vessel": "tray 1"}, id="t", instrument="platform")
        record_fact(session, record | {"subject": {"type": "batch", "id": batch.id}}, now=NOW)
    page = client.get("/house").text.partition("All that was said")[0].partition(">Scales<")[2]
    assert 'href="/house/entries/scale_checked?about=platform"' in page
