"""A phone that is put out takes with it the keys that it made: codes that let others in, and calendar addresses."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.errors import NotFound
from app.operations.calendar_feeds import make_feed
from app.operations.devices import make_code
from app.store.devices import DESK, MAY_MANAGE, list_devices
from app.store.engine import read_session, write_session
from tests.network.phone import Phone, code_from, paired
from tests.writing import NOW

pytestmark = pytest.mark.usefixtures("house")


def feed_from(somebody: FlaskClient | Phone, name: str) -> str:
    """The path of a calendar that somebody made an address for."""
    page = somebody.post("/calendar", data={"name": name, "units": "metric"})
    assert page.status_code == 201, page.text
    found = re.search(r"<code>https?://[^/]+(/calendar/[\w-]{43}\.ics)</code>", page.text)
    assert found is not None
    return found[1]


def id_of(app: Flask, name: str) -> str:
    with read_session(app.extensions["engine"]) as session:
        return next(each.id for each in list_devices(session) if each.name == name)


def put_out(app: Flask, name: str) -> None:
    assert app.test_client().post(f"/devices/{id_of(app, name)}/revoke").status_code == 303


def test_its_pairing_codes_let_nobody_in_any_more(app: Flask, desk: FlaskClient) -> None:
    kiln, floor = paired(app, MAY_MANAGE, "Kiln"), paired(app, MAY_MANAGE, "Floor")
    dead, alive, desks = code_from(kiln, MAY_MANAGE), code_from(floor), code_from(desk)
    put_out(app, "Kiln")
    assert Phone(app).pair(dead, "Kiln again").status_code == 422
    assert Phone(app).pair(alive, "Third").status_code == 303
    assert Phone(app).pair(desks, "Fourth").status_code == 303


def test_its_calendar_addresses_open_nothing_any_more(app: Flask, desk: FlaskClient) -> None:
    kiln, floor = paired(app, MAY_MANAGE, "Kiln"), paired(app, MAY_MANAGE, "Floor")
    dead, alive, desks = feed_from(kiln, "Kiln’s"), feed_from(floor, "Floor’s"), feed_from(desk, "Desk’s")
    put_out(app, "Kiln")
    stranger = Phone(app)
    assert [stranger.get(path).status_code for path in (dead, alive, desks)] == [404, 200, 200]
    page = desk.get("/calendar").text
    assert page.count("revoked 14 Mar") == 1
    assert re.search(r"Kiln’s</b>[^\0]*?revoked 14 Mar", page)


def test_the_desk_is_told_what_goes_with_it_and_whom_it_let_in(app: Flask, desk: FlaskClient) -> None:
    kiln = paired(app, MAY_MANAGE, "Kiln")
    path = f"/devices/{id_of(app, 'Kiln')}/revoke"
    assert "calendar" not in desk.get(path).text
    feed_from(kiln, "Ide’s watch")
    assert Phone(app).pair(code_from(kiln), "Attic").status_code == 303
    page = desk.get(path).text
    assert "Ide’s watch" in page
    assert f'href="/devices/{id_of(app, "Attic")}/revoke"' in page
    put_out(app, "Attic")
    assert "Attic" not in desk.get(path).text


def test_of_what_was_made_before_it_was_kept_by_whom_the_desk_is_told_to_look_itself(
    app: Flask, desk: FlaskClient
) -> None:
    paired(app, MAY_MANAGE, "Kiln")
    with write_session(app.extensions["engine"]) as session:
        made = {"feed_id": "old", "name": "Somebody’s", "units": "metric", "has_alarms": False}
        make_feed(session, **made, made_by=DESK, now=NOW)[0].made_by = None
    page = desk.get(f"/devices/{id_of(app, 'Kiln')}/revoke").text
    assert "Somebody’s" in page
    assert "not known" in page


def test_a_phone_put_out_meanwhile_makes_no_more_of_them(app: Flask) -> None:
    paired(app, MAY_MANAGE, "Kiln")
    maker = id_of(app, "Kiln")
    put_out(app, "Kiln")
    feed = {"feed_id": "f", "name": "Kiln’s", "units": "metric", "has_alarms": False}
    with write_session(app.extensions["engine"]) as session:
        with pytest.raises(NotFound):
            make_code(session, role=MAY_MANAGE, person_id=None, made_by=maker, now=NOW)
        with pytest.raises(NotFound):
            make_feed(session, **feed, made_by=maker, now=NOW)
