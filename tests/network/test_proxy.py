"""A reverse proxy in front: only one that the settings name is believed, and only in what it added itself."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from ipaddress import ip_network
from typing import Any

import pytest
from flask import Flask

from app import create_app
from app.config import Settings
from app.web.access.peer import FromProxy
from tests.network.phone import Phone, code_from

TRUSTED = (ip_network("127.0.0.1/32"), ip_network("10.9.0.0/16"))


def heard(peer: str, trusted: tuple[Any, ...] = TRUSTED, **headers: str) -> tuple[str, str]:
    """The caller's address and scheme, as the application hears them."""
    seen: dict[str, Any] = {}

    def app(environ: dict[str, Any], _start: Any) -> Iterable[bytes]:
        seen.update(environ)
        return []

    environ = {"REMOTE_ADDR": peer, "wsgi.url_scheme": "http"} | {
        f"HTTP_X_{name}": text for name, text in headers.items()
    }
    FromProxy(app, trusted)(environ, None)
    return seen["REMOTE_ADDR"], seen["wsgi.url_scheme"]


def test_a_trusted_proxy_says_who_calls_and_how() -> None:
    assert heard("127.0.0.1", FORWARDED_FOR="192.168.7.20", FORWARDED_PROTO="https") == ("192.168.7.20", "https")


def test_only_what_the_trusted_proxy_added_counts_not_what_the_caller_had_written() -> None:
    claimed = "127.0.0.1, 203.0.113.9"
    assert heard("127.0.0.1", FORWARDED_FOR=claimed, FORWARDED_PROTO="https") == ("203.0.113.9", "https")


def test_a_chain_of_trusted_proxies_is_followed_to_its_end() -> None:
    assert heard("127.0.0.1", FORWARDED_FOR="203.0.113.9, 10.9.0.4")[0] == "203.0.113.9"


@pytest.mark.parametrize("said", ["", " , ", "unknown", "127.0.0.1"])
def test_a_proxy_that_does_not_say_who_calls_is_nobody(said: str) -> None:
    address, scheme = heard("127.0.0.1", FORWARDED_FOR=said)
    assert address in ("", "unknown")
    assert scheme == "http"


def test_nobody_else_is_believed() -> None:
    assert heard("192.168.7.20", FORWARDED_FOR="127.0.0.1", FORWARDED_PROTO="https") == ("192.168.7.20", "http")
    assert heard("127.0.0.1", (), FORWARDED_FOR="10.0.0.1", FORWARDED_PROTO="https") == ("127.0.0.1", "http")


@pytest.fixture
def app(settings: Settings) -> Flask:
    """Behind a proxy on the same machine, which comes from an address of its own."""
    trusted, names = (ip_network("127.0.0.2/32"),), ("localhost", "malt.example")
    app = create_app(replace(settings, lan=False, trusted_proxies=trusted, allowed_hosts=names))
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    return app


def test_a_phone_is_paired_through_the_proxy_and_the_desk_stays_the_desk(app: Flask) -> None:
    desk = app.test_client()
    page = desk.post("/devices", data={"role": "may_log"}).text
    assert "https://malt.example/pair" in page
    assert "Before the first time" not in page
    through = {"HTTP_X_FORWARDED_FOR": "203.0.113.9", "HTTP_X_FORWARDED_PROTO": "https"}
    phone = Phone(app, "127.0.0.2", "http://malt.example")
    assert phone.get("/", environ=through).status_code == 401
    answer = phone.post("/pair", data={"code": code_from(desk), "name": "Far away"}, environ=through)
    assert answer.status_code == 303
    assert all("Secure" in each for each in answer.headers.getlist("Set-Cookie"))
    assert phone.get("/", environ={**through, "HTTP_X_FORWARDED_PROTO": "http"}).status_code == 403
    app.extensions["engine"].dispose()
