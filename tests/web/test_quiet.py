"""Quiet hours on the pages: chosen at a screen, silent marks for the bell, and flags that can wait in one line."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import ports
from app.store.engine import write_session
from tests.stories import add_fact, add_story
from tests.web.keeping import text_of
from tests.writing import NOW

AT_NIGHT = NOW.replace(hour=23, minute=30)


@pytest.fixture
def warm_batch(app: Flask) -> None:
    """On the floor, with one reading a little over the limit: a caution or a notice, and nothing to act on at once."""
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=90)
        add_fact(session, batch, "grain_temperature", {"value": 19.5}, id="warm-1", hours_ago=0.2)


@pytest.fixture
def held_batch(app: Flask) -> None:
    """Not declared for food."""
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=30, is_declared=False)


@pytest.fixture
def foul_air(app: Flask) -> None:
    """Air that nobody can breathe: act now."""
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=30)
        add_fact(session, batch, "co2_room", {"value": 20_000.0}, id="gas", hours_ago=0.2)


def it_is(monkeypatch: pytest.MonkeyPatch, moment: datetime) -> None:
    monkeypatch.setattr(ports, "now", lambda: moment)


def choose(client: FlaskClient, starts: str, ends: str) -> None:
    assert client.post("/people/quiet", data={"starts": starts, "ends": ends}).status_code == 303


def flags_open(client: FlaskClient, path: str) -> set[str]:
    """The severities of the flags that stand out on a page."""
    page = client.get(path).text
    shown = page.partition('class="live-flags"')[2].partition("</ul>")[0] if path == "/" else page
    pattern = r"word--(\w+)" if path == "/" else r'<details class="flag-line flag-line--(\w+)"'
    return set(re.findall(pattern, shown))


def test_the_house_s_own_hours_hold_until_others_are_chosen(client: FlaskClient) -> None:
    page = client.get("/people").text
    assert re.search(r'name="starts"[^>]*value="21:00"', page)
    assert re.search(r'name="ends"[^>]*value="06:00"', page)


def test_chosen_hours_stay_and_can_be_given_back(client: FlaskClient) -> None:
    choose(client, "22:15", "05:00")
    page = client.get("/people").text
    assert re.search(r'name="starts"[^>]*value="22:15"', page)
    assert "The house’s own, 21:00 to 06:00" in page
    client.post("/people/quiet", data={"house": "1"})
    assert re.search(r'name="starts"[^>]*value="21:00"', client.get("/people").text)


def test_they_are_those_of_one_screen(app: Flask, client: FlaskClient) -> None:
    choose(client, "22:15", "05:00")
    assert "22:15" not in app.test_client().get("/people").text


@pytest.mark.parametrize(("starts", "ends"), [("", "06:00"), ("21:00", "late"), ("25:00", "06:00")])
def test_a_time_that_is_none_is_told_and_changes_nothing(client: FlaskClient, starts: str, ends: str) -> None:
    answer = client.post("/people/quiet", data={"starts": starts, "ends": ends})
    assert answer.status_code == 422
    assert "Not changed yet" in text_of(answer)
    assert re.search(r'name="starts"[^>]*value="21:00"', client.get("/people").text)


@pytest.mark.parametrize("path", ["/", "/batches/1/tub"])
def test_in_quiet_hours_what_can_wait_stands_in_one_line(
    client: FlaskClient, warm_batch: None, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    it_is(monkeypatch, NOW)
    by_day = flags_open(client, path)
    assert by_day
    assert "act" not in by_day
    choose(client, "09:00", "11:00")
    assert flags_open(client, path) == set()
    assert re.search(r"\d flags? muted until 11:00", client.get(path).text)


@pytest.mark.parametrize("path", ["/", "/batches/1/tub"])
def test_in_quiet_hours_act_now_stands_out_as_ever(
    client: FlaskClient, foul_air: None, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    it_is(monkeypatch, NOW)
    choose(client, "09:00", "11:00")
    assert flags_open(client, path) == {"act"}


def test_the_flags_of_the_batch_s_own_page_stay_whole(
    client: FlaskClient, warm_batch: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    it_is(monkeypatch, NOW)
    choose(client, "09:00", "11:00")
    assert '<article class="flag flag--' in client.get("/batches/1").text


def due(client: FlaskClient, path: str) -> tuple[datetime, str]:
    """When the next step of the page is due, and how loud."""
    found = re.search(r'<section class="next[^>]* data-due="([^"]+)"( data-\w+)?', client.get(path).text)
    assert found is not None
    return datetime.fromisoformat(found[1]), (found[2] or "").strip()


@pytest.mark.parametrize("path", ["/", "/batches/1/tub"])
def test_a_step_is_silent_when_it_is_due_in_quiet_hours_and_only_then(
    client: FlaskClient, held_batch: None, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    it_is(monkeypatch, NOW)
    at, _ = due(client, path)
    choose(client, f"{at - timedelta(minutes=30):%H:%M}", f"{at + timedelta(minutes=30):%H:%M}")
    assert due(client, path) == (at, "data-silent")
    choose(client, f"{at + timedelta(minutes=30):%H:%M}", f"{at + timedelta(minutes=60):%H:%M}")
    assert due(client, path) == (at, "")


@pytest.mark.parametrize("path", ["/", "/batches/1/tub"])
def test_act_now_is_loud_at_any_hour(
    client: FlaskClient, foul_air: None, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    it_is(monkeypatch, NOW)
    choose(client, "00:00", "23:59")
    assert re.search(r'<(details|li)[^>]* data-due="[^"]+" data-loud', client.get(path).text)


def test_quiet_hours_go_by_the_clock_of_the_house(
    client: FlaskClient, warm_batch: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In July half past eight in the evening, UTC, is half past nine in Dublin."""
    it_is(monkeypatch, datetime.fromisoformat("2026-07-14T20:30:00+00:00"))
    assert "muted until 06:00" in client.get("/batches/1/tub").text
    it_is(monkeypatch, datetime.fromisoformat("2026-07-14T19:30:00+00:00"))
    assert "muted" not in client.get("/batches/1/tub").text
