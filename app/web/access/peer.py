"""Who calls: told by the socket, never by what a request says of itself; unless a proxy that was named says it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from flask import Flask, current_app, request

from app.config import Network, Settings
from app.network.addresses import Address, plain
from app.web.access.security import host_name

_PASSED_ON = "chitbook.passed_on"
_MARKS = (
    "HTTP_X_FORWARDED_FOR",
    "HTTP_FORWARDED",
    "HTTP_VIA",
    "HTTP_X_REAL_IP",
    "HTTP_X_FORWARDED_PROTO",
    "HTTP_X_FORWARDED_HOST",
    "HTTP_X_FORWARDED_PORT",
)
"""What proxies add to what they pass on. One that adds nothing can't be told from the desk."""


class FromProxy:
    """Puts the caller's address and scheme, as a trusted proxy tells them, in the place of the proxy's own."""

    def __init__(self, app: Callable[..., Iterable[bytes]], trusted: tuple[Network, ...]) -> None:
        self.app = app
        self.trusted = trusted

    def __call__(self, environ: dict[str, Any], start: Any) -> Iterable[bytes]:
        if any(environ.get(mark) for mark in _MARKS) or lies_in(plain(environ.get("REMOTE_ADDR", "")), self.trusted):
            environ[_PASSED_ON] = True
        while lies_in(plain(environ.get("REMOTE_ADDR", "")), self.trusted):
            # From behind: each proxy adds the one it heard from, and only a trusted one's word goes further.
            told = environ.get("HTTP_X_FORWARDED_FOR", "")
            environ["HTTP_X_FORWARDED_FOR"], _, last = told.rpartition(",")
            environ["REMOTE_ADDR"] = last.strip()
            scheme = environ.get("HTTP_X_FORWARDED_PROTO", "http").rpartition(",")[2].strip()
            environ["wsgi.url_scheme"] = "https" if scheme == "https" else "http"
        return self.app(environ, start)


def init_app(app: Flask, settings: Settings) -> None:
    app.wsgi_app = FromProxy(app.wsgi_app, settings.trusted_proxies)  # type: ignore[assignment, method-assign]  # the way Flask offers


def lies_in(address: Address | None, networks: Iterable[Network]) -> bool:
    return address is not None and any(
        address.version == network.version and address in network for network in networks
    )


def peer_address() -> str:
    """The caller's address as text; empty where it is not known."""
    return request.remote_addr or ""


def is_at_desk() -> bool:
    """Whether the caller sits at the computer itself.

    Headers never make a caller one of the desk; but one that was passed on, or that calls the house by its name in
    the network, is none: that name could be made to lead a browser of the desk here.
    """
    settings: Settings = current_app.extensions["settings"]
    if request.environ.get(_PASSED_ON) or host_name(request.host) not in settings.accepted_hosts:
        return False
    return lies_in(plain(peer_address()), settings.desk_addresses)
