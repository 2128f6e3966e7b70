"""What a person, or a phone, is told when something can't be done. No traceback ever reaches either."""

from __future__ import annotations

from collections.abc import Mapping

from flask import Flask, Response, jsonify, render_template, request
from flask_wtf.csrf import CSRFError
from sqlalchemy.exc import OperationalError
from werkzeug.exceptions import HTTPException, InternalServerError

from app.config import Settings
from app.errors import ChitbookError, Conflict, NotFound, Rejected, Unavailable
from app.web.reader import assume_nobody

WORDS = {
    400: ("That could not be read", "Go back, load the page anew and send it again. Nothing was stored."),
    403: ("Not from here", "Load the page anew and try again. Nothing was stored."),
    404: ("There is nothing here", "The address may be mistyped, or what stood here has another number."),
    405: ("Not in this way", "This address takes no such request. Go back and use the buttons of the page."),
    413: ("Too much at once", "What was sent is larger than this server takes. Nothing was stored."),
    415: ("That could not be read", "What was sent is of another kind than is taken here. Nothing was stored."),
    421: (
        "Unknown name",
        "This server doesn't answer to the name it was called by. See allowed_hosts in the settings.",
    ),
    500: ("Something broke here", "Nothing of this request was stored. What you had kept before is safe. Try again."),
    503: ("Busy", "The record is being written by somebody else. Nothing was stored; try again in a moment."),
}


def init_app(app: Flask, settings: Settings) -> None:
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(CSRFError, _stale)
    app.register_error_handler(ChitbookError, _refused)
    app.register_error_handler(OperationalError, _busy)
    app.register_error_handler(Exception, _broken)


def wants_json() -> bool:
    return request.path.startswith(("/sync/", "/changes")) or request.is_json


def failure(status: int, title: str, text: str, fields: Mapping[str, str] | None = None) -> tuple[Response | str, int]:
    """One shape of error for pages and for JSON: what happened, what to do, and for which fields."""
    if wants_json():
        return jsonify(error={"status": status, "title": title, "text": text, "fields": dict(fields or {})}), status
    if status >= 500:
        assume_nobody()
    return render_template("failure.html", status=status, title=title, text=text, fields=fields or {}), status


def _http(error: HTTPException) -> tuple[Response | str, int] | HTTPException:
    status = error.code or 500
    if 300 <= status < 400:
        return error
    title, text = WORDS.get(status, WORDS[400] if status < 500 else WORDS[500])
    return failure(status, title, text)


def _stale(_error: CSRFError) -> tuple[Response | str, int]:
    text = "The page was open for too long, or in another browser. Nothing was stored: load it anew and send it again."
    return failure(400, "This page has grown stale", text)


def _refused(error: ChitbookError) -> tuple[Response | str, int]:
    if isinstance(error, NotFound):
        return failure(404, str(error), WORDS[404][1])
    if isinstance(error, Conflict):
        return failure(409, "Changed in the meantime", f"{error} Load the page anew to see it.")
    if isinstance(error, Rejected):
        return failure(422, "Not kept", "Nothing was stored.", error.fields)
    if isinstance(error, Unavailable):
        return failure(503, *WORDS[503])
    return failure(400, "Not possible", str(error))


def _busy(error: OperationalError) -> tuple[Response | str, int]:
    if "locked" in str(error.orig) or "busy" in str(error.orig):
        return failure(503, *WORDS[503])
    return _broken(error)


def _broken(error: Exception) -> tuple[Response | str, int]:
    from flask import current_app

    # A token in an address is a key, and a log is read by many.
    path = request.path if "token" not in (request.view_args or {}) else request.url_rule
    current_app.logger.exception("request failed: %s %s", request.method, path, exc_info=error)
    return failure(InternalServerError.code, *WORDS[500])
