"""What a person, or a phone, is told when something can't be done. No traceback ever reaches either."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any

from flask import Flask, Response, current_app, flash, jsonify, redirect, render_template, request
from flask_wtf.csrf import CSRFError
from sqlalchemy.exc import OperationalError
from werkzeug.exceptions import HTTPException, InternalServerError
from werkzeug.wrappers import Response as AnyResponse

from app.config import Settings
from app.errors import ChitbookError, Conflict, NotFound, Rejected, Unavailable
from app.judgement.facts.kinds import KINDS
from app.store.engine import is_held
from app.store.facts import find_fact
from app.web.request.database import READS, Stored, stored
from app.web.request.reader import assume_nobody

Told = tuple[Response | str, int]

NOTHING_STORED = "Nothing was stored."
"""Said of a request that could have stored something, and is known to have been rolled back."""
SAYS_NOTHING_STORED = frozenset({400, 403, 413, 415, 500, 503})
ONLY_THE_PAGE = "Only this page could not be made: what was kept is safe. Load it again."

WORDS = {
    400: ("That could not be read", "Go back, load the page anew and send it again."),
    403: ("Not from here", "Load the page anew and try again."),
    404: ("There is nothing here", "The address may be mistyped, or what stood here has another number."),
    405: ("Not in this way", "This address takes no such request. Go back and use the buttons of the page."),
    413: ("Too much at once", "What was sent is larger than this server takes."),
    415: ("That could not be read", "What was sent is of another kind than is taken here."),
    421: (
        "Unknown name",
        "This server doesn't answer to the name it was called by. See allowed_hosts in the settings.",
    ),
    500: ("Something broke here", "What you had kept before is safe. Try again."),
    503: ("Busy", "The record is being written by somebody else: try again in a moment."),
}
ONLY_THE_ANSWER = "Only the page that should have said so could not be made."
SENT_AGAIN = "Only the answer could not be made. Sent again unchanged, it changes nothing."
MAYBE = ("Perhaps stored", "It may be stored: look before you enter it again.")


def init_app(app: Flask, settings: Settings) -> None:
    app.register_error_handler(HTTPException, _unless_stored(_http))
    app.register_error_handler(CSRFError, _unless_stored(_stale))
    app.register_error_handler(ChitbookError, _unless_stored(_refused))
    app.register_error_handler(OperationalError, _unless_stored(_busy))
    app.register_error_handler(Exception, _unless_stored(_broken))


def wants_json() -> bool:
    return request.path.startswith(("/sync/", "/changes")) or request.is_json


def failure(
    status: int, title: str, text: str, fields: Mapping[str, str] | None = None, where: str | None = None
) -> Told:
    """One shape of error for pages and for JSON: what happened, what to do, and for which fields.

    where: the address to look at, in place of the home page.
    """
    if wants_json():
        return jsonify(error={"status": status, "title": title, "text": text, "fields": dict(fields or {})}), status
    if status >= 500:
        assume_nobody()
    about = {"title": title, "text": text, "fields": fields or {}, "where": where}
    return render_template("failure.html", status=status, **about), status


def _unless_stored(handler: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """What the handler answers; but what was stored before it failed is answered as stored."""

    @wraps(handler)
    def tell(error: Exception) -> Any:
        found = stored()
        if found is None:
            return handler(error)
        _log(error)
        return _stored(found) if found.is_sure else failure(500, *MAYBE, where=found.where)

    return tell


def _stored(kept: Stored) -> AnyResponse | Told:
    if wants_json():
        return failure(500, "Stored", f"{kept.what} {SENT_AGAIN}")
    flash(f"{kept.what} {ONLY_THE_ANSWER}", "kept")
    return redirect(kept.where, 303)


def _http(error: HTTPException) -> Told | HTTPException:
    status = error.code or 500
    if 300 <= status < 400:
        return error
    return _in_words(status if status in WORDS else 400 if status < 500 else 500, status)


def _in_words(key: int, status: int) -> Told:
    """The usual words, with what became of what was sent; or of what the page was to show as just kept."""
    title, text = WORDS[key]
    if request.method not in READS:
        text = f"{NOTHING_STORED} {text}" if key in SAYS_NOTHING_STORED else text
    elif key == 500:
        text = f"{_just_kept()} {ONLY_THE_PAGE}".strip()
    return failure(status, title, text)


def _just_kept() -> str:
    """Of the page that an entry leads to once it is kept: that it is, as the record has it."""
    try:
        with current_app.extensions["reading"]() as session:
            fact = find_fact(session, request.args["kept"]) if "kept" in request.args else None
    except Exception as error:
        _log(error)
        return ""
    return f"{KINDS[fact.kind].word}: saved." if fact else ""


def _stale(_error: CSRFError) -> Told:
    text = "The page was open for too long, or in another browser. Nothing was stored: load it anew and send it again."
    return failure(400, "This page has grown stale", text)


def _refused(error: ChitbookError) -> Told:
    if isinstance(error, NotFound):
        return failure(404, str(error), WORDS[404][1])
    if isinstance(error, Conflict):
        return failure(409, "Changed in the meantime", f"{error} Load the page anew to see it.")
    if isinstance(error, Rejected):
        return failure(422, "Not kept", NOTHING_STORED, error.fields)
    if isinstance(error, Unavailable):
        return _in_words(503, 503)
    return failure(400, "Not possible", str(error))


def _busy(error: OperationalError) -> Told:
    return _in_words(503, 503) if is_held(error) else _broken(error)


def _broken(error: Exception) -> Told:
    _log(error)
    return _in_words(InternalServerError.code, InternalServerError.code)


def _log(error: Exception) -> None:
    # A token in an address is a key, and a log is read by many.
    path = request.path if "token" not in (request.view_args or {}) else request.url_rule
    current_app.logger.exception("request failed: %s %s", request.method, path, exc_info=error)
