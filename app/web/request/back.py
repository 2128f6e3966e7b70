"""Where Back leads from a page that answers a form: the browser would have to send the form again to show it. And
where a form leads on to, if it names a page."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, current_app, request
from werkzeug.exceptions import HTTPException
from werkzeug.routing import MapAdapter

from app.config import Settings

_PLAIN = re.compile(r"(?:/|(?:/[A-Za-z0-9_~-][A-Za-z0-9._~-]*)+)(?:\?[A-Za-z0-9._~=&%+-]*)?")
"""An address that everything which reads it reads alike: no empty step, no way up, no backslash, nothing invisible."""


def init_app(app: Flask, settings: Settings) -> None:
    @app.context_processor
    def address() -> dict[str, Any]:
        if request.method != "POST":
            return {}
        return {"own_address": own_address(app.url_map.bind(request.host))}


def own_address(urls: MapAdapter) -> str:
    """The address by which the page of this form is had again: its own, or that of the page it was sent from."""
    if _is_page(urls, request.path):
        return request.full_path.rstrip("?")
    sender = urlsplit(request.referrer or "")
    if sender.netloc == request.host and _is_page(urls, sender.path):
        return f"{sender.path}?{sender.query}".rstrip("?")
    return "/"


def local_page(address: str, otherwise: str) -> str:
    """The address where it is a page of this house that can be looked at; a foreign or made-up one leads elsewhere."""
    is_ours = _PLAIN.fullmatch(address) and _is_page(current_app.url_map.bind("localhost"), address.partition("?")[0])
    return address if is_ours else otherwise


def came_from(otherwise: str) -> str:
    """The page that a link stood on, where it is one of this house and not this one."""
    sender = urlsplit(request.referrer or "")
    if sender.netloc != request.host or sender.path == request.path:
        return otherwise
    return local_page(f"{sender.path}?{sender.query}".rstrip("?"), otherwise)


def _is_page(urls: MapAdapter, path: str) -> bool:
    try:
        urls.match(path, method="GET")
    except HTTPException:
        return False
    return True
