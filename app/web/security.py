"""What every answer and every request must keep to: known host, strict content policy, no sniffing, no framing."""

from __future__ import annotations

from flask import Flask, Response, abort, request

from app.config import Settings

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


def init_app(app: Flask, settings: Settings) -> None:
    accepted = settings.accepted_hosts

    @app.before_request
    def check_host() -> None:
        # A page elsewhere can point a name of its own at this machine; only the names we know are answered.
        if host_name(request.host) not in accepted:
            abort(421)

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


def is_local(host: str) -> bool:
    """Whether nobody but this computer can follow an address of this host."""
    return host_name(host) in ONLY_HERE
