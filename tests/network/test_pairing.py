"""Pairing a phone: the code at the desk, what it is good for, and how long."""

from __future__ import annotations

import re
import sqlite3
from datetime import datetime, timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import ports
from app.config import Settings
from app.operations.devices import CODE_LIFE, GUESSES_FROM_ONE_ADDRESS, GUESSES_IN_ALL
from app.operations.people import add_person
from app.store.devices import plain_code
from app.store.engine import write_session
from tests.network.phone import Phone, code_from, device_row, paired, revoke
from tests.writing import NOW


class Clock:
    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr(ports, "now", clock)
    return clock


def test_a_code_lets_one_phone_in_and_no_second_one(app: Flask, desk: FlaskClient) -> None:
    code = code_from(desk)
    assert Phone(app).pair(code, "First").status_code == 303
    second = Phone(app)
    assert second.pair(code, "Second").status_code == 422
    assert second.get("/").status_code == 401


def test_a_code_is_good_for_ten_minutes(app: Flask, desk: FlaskClient, clock: Clock) -> None:
    codes = [code_from(desk), code_from(desk)]
    clock.now += CODE_LIFE - timedelta(seconds=1)
    assert Phone(app).pair(codes[0], "In time").status_code == 303
    clock.now += timedelta(seconds=1)
    late = Phone(app).pair(codes[1], "Too late")
    assert late.status_code == 422
    assert "older than ten minutes" in late.text
    assert timedelta(minutes=10) == CODE_LIFE


@pytest.mark.parametrize("typed", [str.lower, lambda code: code.replace(" ", ""), lambda code: code.replace(" ", "-")])
def test_a_code_may_be_typed_as_people_type(app: Flask, desk: FlaskClient, typed: object) -> None:
    assert callable(typed)
    assert Phone(app).pair(typed(code_from(desk))).status_code == 303


def test_signs_that_look_alike_are_the_same() -> None:
    assert plain_code("o0-il1") == "00111"


def test_codes_are_kept_as_digests_only(desk: FlaskClient, settings: Settings) -> None:
    code = plain_code(code_from(desk))
    with sqlite3.connect(settings.database_file) as connection:
        told = "\n".join(connection.iterdump())
    connection.close()
    assert "pairing_code" in told
    assert code not in told


def test_wrong_codes_from_one_address_are_not_listened_to_for_long(app: Flask, desk: FlaskClient, clock: Clock) -> None:
    guesser = Phone(app, "192.168.7.66")
    for _ in range(GUESSES_FROM_ONE_ADDRESS):
        assert guesser.pair("AAAA BBBB CCCC").status_code == 422
    code = code_from(desk)
    refused = guesser.pair(code)
    assert refused.status_code == 429
    assert "Wait ten minutes" in refused.text
    assert Phone(app, "192.168.7.20").pair(code, "Another").status_code == 303
    clock.now += CODE_LIFE + timedelta(seconds=1)
    assert guesser.pair(code_from(desk), "Patient").status_code == 303


def test_wrong_codes_from_many_addresses_are_not_listened_to_for_long(
    app: Flask, desk: FlaskClient, clock: Clock, settings: Settings
) -> None:
    for number in range(GUESSES_IN_ALL):
        assert Phone(app, f"192.168.8.{number}").pair("AAAA").status_code == 422
    for number in range(20):
        assert Phone(app, f"192.168.9.{number}").pair(code_from(desk)).status_code == 429
    with sqlite3.connect(settings.database_file) as connection:
        (kept,) = connection.execute("SELECT count(*) FROM pairing_guess").fetchone()
    connection.close()
    assert kept == GUESSES_IN_ALL


def test_no_address_can_add_to_its_own_guesses_by_what_it_says_of_itself(app: Flask, clock: Clock) -> None:
    guesser = Phone(app, "192.168.7.66")
    for number in range(GUESSES_FROM_ONE_ADDRESS):
        guesser.post("/pair", data={"code": "A"}, headers={"X-Forwarded-For": f"10.0.0.{number}"})
    assert guesser.post("/pair", data={"code": "A"}, headers={"X-Forwarded-For": "10.0.0.99"}).status_code == 429


@pytest.mark.parametrize("name", ["", "   ", "n" * 81])
def test_a_name_that_cannot_be_taken_leaves_the_code_good(app: Flask, desk: FlaskClient, name: str) -> None:
    phone, code = Phone(app), code_from(desk)
    answer = phone.pair(code, name)
    assert answer.status_code == 422
    assert "at most 80 characters" in answer.text
    assert code in answer.text
    assert phone.pair(code, "Malt floor").status_code == 303


def test_two_phones_let_in_have_two_names(app: Flask, desk: FlaskClient) -> None:
    paired(app, name="Malt floor")
    code = code_from(desk)
    assert "already" in Phone(app).pair(code, "malt FLOOR").text
    revoke(app)
    assert Phone(app).pair(code, "Malt floor").status_code == 303


def test_the_phone_is_told_its_name_and_begins_with_the_person_it_was_meant_for(app: Flask, desk: FlaskClient) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_person(session, person_id="p1", name="Ide", units="us", now=NOW)
    phone = Phone(app)
    phone.pair(code_from(desk, person="p1"))
    home = phone.get("/").text
    assert "paired as Malt floor, and may log" in home
    assert "<b>Ide</b>" in home


def test_the_desk_shows_a_picture_whose_code_is_never_sent_to_a_server(desk: FlaskClient) -> None:
    page = desk.post("/devices", data={"role": "may_log", "person": ""})
    assert "<svg" in page.text
    assert re.search(r"https://127\.0\.0\.1:\d+/pair#[0-9A-Z]{12}<", page.text)
    assert not re.search(r"pair\?", page.text)


@pytest.mark.parametrize("sent", [{"role": "may_rule"}, {"role": ""}, {"role": "may_log", "person": "nobody"}])
def test_a_code_of_no_role_or_for_nobody_known_is_not_made(desk: FlaskClient, sent: dict[str, str]) -> None:
    assert desk.post("/devices", data=sent).status_code == 422


def test_the_desk_lists_phones_and_asks_before_it_puts_one_out(app: Flask, desk: FlaskClient) -> None:
    paired(app, "may_manage", "Kiln")
    page = desk.get("/devices").text
    assert "Kiln" in page
    assert "may manage" in page
    asked = desk.get(f"/devices/{device_row(app).id}/revoke").text
    assert "Remove Kiln?" in asked
    assert device_row(app).revoked_at is None
    revoke(app)
    first = device_row(app).revoked_at
    revoke(app)
    assert device_row(app).revoked_at == first
    assert "removed" in desk.get("/devices").text
    assert desk.post("/devices/none/revoke").status_code == 404


def test_a_closed_house_makes_no_codes_and_says_how_to_open_it(app: Flask, desk: FlaskClient) -> None:
    app.extensions.pop("opened")
    assert "chitbook serve --lan" in desk.get("/devices").text
    assert desk.post("/devices", data={"role": "may_log"}).status_code == 409


def test_the_code_is_typed_for_the_phone_that_does_not_run_scripts(phone: Phone) -> None:
    page = phone.get("/pair").text
    assert 'method="post" action="/pair"' in page
    assert 'name="code"' in page
