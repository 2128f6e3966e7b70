"""The gate: at the desk everybody comes in; from beyond it over https only, paired, and to what the device may do."""

from __future__ import annotations

from flask import Flask, Response, g, jsonify, request
from flask.sessions import SecureCookieSessionInterface

from app import ports
from app.config import Settings
from app.operations.devices import SEEN_EVERY, note_seen
from app.store.devices import MAY_MANAGE, Device, find_device
from app.web.access.pairing import PairForm, pairing_page
from app.web.access.peer import is_at_desk
from app.web.access.roles import ANYBODY, may, role_needed
from app.web.request.database import db
from app.web.request.device import REVOKED, device, recognise
from app.web.request.failures import failure, wants_json

Turned = tuple[Response | str, int]

ONLY_HTTPS = (
    "From beyond the desk this house is reached over https only. Where a reverse proxy stands in front, the setting "
    "trusted_proxies names it."
)
STRANGERS_BYTES = 16 * 1024
"""The largest form that is read of whom nobody knows: that of pairing."""
REASONS = {
    "not_paired": "This phone is not paired with the house. What was kept on it stays on it, and is sent once it is "
    "paired: the desk shows a code for that.",
    "revoked": "This phone was removed at the desk. What was kept on it stays on it, and is sent once it is paired "
    "again: the desk shows a code for that.",
}


class SessionsByScheme(SecureCookieSessionInterface):
    """The cookie of the session too is sent over https only, where it was given over https."""

    def get_cookie_secure(self, app: Flask) -> bool:
        return request.is_secure


def init_app(app: Flask, settings: Settings) -> None:
    app.session_interface = SessionsByScheme()

    @app.before_request
    def let_in() -> Turned | None:
        g.is_at_desk = is_at_desk()
        return None if g.is_at_desk else _from_beyond()

    @app.context_processor
    def about_device() -> dict[str, object]:
        return {"may": may_here, "paired_name": g.device.name if g.get("device") else None}


def may_here(endpoint: str) -> bool:
    """Whether whoever asks now may have this endpoint: for hiding what would only be refused."""
    phone = device()
    return bool(g.get("is_at_desk")) or (phone is not None and may(phone.role, endpoint))


def _from_beyond() -> Turned | None:
    if not request.is_secure:
        return failure(403, "Over https only", ONLY_HTTPS)
    needed = role_needed(request.endpoint)
    if needed == ANYBODY:
        request.max_content_length = STRANGERS_BYTES
        return None
    g.device, reason = recognise()
    if g.device is None:
        return turn_away(reason)
    if needed is None and request.endpoint is not None:
        return failure(403, "Only at the desk", "This is to be had at the desk only.")
    if needed == MAY_MANAGE and g.device.role != MAY_MANAGE:
        return _not_allowed(g.device)
    _note_seen(g.device)
    return None


def turn_away(reason: str, status: int = 401) -> Turned:
    """What a device gets that is not let in: why, as JSON where that is what it understands, else where to pair."""
    text = REASONS[reason]
    if wants_json() or request.accept_mimetypes.best == "application/json":
        error = {"status": status, "title": "Not paired", "text": text, "fields": {}}
        return jsonify(status=status, reason=reason, text=text, error=error), status
    return pairing_page(PairForm(), is_revoked=reason == REVOKED), status


def _not_allowed(phone: Device) -> Turned:
    text = (
        f"“{phone.name}” may log: see all and keep readings, but not this. The desk can, or one that may manage; "
        "or the desk pairs this phone anew with that right."
    )
    return failure(403, "Not from this phone", text)


def _note_seen(phone: Device) -> None:
    """With what is written anyway, and to within an hour: a reading request writes nothing."""
    if request.method == "POST" and ports.now() - phone.last_seen_at >= SEEN_EVERY:
        row = find_device(db(), phone.id)
        if row is not None:
            note_seen(db(), row, now=ports.now())
