"""What the tests of entries look up: the facts that were kept, and what a page that kept nothing says."""

from __future__ import annotations

import re
from contextlib import AbstractContextManager
from html import unescape
from typing import Any
from urllib.parse import parse_qs, urlsplit

from flask import Flask
from sqlalchemy.orm import Session
from werkzeug.test import TestResponse

from app.judgement.facts.shapes import Fact
from app.operations.facts import record_fact
from app.store.engine import read_session, write_session
from app.store.history import get_history
from tests.writing import BATCH, NOW


def write(app: Flask) -> AbstractContextManager[Session]:
    """A writing session on the application's own database."""
    return write_session(app.extensions["engine"])


def facts_of(app: Flask, batch_id: str = BATCH) -> list[Fact]:
    with read_session(app.extensions["engine"]) as session:
        return [fact for fact in get_history(session, batch_id).facts if fact.kind != "charge"]


def the_fact(app: Flask) -> Any:
    (fact,) = facts_of(app)
    return fact


def said(app: Flask, *records: dict[str, Any]) -> None:
    with write(app) as session:
        for record in records:
            record_fact(session, record, now=NOW)


def kept(answer: TestResponse) -> str:
    """The id of the fact that was kept; that nothing else happened is made sure of."""
    assert answer.status_code == 303, text_of(answer)
    return parse_qs(urlsplit(str(answer.location)).query)["kept"][0]


def text_of(answer: TestResponse) -> str:
    """What one reads on the page."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def wrong_fields(answer: TestResponse) -> set[str]:
    """The fields that the page marks as wrong, by their plain names."""
    said = re.findall(r'<p class="wrong" id="([a-z0-9_-]+)-wrong"', answer.text)
    named = re.findall(r'<(?:input|textarea|select)[^>]* aria-invalid="true"[^>]* name="([^"]+)"', answer.text)
    return {name.rpartition("-")[2] for name in (*said, *named)}


def asked(answer: TestResponse) -> str:
    """What the page asks before it keeps anything."""
    assert answer.status_code == 422
    assert "Not kept yet: is that so?" in text_of(answer)
    return text_of(answer).partition("Not kept yet: is that so?")[2][:300]
