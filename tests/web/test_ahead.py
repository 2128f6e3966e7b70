"""What is ahead: how long one can sleep, what a day more costs, the power cut, and when to begin."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.programmes.programme import load_builtin
from app.store.batches import Batch
from app.store.engine import write_session
from tests.pages import forms_of
from tests.stories import add_fact, add_story
from tests.writing import NOW, Opened

pytestmark = pytest.mark.usefixtures("morning")
PALE = load_builtin()["barley_pale"].digest
RYE = load_builtin()["rye"].digest


def begun(app: Flask, hours_ago: float, key: str = "barley_pale") -> Batch:
    with write_session(app.extensions["engine"]) as session:
        return add_story(session, hours_ago=hours_ago, key=key)


def told(app: Flask, batch: Batch, *facts: tuple[str, dict[str, object], float]) -> None:
    with write_session(app.extensions["engine"]) as session:
        for place, (kind, values, hours_ago) in enumerate(facts):
            add_fact(session, batch, kind, values, id=f"told-{place}", hours_ago=hours_ago, place="middle")


def page(client: FlaskClient, path: str, status: int = 200) -> str:
    answer = client.get(path)
    assert answer.status_code == status
    return unescape(answer.text).replace("\u00a0", " ")


def section(text: str, name: str) -> str:
    return text.partition(f'id="{name}"')[2].partition("</section>")[0]


def ahead(client: FlaskClient, batch: Batch | Opened, name: str = "sleep") -> str:
    return section(page(client, f"/batches/{batch.number}/ahead"), name)


def test_a_warming_bed_says_by_when_to_be_back(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 100)
    told(
        app, batch, ("turned", {}, 3.0), ("grain_temperature", {"value": 15.0}, 2.9),
        ("grain_temperature", {"value": 15.5}, 1.5), ("grain_temperature", {"value": 16.0}, 0.1),
    )  # fmt: skip
    said = ahead(client, batch)
    assert re.search(r"Back by \d\d:\d\d</span>", said)
    assert "The bed (middle) comes to 20.0 °C" in said
    assert "Estimate" in said
    assert '/how/watch.temperature" aria-label="how from ' in said


def test_in_american_units_the_limit_is_in_fahrenheit(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 100)
    told(
        app, batch, ("turned", {}, 3.0), ("grain_temperature", {"value": 15.0}, 2.9),
        ("grain_temperature", {"value": 16.0}, 0.1),
    )  # fmt: skip
    with client.session_transaction() as session:
        session["units"] = "us"
    assert "68.0 °F" in ahead(client, batch)


def test_where_it_cannot_be_said_the_page_leads_to_what_to_record(app: Flask, client: FlaskClient) -> None:
    said = ahead(client, begun(app, 43.0))
    assert "That can’t be said yet" in said
    assert "twice, an hour and a half or more apart" in said
    assert "/tub#grain_temperature" in said


def test_a_kiln_is_not_left_overnight(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 172)
    said = ahead(client, batch)
    assert "Not at all: heat is never left running" in said
    assert "Nothing unattended overnight" in said
    assert "never left running" in page(client, f"/batches/{batch.number}")


def test_dry_grain_lets_everybody_sleep(client: FlaskClient, batch: Opened) -> None:
    assert "As long as you like" in ahead(client, batch)


def test_the_batch_page_says_how_long_one_can_sleep_and_leads_on(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 100)
    text = page(client, f"/batches/{batch.number}")
    assert "How long can I sleep?" in text
    assert f"/batches/{batch.number}/ahead" in text
    assert ">One more day?</a>" in text


def test_a_batch_that_has_ended_has_nothing_ahead_on_its_page(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 400)
    assert "How long can I sleep?" not in page(client, f"/batches/{batch.number}")
    assert "As long as you like" in ahead(client, batch)


def test_the_tub_is_one_tap_from_sleep_and_from_the_power_cut(app: Flask, client: FlaskClient) -> None:
    number = begun(app, 100).number
    text = page(client, f"/batches/{number}/tub")
    assert f'href="/batches/{number}/ahead"' in text
    assert f'href="/batches/{number}/power-cut"' in text


def test_one_more_day_weighs_dry_matter_against_growth(app: Flask, client: FlaskClient) -> None:
    said = ahead(client, begun(app, 158), "day")
    assert "it leaves its range within the day" in said
    assert re.search(r"\d+ ± \d+ g", said)
    assert "Mean acrospire" in said
    assert "Overgrown" in said
    assert '/how/day.cost"' in said


def test_off_the_floor_there_is_no_day_to_weigh(app: Flask, client: FlaskClient) -> None:
    assert ahead(client, begun(app, 10), "day") == ""


@pytest.mark.parametrize(
    ("hours_ago", "says"),
    [(3, "without air or pump"), (10, "resting, without a fan"), (100, "without a fan"), (168, "Heat off first")],
)
def test_the_power_cut_has_its_card_and_leads_to_the_interruption(
    app: Flask, client: FlaskClient, hours_ago: float, says: str
) -> None:
    number = begun(app, hours_ago).number
    text = page(client, f"/batches/{number}/power-cut")
    assert says in text
    assert f"/batches/{number}/tub#interruption" in text
    assert "How it stands" in text


def test_a_batch_that_is_not_there_has_nothing_ahead(client: FlaskClient) -> None:
    for path in ("/batches/77/ahead", "/batches/77/power-cut"):
        assert client.get(path).status_code == 404


def test_the_plan_opens_with_a_usual_day_and_tomorrow(client: FlaskClient) -> None:
    text = page(client, "/plan")
    form = next(each for each in forms_of(text) if each.action == "/plan")
    assert form.values["up"] == "06:30"
    assert form.values["bed"] == "22:00"
    assert form.values["day"] == (NOW.date() + timedelta(days=1)).isoformat()
    assert form.values["programme"] == PALE
    assert "half hours leave the night alone" in text
    assert "Steep on" in section(text, "timetable")


def test_each_half_hour_shows_its_timetable_at_an_address_that_can_be_kept(client: FlaskClient) -> None:
    text = page(client, f"/plan?programme={PALE}&up=07:00&bed=21:00&day=2026-03-20")
    links = re.findall(r'<li><a href="(/plan\?[^"]+)"', text)
    assert len(links) == 48
    night = page(client, links[6])
    assert "Beginning Fri 03:00" in night
    assert "At night:" in night
    assert page(client, links[6]) == night


def test_the_night_in_which_the_clock_changes_has_its_own_half_hours(client: FlaskClient) -> None:
    spring = page(client, f"/plan?programme={PALE}&day=2026-03-29")
    autumn = page(client, f"/plan?programme={PALE}&day=2026-10-25")
    assert "<b>01:30</b>" not in spring
    assert "<b>01:30 IST</b>" in autumn
    assert "<b>01:30 GMT</b>" in autumn
    assert spring.count('<li><a href="/plan?') == 46
    assert autumn.count('<li><a href="/plan?') == 50


def test_no_task_of_the_best_start_lies_outside_the_waking_hours(client: FlaskClient) -> None:
    table = section(page(client, f"/plan?programme={PALE}&day=2026-03-27"), "timetable")
    clocks = re.findall(r"<b>(\d\d:\d\d)</b>", table)
    assert clocks
    assert all("06:30" <= clock <= "22:00" for clock in clocks)


def test_choosing_a_grain_offers_the_programmes_made_for_it(client: FlaskClient) -> None:
    text = page(client, f"/plan?species=rye&programme={PALE}")
    form = next(each for each in forms_of(text) if each.action == "/plan")
    made_for_rye = {each.digest for each in load_builtin().values() if "rye" in each.species}
    assert set(form.choices["programme"]) == made_for_rye
    assert form.values["programme"] == RYE
    assert "Rye" in section(text, "timetable")


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("up=late", "Up at"),
        ("up=22:00&bed=22:00", "never sleeps"),
        ("day=1066-10-14", "within the next"),
        ("day=9999-12-31", "within the next"),
        ("day=", "needed"),
    ],
)
def test_what_cannot_be_read_is_said_at_its_field(client: FlaskClient, query: str, says: str) -> None:
    text = page(client, f"/plan?{query}", 422)
    assert says in text
    assert "Not planned yet" in text
    assert "Start hours" not in text


def test_nonsense_in_the_address_plans_as_usual(client: FlaskClient) -> None:
    text = page(client, "/plan?programme=none&species=stone&start=soon")
    assert "Start hours" in text


def test_a_kiln_that_runs_into_the_night_is_said_so(client: FlaskClient) -> None:
    text = page(client, f"/plan?programme={PALE}&up=09:00&bed=19:00")
    assert "The kiln is hot at night" in text


def test_the_way_to_the_plan_stands_where_one_begins_a_batch(client: FlaskClient, batch: Opened) -> None:
    for path in ("/batches/new", "/batches/new?lot=lot-1", f"/programmes/{PALE}"):
        assert 'href="/plan' in page(client, path), path


def test_a_house_where_nothing_is_going_on_leads_to_the_plan(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 400)
    assert batch.number
    assert 'href="/plan"' in page(client, "/")


def test_times_of_the_plan_are_those_of_the_house(client: FlaskClient) -> None:
    text = page(client, f"/plan?programme={PALE}&day=2026-07-01&start=2026-07-01T08:00Z")
    zone = ZoneInfo("Europe/Dublin")
    local = datetime.fromisoformat("2026-07-01T08:00:00+00:00").astimezone(zone)
    assert local.date() == date(2026, 7, 1)
    assert f"Beginning Wed {local:%H:%M}" in text
