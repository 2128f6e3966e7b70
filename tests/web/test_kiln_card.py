"""The kiln card on the tub and on the batch's page."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.batches import Batch
from app.store.engine import write_session
from tests.pages import forms_of
from tests.stories import add_fact, add_story

pytestmark = pytest.mark.usefixtures("morning")

BARE = {"steep_on", "drained", "cast", "loaded", "heat_on"}


def begun(app: Flask, hours_ago: float = 165.0, **more: Any) -> Batch:
    with write_session(app.extensions["engine"]) as session:
        return add_story(session, hours_ago=hours_ago, **more)


def tell(app: Flask, batch: Batch, kind: str, values: dict[str, Any], **more: Any) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_fact(session, batch, kind, values, id=f"told-{kind}-{len(more)}", **more)


def markup(client: FlaskClient, batch: Batch, page: str = "") -> str:
    text = client.get(f"/batches/{batch.number}{page}").text
    return text.partition('id="kiln"')[2].partition("</section>")[0]


def card(client: FlaskClient, batch: Batch, page: str = "") -> str:
    bare = re.sub(r"<[^>]+>", " ", markup(client, batch, page))
    return re.sub(r"\s+", " ", unescape(bare).replace("\u00a0", " "))


@pytest.mark.parametrize("hours_ago", [5, 22, 120])
def test_outside_of_the_kiln_there_is_no_card(app: Flask, client: FlaskClient, hours_ago: float) -> None:
    batch = begun(app, hours_ago)
    assert markup(client, batch) == ""
    assert markup(client, batch, "/tub") == ""


def test_the_tub_says_the_three_things_that_one_acts_on(app: Flask, client: FlaskClient) -> None:
    said = card(client, begun(app), "/tub")
    assert "Grain now at most 50.0 °C (122.0 °F)" in said
    assert re.search(r"Dry enough, 4\.5 % about", said)
    assert re.search(r"Stop at gross, tray 1 2\d{3} ± \d+ g", said)
    assert "Carbon monoxide alarm" not in said  # It stands above, under “Take care”.
    assert "Water still to go" not in said, "that is a tap away"


def test_the_batch_page_says_all_of_it(app: Flask, client: FlaskClient) -> None:
    said = card(client, begun(app, 174.0))
    for each in ("Next ceiling", "Above the ceiling so far", "It never gets drier than", "Water still to go", "kWh",
                 "m³ of air", "Break point"):  # fmt: skip
        assert each in said


def test_each_number_leads_to_how_it_came_about(app: Flask, client: FlaskClient) -> None:
    html = markup(client, begun(app, 174.0))
    assert html.count("<dt>") == html.count('class="how') >= 8


def test_what_is_taken_and_not_measured_is_said(app: Flask, client: FlaskClient) -> None:
    batch = begun(app)
    assert "from a room’s air of 15.0 °C (59.0 °F) and 70 %, taken (from memory)" in card(client, batch)
    tell(app, batch, "humidity", {"value": 0.55}, place="room")
    assert "its humidity measured, the other taken" in card(client, batch)


def dry_words(client: FlaskClient, batch: Batch, page: str = "") -> tuple[str, str, str]:
    """When it is dry enough, in which air, and between when and when."""
    row = r"Dry enough, 4\.5 % about (.*?) (in the air [^;]*); between (.*?) (?:Stop at|Next ceiling)"
    found = re.search(row, card(client, batch, page))
    assert found is not None, card(client, batch, page)
    return found[1], found[2], found[3]


@pytest.mark.parametrize("page", ["", "/tub"])
def test_logging_just_the_air_that_is_planned_moves_nothing(app: Flask, client: FlaskClient, page: str) -> None:
    batch = begun(app, kinds=BARE | {"moisture_test", "tray"})
    before = dry_words(client, batch, page)
    assert before[1] == "in the air as planned"
    tell(app, batch, "air_on_temperature", {"value": 52.0}, hours_ago=0.1)
    after = dry_words(client, batch, page)
    assert after == (before[0], "in the air as planned, from where it stands", before[2])


def test_a_kiln_that_is_behind_its_plan_is_dry_later_and_when_at_the_latest(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 170.0, kinds=BARE | {"moisture_test"})
    before = dry_words(client, batch)
    tell(app, batch, "air_on_temperature", {"value": 52.0}, hours_ago=0.1)
    after = dry_words(client, batch)
    # Both on this day, so that the clock tells which is later.
    assert re.fullmatch(r"\d\d:\d\d", before[0])
    assert before[0] < after[0]
    assert "much later" not in after[2]


def test_the_last_air_that_is_planned_is_not_called_logged(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, kinds=BARE | {"moisture_test"})
    assert "in air of 83.0 °C (181.4 °F), as planned: nobody logged it" in card(client, batch)
    tell(app, batch, "air_on_temperature", {"value": 52.0}, hours_ago=0.1)
    tell(app, batch, "humidity", {"value": 0.2}, place="below the bed", hours_ago=0.1)
    said = card(client, batch)
    assert "in air of 83.0 °C (181.4 °F), the last that is planned; humidity" in said
    assert "reckoned from that measured in the kiln" in said


def test_without_probe_it_is_the_tray_and_the_hand_that_tell_the_break_point(app: Flask, client: FlaskClient) -> None:
    said = card(client, begun(app))
    assert "No probe above the bed (air-off) tells it: weigh a tray" in said
    assert "By hand:" in said


def test_missing_inputs_lead_to_the_entry_that_makes_up_for_them(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, kinds=BARE)
    html = markup(client, batch)
    assert f'href="/batches/{batch.number}/tub#tray">weigh a tray, or test it' in html
    assert f'href="/batches/{batch.number}/tub#humidity"' in html
    assert 'href="#grain_temperature">take the grain’s temperature' in unescape(markup(client, batch, "/tub"))
    assert "Stop at gross" not in card(client, batch)


def test_grain_over_its_ceiling_is_said_on_the_card(app: Flask, client: FlaskClient) -> None:
    batch = begun(app)
    tell(app, batch, "grain_temperature", {"value": 57.0}, place="bottom", hours_ago=0.2)
    said = card(client, batch, "/tub")
    assert "too hot" in said
    assert "Hottest (bottom): 57.0 °C (134.6 °F), 12 min ago." in said


def test_a_reader_of_us_units_sees_fahrenheit_first_and_ounces(app: Flask, client: FlaskClient) -> None:
    batch = begun(app)
    client.post("/people/units", data={"units": "us"})
    said = card(client, batch)
    assert "Grain now at most 122.0 °F (50.0 °C)" in said
    assert re.search(r"Stop at gross, tray 1 .*? (lb|oz) ", said)
    assert "ft³" in said


def test_the_tub_stays_small_on_the_kiln(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 174.0)
    answer = client.get(f"/batches/{batch.number}/tub", headers={"Accept-Encoding": "br"})
    assert answer.headers["Content-Encoding"] == "br"
    assert len(answer.data) <= 10_000


def whole(client: FlaskClient, path: str) -> str:
    bare = re.sub(r"<[^>]+>", " ", client.get(path).text.partition('{"config"')[0])
    return re.sub(r"\s+", " ", unescape(bare).replace("\u00a0", " "))


@pytest.mark.parametrize("kinds", [BARE - {"heat_on"}, BARE])
@pytest.mark.parametrize("hours_ago", [170.0, 200.0, 240.0])
def test_nothing_measured_on_the_kiln_is_the_ceiling_of_wet_grain_and_no_word_of_dry_enough(
    app: Flask, client: FlaskClient, kinds: set[str], hours_ago: float
) -> None:
    batch = begun(app, hours_ago, kinds=kinds)
    said = card(client, batch, "/tub")
    assert "Grain now at most 50.0 °C (122.0 °F) as for wet grain" in said
    assert "reached" not in said
    assert "weigh a tray, or test it" in said
    for path in (f"/batches/{batch.number}", f"/batches/{batch.number}/tub", "/", "/batches"):
        page = whole(client, path)
        assert not re.search(r"Moisture (how\? )?\d", page), path
        assert "Heat off, cool" not in page, path
    assert "Moisture not known" in whole(client, "/")


def test_a_paused_kiln_says_so_and_foresees_nothing(app: Flask, client: FlaskClient) -> None:
    batch = begun(app)
    tell(app, batch, "paused", {}, hours_ago=0.5)
    said = card(client, batch, "/tub")
    assert "The heat stands still" in said
    assert "Fan, then heat on again" in whole(client, f"/batches/{batch.number}/tub")
    tell(app, batch, "resumed", {}, hours_ago=0.2)
    assert "stands still" not in card(client, batch, "/tub")


def test_malt_taken_off_wet_is_dried_on_and_finished_only_when_somebody_insists(
    app: Flask, client: FlaskClient
) -> None:
    batch = begun(app, 170.0, kinds=BARE)
    tell(app, batch, "moisture_test", {"value": 0.21}, hours_ago=0.4, method="oven_two_stage")
    tell(app, batch, "heat_off", {}, hours_ago=0.2)
    page = unescape(client.get(f"/batches/{batch.number}").text)
    assert "Dry on: heat on again" in page
    assert "Not dry enough to keep" in page
    assert "Bag it" not in page
    asked = client.post(f"/batches/{batch.number}/tub/finished", data={"id": "done-1", "when": "now"})
    assert "too wet to keep" in unescape(asked.text)
    assert "Is it finished all the same?" in unescape(asked.text)


def test_malt_that_was_last_read_hot_is_finished_and_packed_only_when_somebody_insists(
    app: Flask, client: FlaskClient
) -> None:
    batch = begun(app, 170.0, kinds=BARE)
    tell(app, batch, "heat_off", {}, hours_ago=0.4)
    tell(app, batch, "grain_temperature", {"value": 58.0}, hours_ago=0.2)
    sack = next(
        form for form in forms_of(client.get(f"/batches/{batch.number}/pack").text) if form.action.endswith("/pack")
    )
    for path, values, asked in (
        ("tub/finished", {"id": "done-1", "when": "now"}, "Is it finished all the same?"),
        ("pack", sack.filled(name="Sack 1", as_is_0="2.5", moisture_0="4.5"), "Pack it so?"),
    ):
        answer = client.post(f"/batches/{batch.number}/{path}", data=values)
        assert answer.status_code == 422
        assert f"Last read at 58.0 °C: above 35.0 °C it is too hot for a sack. {asked}" in unescape(answer.text)
