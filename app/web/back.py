"""Where Back leads from a page that answers a form: the browser would have to send the form again to show it."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from flask import Flask, request
from werkzeug.exceptions import HTTPException
from werkzeug.routing import MapAdapter

from app.config import Settings


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


def _is_page(urls: MapAdapter, path: str) -> bool:
    try:
        urls.match(path, method="GET")
    except HTTPException:
        return False
    return True
