"""Whether the server answers, and what it runs."""

from __future__ import annotations

from flask import Blueprint, Response, current_app, jsonify

from app.store.schema import current_revision
from app.version import VERSION

health = Blueprint("health", __name__)


@health.get("/health")
def show() -> Response:
    return jsonify(status="ok", version=VERSION, schema=current_revision(current_app.extensions["engine"]))
