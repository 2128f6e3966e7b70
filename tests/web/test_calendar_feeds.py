"""Calendar feeds: making an address, reading by it, revoking it; and that its token is kept nowhere."""

from __future__ import annotations

import logging
import re
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from icalendar import Calendar
from sqlalchemy import event

from app import ports
from app.config import Settings
from app.operations.facts import record_fact
from app.store.engine import write_session
from app.web.access import house_network
from app.web.calendar import page
from tests.pages import PageForm, forms_of
from tests.writing import NOW, OTHER, Opened, add_batch, charge, entry


def form(client: FlaskClient) -> PageForm:
    return next(each for each in forms_of(client.get("/calendar").text) if each.action == "/calendar")


def revoke_address(client: FlaskClient) -> str:
    """Where the button of the only feed leads."""
    return next(each.action for each in forms_of(client.get("/calendar").text) if each.action.endswith("/revoke"))


def make(client: FlaskClient, name: str = "Nora’s phone", **more: str) -> str:
    """The path of a feed that was just made."""
    answer = client.post("/calendar", data=form(client).filled(name=name, **more))
    assert answer.status_code == 201
    found = re.search(r"<code>http://localhost(/calendar/[\w-]{43}\.ics)</code>", answer.text)
    assert found is not None
    return found[1]


def summaries(client: FlaskClient, path: str) -> list[str]:
    return [str(each["summary"]) for each in Calendar.from_ical(client.get(path).data).walk("VEVENT")]


def test_the_address_opens_the_next_steps_of_the_live_batches(client: FlaskClient, batch: Opened) -> None:
    path = make(client)
    answer = client.get(path)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert summaries(client, path) == ["Batch 1: Steep on"]


def test_a_calendar_needs_no_cookie_and_gets_none(app: Flask, client: FlaskClient, batch: Opened) -> None:
    path = make(client)
    answer = app.test_client().get(path)
    assert answer.status_code == 200
    assert "Set-Cookie" not in answer.headers


def test_the_feed_is_neither_cached_nor_indexed(client: FlaskClient, batch: Opened) -> None:
    headers = client.get(make(client)).headers
    assert headers["Cache-Control"] == "no-store"
    assert "noindex" in headers["X-Robots-Tag"]


def test_the_feed_goes_on_with_the_batch(app: Flask, client: FlaskClient, batch: Opened) -> None:
    path = make(client)
    with write_session(app.extensions["engine"]) as session:
        record_fact(session, entry("steep_on", id="steep-1"), now=NOW)
    assert "Batch 1: Drain" in summaries(client, path)
    with write_session(app.extensions["engine"]) as session:
        record_fact(session, entry("abandoned", id="gone-1"), now=NOW)
    assert summaries(client, path) == []


def test_the_links_lead_to_the_house_as_the_calendar_called_it(client: FlaskClient, batch: Opened) -> None:
    (found,) = Calendar.from_ical(client.get(make(client)).data).walk("VEVENT")
    assert str(found["url"]) == "http://localhost/batches/1/tub"
    assert client.get("/batches/1/tub").status_code == 200


def test_reminders_are_a_choice(client: FlaskClient, batch: Opened) -> None:
    assert b"BEGIN:VALARM" in client.get(make(client)).data
    quiet = form(client).filled(name="Desk")
    del quiet["has_alarms"]
    answer = client.post("/calendar", data=quiet)
    found = re.search(r"/calendar/[\w-]{43}\.ics", answer.text)
    assert found is not None
    assert b"BEGIN:VALARM" not in client.get(found[0]).data


def test_each_feed_speaks_in_its_own_units(client: FlaskClient, batch: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    monkeypatch.setattr(page, "calendar", lambda live, words, **_: asked.append(words.system) or b"")
    client.post("/people/units", data={"units": "us"})
    for units in ("metric", "us"):
        client.get(make(client, name=units, units=units))
    assert asked == ["metric", "us"]


def test_a_revoked_address_opens_nothing(client: FlaskClient, batch: Opened) -> None:
    path, other = make(client), make(client, name="Desk")
    buttons = [each for each in forms_of(client.get("/calendar").text) if each.action.endswith("/revoke")]
    assert len(buttons) == 2
    shown = client.get("/calendar").text
    action = re.search(r'action="(/calendar/[\w-]+/revoke)"(?:(?!action=).)*Revoke the address for Nora', shown)
    assert action is not None
    assert client.post(action[1]).status_code == 303
    assert client.get(path).status_code == 404
    assert b"VCALENDAR" not in client.get(path).data
    assert client.get(other).status_code == 200
    assert "revoked 14 Mar 2026" in client.get("/calendar").text
    assert client.post(action[1]).status_code == 303


def test_a_revoked_and_an_unknown_token_are_answered_alike(app: Flask, client: FlaskClient, batch: Opened) -> None:
    path = make(client)
    client.post(revoke_address(client))
    phone = app.test_client()
    revoked, unknown = phone.get(path), phone.get(f"/calendar/{'x' * 43}.ics")
    assert (revoked.status_code, unknown.status_code) == (404, 404)
    assert revoked.data == unknown.data


@pytest.mark.parametrize("token", ["x", "x" * 42, "x" * 44, "%00" * 43, "é" * 43, "x" * 5000, "../" * 14 + "x"])
def test_a_wrong_token_opens_nothing(client: FlaskClient, batch: Opened, token: str) -> None:
    make(client)
    assert client.get(f"/calendar/{token}.ics").status_code == 404


def test_the_digest_of_a_token_is_no_token(app: Flask, client: FlaskClient, batch: Opened) -> None:
    from app.store.calendar_feeds import list_feeds
    from app.store.engine import read_session

    make(client)
    with read_session(app.extensions["engine"]) as session:
        (feed,) = list_feeds(session)
    assert client.get(f"/calendar/{feed.token_sha256}.ics").status_code == 404
    assert client.get(f"/calendar/{feed.token_sha256[:43]}.ics").status_code == 404


def test_to_revoke_what_is_not_there_is_answered_with_404(client: FlaskClient, batch: Opened) -> None:
    assert client.post("/calendar/nothing/revoke").status_code == 404


def test_the_token_is_kept_in_no_file_and_in_no_log(
    app: Flask, client: FlaskClient, batch: Opened, settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    path = make(client)
    token = path.removeprefix("/calendar/").removesuffix(".ics")
    assert client.get(path).status_code == 200

    def fail(**_: object) -> str:
        raise RuntimeError("broken")

    whole = app.view_functions["calendar.feed"]
    app.view_functions["calendar.feed"] = fail
    assert client.get(path).status_code == 500
    app.view_functions["calendar.feed"] = whole
    assert "request failed" in caplog.text
    assert token not in caplog.text
    files = [each for each in Path(settings.data_dir).rglob("*") if each.is_file()]
    assert any(each.suffix == ".sqlite" for each in files)
    assert all(token.encode() not in each.read_bytes() for each in files)


def test_the_address_is_shown_once(client: FlaskClient, batch: Opened) -> None:
    path = make(client)
    shown = client.get("/calendar").text
    assert "Nora’s phone" in shown
    assert path not in shown
    assert ".ics" not in shown


def test_the_page_that_shows_the_address_is_kept_by_no_cache_and_carries_its_code(
    client: FlaskClient, batch: Opened
) -> None:
    answer = client.post("/calendar", data=form(client).filled(name="Phone"))
    assert answer.headers["Cache-Control"] == "no-store"
    assert 'class="qr"' in answer.text
    assert 'href="webcal://localhost/calendar/' in answer.text


def test_on_this_computer_alone_one_is_told_that_a_phone_cannot_follow(client: FlaskClient, batch: Opened) -> None:
    told = "Only this computer knows the address"
    assert told in client.post("/calendar", data=form(client).filled(name="Phone")).text


def test_a_repeat_makes_no_second_address_and_spoils_not_the_first(client: FlaskClient, batch: Opened) -> None:
    values = form(client).filled(name="Phone")
    first = re.search(r"/calendar/[\w-]{43}\.ics", client.post("/calendar", data=values).text)
    assert first is not None
    again = client.post("/calendar", data=values)
    assert again.status_code == 422
    assert "made already" in again.text
    assert ".ics" not in again.text
    assert client.get(first[0]).status_code == 200
    assert client.get("/calendar").text.count("/revoke") == 1


@pytest.mark.parametrize(
    ("sent", "words"),
    [({"name": " "}, "Give a name"), ({"name": "x" * 81}, "at most 80"), ({"units": "ells"}, "Choose")],
)
def test_what_will_not_do_is_told_at_its_field(
    client: FlaskClient, batch: Opened, sent: dict[str, str], words: str
) -> None:
    values = form(client).filled(name="Phone") | sent
    answer = client.post("/calendar", data=values)
    assert answer.status_code == 422
    assert words in answer.text
    assert "/revoke" not in client.get("/calendar").text


def test_two_tokens_are_never_alike() -> None:
    tokens = {ports.new_token() for _ in range(200)}
    assert len(tokens) == 200
    assert all(re.fullmatch(r"[\w-]{43}", token) for token in tokens)


def test_more_batches_cost_no_more_statements(app: Flask, client: FlaskClient, batch: Opened) -> None:
    path = make(client)
    seen: list[str] = []
    event.listen(app.extensions["engine"], "before_cursor_execute", lambda *args: seen.append(args[2]))

    def statements() -> int:
        client.get(path)
        seen.clear()
        assert client.get(path).status_code == 200
        return len(seen)

    alone = statements()
    with write_session(app.extensions["engine"]) as session:
        for number in range(2, 8):
            add_batch(session, f"batch-{number}", charge(id=f"charge-{number}"))
        add_batch(session, OTHER + "0", charge(id="charge-x"))
    assert len(summaries(client, path)) == 8
    assert statements() == alone


def test_the_page_is_found_from_people_and_from_data(client: FlaskClient, batch: Opened) -> None:
    assert 'href="/calendar"' in client.get("/people").text
    assert 'href="/calendar"' in client.get("/data").text


def test_in_a_house_that_is_open_to_phones_the_desk_makes_addresses_that_phones_find(
    app: Flask, client: FlaskClient
) -> None:
    app.extensions["opened"] = house_network.HouseAddresses(("https://malthouse.local:8443/",), frozenset(), (), "")
    shown = client.post("/calendar", data=form(client).filled(name="Phone")).text
    assert "https://malthouse.local:8443/calendar/" in shown
    assert "Only this computer knows the address" not in shown
