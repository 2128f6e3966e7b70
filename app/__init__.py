"""Chitbook: the record of a hand maltster. create_app is the whole wiring."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flask import Flask

    from app.config import Settings


def create_app(settings: Settings | None = None) -> Flask:
    """The web application on a data folder that is ready to be served (see serve.prepare)."""
    # Imported here, so that `app.science` can be used without a web server.
    from flask import Flask

    from app import web
    from app.config import load_settings
    from app.folder import ensure_secret

    settings = settings or load_settings()
    app = Flask(__name__, static_folder=None, template_folder="web/templates")
    app.config.update(
        SECRET_KEY=ensure_secret(settings.secret_file),
        MAX_CONTENT_LENGTH=settings.max_body_bytes,
        MAX_FORM_MEMORY_SIZE=settings.max_body_bytes,
        SESSION_COOKIE_NAME="chitbook",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        PERMANENT_SESSION_LIFETIME=60 * 60 * 24 * 400,
        WTF_CSRF_TIME_LIMIT=None,
    )
    app.extensions["settings"] = settings
    web.init_app(app, settings)
    return app
