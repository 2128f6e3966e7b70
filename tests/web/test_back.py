"""A page that answers a form names the address by which it is had again; a form names where it leads on to."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from werkzeug.routing import Map, Rule

from app.web.request.back import own_address


@pytest.fixture
def urls():
    rules = [
        Rule("/lots/new", methods=["GET", "POST"]),
        Rule("/batches/<number>", methods=["GET"]),
        Rule("/batches/<number>/entries", methods=["POST"]),
    ]
    return Map(rules).bind("house")


@pytest.mark.parametrize(
    ("sent_to", "sent_from", "address"),
    [
        ("/lots/new?way=out", "http://house/lots", "/lots/new?way=out"),
        ("/batches/7/entries", "http://house/batches/7?open=kiln", "/batches/7?open=kiln"),
        ("/batches/7/entries", "http://elsewhere/batches/7", "/"),
        ("/batches/7/entries", "http://house/batches/7/entries", "/"),
        ("/batches/7/entries", "", "/"),
    ],
)
def test_the_address_is_that_of_a_page_and_never_of_another_site(urls, sent_to, sent_from, address):
    with Flask("house").test_request_context(f"http://house{sent_to}", method="POST", headers={"Referer": sent_from}):
        assert own_address(urls) == address


def leaves(location: str) -> bool:
    """Whether a browser would go elsewhere by this, as the URL Standard reads it: what is invisible at the ends and
    tabs and line ends anywhere are dropped, a backslash is a slash, and any two slashes begin a host.
    """
    read = re.sub(r"[\t\n\r]", "", location.strip("".join(map(chr, range(33)))))
    return bool(re.match(r"[A-Za-z][A-Za-z0-9+.-]*:|[/\\]{2}", read))


INVISIBLE = "\t\n\r \x00\x1f\xa0\u2028"
SIGNS = ["//", "////", "/\\", "..", "%09", "%2f", "%5c", "https:", "javascript:"]
NAMES = ["evil.example", "lots", "people", "batches/1", "static/x/"]
PIECES = st.sampled_from([*INVISIBLE, *"/\\\uff0f.@:?#", *SIGNS, *NAMES])
SENT_ON = ("/people/theme", "/people/choose", "/people/units", "/batches/1/flags")


@pytest.mark.parametrize("path", SENT_ON)
@given(back=st.lists(PIECES, max_size=7).map("".join))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_way_back_leads_a_browser_out_of_the_house(client: FlaskClient, batch, path: str, back: str) -> None:
    told = {"rule": "x", "episode": "y", "severity": "caution", "answer": "seen"}
    answer = client.post(path, data={"back": back, "units": "us", "theme": "night", **told})
    assert answer.status_code == 303
    assert not leaves(answer.headers["Location"]), back


@pytest.mark.parametrize(
    "back",
    ["////evil.example", "///evil.example/", "/\t/evil.example", "//\\evil.example", "/lots//../..//evil.example"],
)
def test_who_is_sent_on_by_a_foreign_page_stays(client: FlaskClient, back: str) -> None:
    page = client.get("/people", query_string={"back": back})
    assert page.status_code == 200
    assert client.post("/people/theme", data={"theme": "night", "back": back}).location == "/people"


@pytest.mark.parametrize("back", ["/", "/lots", "/batches?page=2", "/batches/1/tub", "/compare?batch=1&batch=2"])
def test_a_page_of_the_house_is_led_back_to(client: FlaskClient, batch, back: str) -> None:
    assert client.post("/people/theme", data={"theme": "night", "back": back}).location == back
