"""Who is let in from beyond the desk: nobody unpaired or revoked, wherever they knock; the paired by their role."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select

from app import ports
from app.store.devices import MAY_LOG, MAY_MANAGE
from app.store.engine import read_session
from app.store.facts import fact
from app.web.access.roles import ANYBODY, BLUEPRINTS, ENDPOINTS, may, role_needed
from app.web.request import device as devices_cookie
from app.web.request.device import COOKIE
from tests.network.phone import HOUSE, Phone, code_from, device_row, paired, revoke
from tests.writing import water

FREELY_GIVEN = {"/pair", "/sw.js"}
EXAMPLES: dict[str, Any] = {"number": 1, "kind": "turned", "key": "moisture-from-weight", "token": "T" * 43}


def addresses(app: Flask, method: str) -> list[tuple[str, str]]:
    """Every address that takes such a request, with its endpoint."""
    found = []
    with app.test_request_context():
        for rule in app.url_map.iter_rules():
            if method in (rule.methods or ()):
                given = {name: EXAMPLES.get(name, "x") for name in rule.arguments}
                found.append((str(app.url_for(rule.endpoint, **given)), rule.endpoint))
    return found


def facts_kept(app: Flask) -> int:
    with read_session(app.extensions["engine"]) as session:
        return len(session.scalars(select(fact.c.seq)).all())


def turned_away(app: Flask, phone: Phone, reason: str) -> None:
    for method in ("GET", "POST", "HEAD", "OPTIONS"):
        for path, endpoint in [*addresses(app, method), ("/nowhere", "nowhere")]:
            if role_needed(endpoint) == ANYBODY:
                continue
            answer = phone._ask(method, path)
            assert answer.status_code == 401, (method, path, answer.status_code)
            assert "Location" not in answer.headers
            if method == "HEAD":
                continue
            if path.startswith(("/sync/", "/changes")):
                assert answer.get_json()["reason"] == reason, path
            else:
                assert "Pair this phone with the house" in answer.text, path
                assert "Batch 1" not in answer.text, path


def test_an_unpaired_phone_gets_nothing_but_the_pairing_page(app: Flask, phone: Phone, house: None) -> None:
    before = facts_kept(app)
    turned_away(app, phone, "not_paired")
    assert facts_kept(app) == before


def test_a_revoked_phone_gets_nothing_but_the_pairing_page_and_hears_why(app: Flask, house: None) -> None:
    phone = paired(app, MAY_MANAGE)
    assert phone.get("/").status_code == 200
    revoke(app)
    turned_away(app, phone, "revoked")
    assert "removed at the desk" in phone.get("/").text


def test_what_anybody_gets_is_a_short_list_that_tells_nothing_of_the_record(app: Flask, phone: Phone) -> None:
    free = {path for path, endpoint in addresses(app, "GET") if role_needed(endpoint) == ANYBODY}
    assert {path for path in free if not path.startswith(("/static/", "/calendar/"))} == FREELY_GIVEN
    assert phone.get(f"/calendar/{'T' * 43}.ics").status_code == 404
    page = phone.get("/pair")
    assert page.status_code == 200
    for place in ("/batches", "/lots", "/people", "/data"):
        assert f'href="{place}"' not in page.text


def test_where_json_is_asked_for_the_reason_comes_as_json(phone: Phone) -> None:
    answer = phone.get("/batches", headers={"Accept": "application/json"})
    assert answer.status_code == 401
    said = answer.get_json()
    assert (said["status"], said["reason"]) == (401, "not_paired")
    assert "stays on it" in said["text"]
    assert said["error"]["text"] == said["text"]


def test_every_endpoint_has_a_role(app: Flask) -> None:
    endpoints = {rule.endpoint for rule in app.url_map.iter_rules()}
    assert {each for each in endpoints if role_needed(each) is None} == set()


def test_the_table_of_roles_names_only_what_there_is(app: Flask) -> None:
    endpoints = {rule.endpoint for rule in app.url_map.iter_rules()}
    assert set(ENDPOINTS) - endpoints == set()
    assert set(BLUEPRINTS) - set(app.blueprints) == set()


def test_what_the_table_does_not_name_is_had_at_the_desk_only(app: Flask) -> None:
    app.add_url_rule("/unknown", "unknown", lambda: "here")
    assert paired(app, MAY_MANAGE).get("/unknown").status_code == 403
    assert app.test_client().get("/unknown").text == "here"


def test_a_phone_that_may_log_gets_what_its_role_allows_and_is_told_of_the_rest(app: Flask, house: None) -> None:
    phone = paired(app)
    refused = set()
    for method in ("GET", "POST"):
        for path, endpoint in addresses(app, method):
            status = phone._ask(method, path).status_code
            assert status != 401, path
            assert (status == 403) == (not may(MAY_LOG, endpoint)), (method, path, status)
            if status == 403:
                refused.add(endpoint)
    assert {"data.export", "data.backup", "programmes.keep", "people.add", "devices.make", "calendar.make"} <= refused
    assert "may log" in phone.get("/data").text


def test_a_phone_that_may_manage_gets_all_that_the_desk_gets(app: Flask, house: None) -> None:
    phone = paired(app, MAY_MANAGE)
    for path, _ in addresses(app, "GET"):
        assert phone.get(path).status_code not in (401, 403), path
    assert phone.post("/people", data={"name": "Ide", "units": "metric"}).status_code == 303


def test_what_a_phone_may_not_do_is_not_offered_to_it(app: Flask, house: None) -> None:
    for role, is_offered in ((MAY_LOG, False), (MAY_MANAGE, True)):
        page = paired(app, role, role).get("/people").text
        for mark in ('href="/data"', 'href="/devices"', "Add somebody"):
            assert (mark in page) is is_offered, (role, mark)


def test_at_the_desk_nobody_is_asked_to_pair(desk: FlaskClient) -> None:
    assert desk.get("/").status_code == 200
    assert desk.get("/data").status_code == 200
    assert desk.post("/pair", data={"code": "x", "name": "y"}).location == "/devices"


@pytest.mark.parametrize(
    "peer",
    ["192.168.7.20", "10.0.0.9", "fd00::5", "::ffff:192.168.7.20", "126.255.255.255", "128.0.0.1", "", "unknown"],
)
def test_whoever_calls_from_elsewhere_is_beyond_the_desk_whatever_it_says(app: Flask, peer: str) -> None:
    claims = {"X-Forwarded-For": "127.0.0.1", "X-Real-IP": "127.0.0.1", "Forwarded": "for=127.0.0.1"}
    for headers in ({}, claims):
        assert Phone(app, peer).get("/", headers=headers).status_code == 401
        assert Phone(app, peer, "https://127.0.0.1:8443").get("/", headers=headers).status_code == 401


@pytest.mark.parametrize("peer", ["127.0.0.1", "127.8.0.3", "::1", "::ffff:127.0.0.1"])
def test_the_loopback_is_the_desk(app: Flask, peer: str) -> None:
    assert Phone(app, peer, "http://localhost:8416").get("/").status_code == 200


def test_a_request_that_somebody_passed_on_is_none_of_the_desk(app: Flask) -> None:
    # A proxy on this machine that nobody told us of: all the world would come from the loopback.
    passed_on = Phone(app, "127.0.0.1", "http://localhost:8416")
    for header in ("X-Forwarded-For", "X-Real-IP", "Via", "X-Forwarded-Proto", "X-Forwarded-Host"):
        answer = passed_on.get("/", headers={header: "203.0.113.9"})
        assert answer.status_code == 403, header
        assert "trusted_proxies" in answer.text


def test_the_desk_that_calls_the_house_by_its_name_in_the_network_is_none_of_the_desk(app: Flask) -> None:
    # That name could be pointed at the loopback by somebody on the network.
    assert Phone(app, "127.0.0.1", HOUSE).get("/").status_code == 401
    assert Phone(app, "127.0.0.1", "http://chitbook.local:8416").get("/").status_code == 421


def test_beyond_the_desk_there_is_no_plain_http_even_for_the_paired(app: Flask, house: None) -> None:
    phone = paired(app)
    phone.base = "http://localhost:8416"
    answer = phone.get("/batches/1")
    assert answer.status_code == 403
    assert "https only" in answer.text


@pytest.mark.parametrize("host", ["chitbook.local", "127.0.0.1", "localhost", "CHITBOOK.local"])
def test_the_house_answers_to_its_own_names_over_https(phone: Phone, host: str) -> None:
    phone.base = f"https://{host}:8443"
    assert phone.get("/pair").status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "chitbook.local.example", "192.168.7.5", "other.local", "[::2]"])
def test_the_house_answers_to_no_other_name(phone: Phone, host: str) -> None:
    phone.base = f"https://{host}:8443"
    assert phone.get("/pair").status_code == 421


def test_a_request_that_another_site_sent_is_refused_and_keeps_nothing(app: Flask, house: None) -> None:
    phone, before = paired(app), facts_kept(app)
    for headers in (
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": "https://chitbook.local:9999"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ):
        for path in ("/batches/1/tub/turned", "/sync/facts", "/pair", "/people/theme"):
            answer = phone.post(path, data={"id": "t1", "when": "now"}, headers=headers)
            assert answer.status_code == 403, (headers, path)
    assert facts_kept(app) == before
    ours = {"Origin": HOUSE, "Sec-Fetch-Site": "same-origin"}
    assert phone.post("/batches/1/tub/turned", data={"id": "t1", "when": "now"}, headers=ours).status_code == 303


def test_a_paired_phone_too_must_bring_the_token_of_its_page(app: Flask, house: None) -> None:
    phone = paired(app)
    app.config["WTF_CSRF_ENABLED"] = True
    headers = {"Referer": f"{HOUSE}/batches/1/tub"}
    answer = phone.post("/batches/1/tub/turned", data={"id": "t1", "when": "now"}, headers=headers)
    assert answer.status_code == 400
    assert "grown stale" in answer.text


def test_an_unpaired_phone_hears_why_before_its_entries_are_read(app: Flask, phone: Phone, house: None) -> None:
    app.config["WTF_CSRF_ENABLED"] = True
    for sent in ({"json": {"entries": [water("14")]}}, {"data": "no json", "content_type": "application/json"}):
        answer = phone.post("/sync/facts", **sent)
        assert (answer.status_code, answer.get_json()["reason"]) == (401, "not_paired")


def test_the_cookie_is_for_this_host_over_https_alone_and_out_of_reach_of_scripts(app: Flask) -> None:
    phone = Phone(app)
    answer = phone.pair(code_from(app.test_client()))
    (sent,) = [each for each in answer.headers.getlist("Set-Cookie") if each.startswith(COOKIE)]
    parts = {part.strip().partition("=")[0].lower(): part.strip().partition("=")[2] for part in sent.split(";")}
    assert COOKIE.startswith("__Host-")
    assert {"secure", "httponly"} <= parts.keys()
    assert (parts["samesite"], parts["path"]) == ("Lax", "/")
    assert "domain" not in parts
    assert int(parts["max-age"]) == timedelta(days=400).total_seconds()
    others = [each for each in answer.headers.getlist("Set-Cookie") if not each.startswith(COOKIE)]
    assert others
    assert all("Secure" in each for each in others)


def test_a_cookie_that_was_tampered_with_or_made_elsewhere_lets_nobody_in(app: Flask, phone: Phone) -> None:
    good = paired(app).client.get_cookie(COOKIE, domain="chitbook.local")
    assert good is not None
    first, _, rest = good.value.partition(".")
    for value in ("", "x", f"{first[:-1]}A.{rest}", good.value[:-2], device_row(app).id, f"{first}."):
        phone.client.set_cookie(COOKIE, value, domain="chitbook.local", secure=True)
        assert phone.get("/").status_code == 401, value
    phone.client.set_cookie(COOKIE, good.value, domain="chitbook.local", secure=True)
    assert phone.get("/").status_code == 200


def test_the_cookie_is_renewed_once_it_is_a_month_old(app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    phone = paired(app)
    assert not any(COOKIE in each for each in phone.get("/").headers.getlist("Set-Cookie"))
    real = ports.now()
    monkeypatch.setattr(devices_cookie.ports, "now", lambda: real + timedelta(days=31))
    assert any(COOKIE in each for each in phone.get("/").headers.getlist("Set-Cookie"))


def test_a_calendar_needs_its_token_alone_and_a_revoked_one_opens_nothing(
    app: Flask, phone: Phone, house: None
) -> None:
    manager = paired(app, MAY_MANAGE)
    made = manager.post("/calendar", data={"id": "feed-1", "name": "Ide", "units": "metric"}).text
    found = re.search(r"/calendar/[\w-]{43}\.ics", made)
    assert found is not None
    assert phone.get(found[0]).status_code == 200
    assert manager.post("/calendar/feed-1/revoke").status_code == 303
    assert phone.get(found[0]).status_code == 404
