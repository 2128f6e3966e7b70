"""Who may ask for what from beyond the desk: one table. What stands in it nowhere, nobody gets there.

A blueprint's word holds for all that it answers, but for the endpoints that have one of their own.
"""

from __future__ import annotations

from app.store.devices import MAY_LOG, MAY_MANAGE

ANYBODY = "anybody"

BLUEPRINTS = {
    "home": MAY_LOG,
    "batches": MAY_LOG,
    "tub": MAY_LOG,
    "facts": MAY_LOG,
    "photos": MAY_LOG,
    "lots": MAY_LOG,
    "packs": MAY_LOG,
    "malt": MAY_LOG,
    "ahead": MAY_LOG,
    "how": MAY_LOG,
    "compare": MAY_LOG,
    "methods": MAY_LOG,
    "workings": MAY_LOG,
    # What is said there are facts: a vessel cleaned, a thermometer compared, the air of the room.
    "house": MAY_LOG,
}
ENDPOINTS = {
    "static": ANYBODY,
    "sync.worker": ANYBODY,
    "devices.ask": ANYBODY,
    "devices.pair": ANYBODY,
    # Its token is its key; a calendar has no cookie.
    "calendar.feed": ANYBODY,
    "plotly": MAY_LOG,
    "health.show": MAY_LOG,
    "sync.hello": MAY_LOG,
    "sync.keep": MAY_LOG,
    "sync.changes": MAY_LOG,
    "sync.sheet": MAY_LOG,
    "sync.offline": MAY_LOG,
    "people.index": MAY_LOG,
    "people.choose": MAY_LOG,
    "people.choose_units": MAY_LOG,
    "people.choose_theme": MAY_LOG,
    "people.choose_quiet": MAY_LOG,
    "people.add": MAY_MANAGE,
    "programmes.index": MAY_LOG,
    "programmes.show": MAY_LOG,
    "programmes.edit": MAY_MANAGE,
    "programmes.keep": MAY_MANAGE,
    "calendar.index": MAY_MANAGE,
    "calendar.make": MAY_MANAGE,
    "calendar.revoke": MAY_MANAGE,
    "data.index": MAY_MANAGE,
    "data.export": MAY_MANAGE,
    "data.backup": MAY_MANAGE,
    "data.unsent": MAY_MANAGE,
    "data.take_unsent_in": MAY_MANAGE,
    "devices.index": MAY_MANAGE,
    "devices.make": MAY_MANAGE,
    "devices.ask_revoke": MAY_MANAGE,
    "devices.revoke": MAY_MANAGE,
}


def role_needed(endpoint: str | None) -> str | None:
    """The role that an endpoint asks for; None where nobody from beyond the desk gets it."""
    if endpoint is None:
        return None
    return ENDPOINTS.get(endpoint) or BLUEPRINTS.get(endpoint.partition(".")[0])


def may(role: str, endpoint: str) -> bool:
    """Whether a device of this role gets the endpoint."""
    needed = role_needed(endpoint)
    return needed in (ANYBODY, role) or (needed == MAY_LOG and role == MAY_MANAGE)
