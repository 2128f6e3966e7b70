"""The paired device that this request comes from: known by a signed cookie, for as long as its row is not revoked."""

from __future__ import annotations

from datetime import datetime, timedelta

from flask import Flask, Response, current_app, g, request
from itsdangerous import BadData, URLSafeTimedSerializer
from werkzeug.wrappers import Response as AnyResponse

from app import ports
from app.config import Settings
from app.store.devices import DESK, Device, find_device

COOKIE = "__Host-chitbook-device"
"""By this beginning of its name a browser takes it over https only, for this host alone, and from no page."""
COOKIE_LIFE = timedelta(days=400)
"""The longest that browsers keep one."""
RENEW_AFTER = timedelta(days=30)
NOT_PAIRED, REVOKED = "not_paired", "revoked"


def init_app(app: Flask, settings: Settings) -> None:
    @app.after_request
    def renew_cookie(response: Response) -> Response:
        device, signed_at = g.get("device"), g.get("device_signed_at")
        if device is not None and signed_at is not None and _age(signed_at) > RENEW_AFTER:
            give_cookie(response, device)
        return response


def device() -> Device | None:
    """The device that was let in with this request; None at the desk, and for what anybody may have."""
    phone: Device | None = g.get("device")
    return phone


def device_name() -> str | None:
    phone = device()
    return phone.name if phone else None


def maker() -> str:
    """Who makes what this request asks for: the device's id, or the desk."""
    phone = device()
    return phone.id if phone else DESK


def recognise() -> tuple[Device | None, str]:
    """The device that the cookie stands for, or None and why there is none. Asks the database for a signed one only."""
    sent = request.cookies.get(COOKIE, "")
    try:
        device_id, g.device_signed_at = _signer().loads(
            sent, max_age=int(COOKIE_LIFE.total_seconds()), return_timestamp=True
        )
    except BadData:
        return None, NOT_PAIRED
    with current_app.extensions["reading"]() as session:
        phone = find_device(session, str(device_id))
    if phone is None:
        return None, NOT_PAIRED
    return (None, REVOKED) if phone.revoked_at else (phone, "")


def give_cookie(response: AnyResponse, paired: Device) -> None:
    response.set_cookie(
        COOKIE,
        str(_signer().dumps(paired.id)),
        max_age=COOKIE_LIFE,
        secure=True,
        httponly=True,
        samesite="Lax",
        path="/",
    )


def _age(signed_at: datetime) -> timedelta:
    return ports.now() - signed_at


def _signer() -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(str(current_app.secret_key), salt="chitbook-device")
