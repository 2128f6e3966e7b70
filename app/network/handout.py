"""What the plain http port answers: the certificate, the steps to trust it, a way on to https. Nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from app.network.trust_page import Trust, style_digest, trust_page

Start = Callable[[str, list[tuple[str, str]]], Any]
CERTIFICATE = "/chitbook.crt"
ONWARD = "/open"


def make_handout(describe: Callable[[], Trust], der: bytes) -> Callable[[dict[str, Any], Start], Iterable[bytes]]:
    """A WSGI application. describe: what stands on the page, asked at each request, for addresses change."""

    def handout(environ: dict[str, Any], start: Start) -> Iterable[bytes]:
        status, headers, body = _answer(environ, describe, der)
        sent = [*headers, ("Content-Length", str(len(body))), *_ALWAYS]
        start(status, sent)
        return [] if environ["REQUEST_METHOD"] == "HEAD" else [body]

    return handout


_ALWAYS = [
    ("Cache-Control", "no-store"),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Content-Security-Policy", f"default-src 'none'; style-src '{style_digest()}'; frame-ancestors 'none'"),
]
_TEXT = ("Content-Type", "text/plain; charset=utf-8")


def _answer(
    environ: dict[str, Any], describe: Callable[[], Trust], der: bytes
) -> tuple[str, list[tuple[str, str]], bytes]:
    if environ["REQUEST_METHOD"] not in ("GET", "HEAD"):
        return "405 Method Not Allowed", [_TEXT, ("Allow", "GET, HEAD")], b"Only to be read.\n"
    path = environ.get("PATH_INFO", "/")
    if path == "/":
        return "200 OK", [("Content-Type", "text/html; charset=utf-8")], trust_page(describe()).encode()
    if path == CERTIFICATE:
        # By this type a phone knows that it is to be installed.
        named = ("Content-Disposition", 'attachment; filename="chitbook.crt"')
        return "200 OK", [("Content-Type", "application/x-x509-ca-cert"), named], der
    if path == ONWARD:
        return "302 Found", [_TEXT, ("Location", describe().address)], b""
    return "404 Not Found", [_TEXT], b"There is nothing here.\n"
