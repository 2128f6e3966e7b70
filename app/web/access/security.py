"""What every answer and every request must keep to: known host, strict content policy, no sniffing, no framing."""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Flask, Response, abort, current_app, request

from app.config import Settings
from app.web.access.house_network import HouseAddresses

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob: data:",
        "connect-src 'self'",
        "font-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
ONLY_HERE = ("localhost", "127.0.0.1", "[::1]")
"""Names that only this computer answers to: a phone that is given one comes to itself."""
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
}


SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
OUR_SITE = frozenset({"same-origin", "none"})


def init_app(app: Flask, settings: Settings) -> None:
    accepted = settings.accepted_hosts

    @app.before_request
    def check_host() -> None:
        # A page elsewhere can point a name of its own at this machine; only the names we know are answered. Those of
        # the house network over https only: there a certificate stands for them.
        name = host_name(request.host)
        if name not in accepted and not (request.is_secure and is_house_name(name)):
            abort(421)

    @app.before_request
    def check_origin() -> None:
        # Beside the tokens: a browser says from which site a request comes, and no page can make it say another.
        if request.method in SAFE:
            return
        origin, site = request.headers.get("Origin"), request.headers.get("Sec-Fetch-Site", "none")
        is_ours = origin is None or urlsplit(origin).netloc.lower() == request.host.lower()
        if not is_ours or site not in OUR_SITE:
            abort(403)

    @app.after_request
    def add_headers(response: Response) -> Response:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if "Cache-Control" not in response.headers:
            response.headers["Cache-Control"] = "no-store"
        return response


def host_name(host: str) -> str:
    """The host of a Host header in small letters, without its port; IPv6 keeps its brackets."""
    if host.startswith("["):
        return host.partition("]")[0].lower() + "]"
    return host.partition(":")[0].lower()


def is_house_name(name: str) -> bool:
    """Whether the house is called so in its network, by its name or by one of its present addresses."""
    opened: HouseAddresses | None = current_app.extensions.get("opened")
    return opened is not None and name in opened.hosts


def is_local(host: str) -> bool:
    """Whether nobody but this computer can follow an address of this host."""
    return host_name(host) in ONLY_HERE
