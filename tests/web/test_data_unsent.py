"""What a phone couldn't send, brought to the desk as a file: taken in once, an answer for each entry."""

from __future__ import annotations

import json
from io import BytesIO
from typing import Any

import pytest
from flask import Flask, before_render_template
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.web.keeping import facts_of, text_of
from tests.writing import Opened, entry, struck, water


def brought(client: FlaskClient, content: bytes | None) -> TestResponse:
    data: dict[str, Any] = {} if content is None else {"file": (BytesIO(content), "unsent.json")}
    return client.post("/data/unsent", data=data, content_type="multipart/form-data")


def outbox(*entries: Any, form: int = 1) -> bytes:
    return json.dumps({"chitbook_outbox": form, "saved_at": "2026-03-14T09:30:00Z", "entries": entries}).encode()


def test_each_entry_of_the_file_is_kept_and_answered(app: Flask, client: FlaskClient, batch: Opened) -> None:
    file = outbox(water("12.5"), entry("turned", id="turned-1"), water("much", id="water-2"), "nothing", water(id="a"))
    said = text_of(brought(client, file))
    assert {fact.id for fact in facts_of(app)} == {"a", "turned-1", "water-1"}
    assert said.count("● taken in") == 3
    assert said.count("■ not taken") == 2
    assert "“much” is not a number" in said
    assert "Water temperature 12.5 c" in said


def test_a_time_that_no_clock_of_the_house_can_show_keeps_no_other_entry_from_its_answer(
    app: Flask, client: FlaskClient, batch: Opened
) -> None:
    answer = brought(client, outbox(water(), water(id="water-0", at="0001-01-01T00:00:00Z")))
    assert answer.status_code == 200
    assert "● taken in" in text_of(answer)
    assert "water-1" in {fact.id for fact in facts_of(app)}


def test_a_page_that_fails_claims_nothing_of_a_file_of_which_nothing_was_taken(
    app: Flask, client: FlaskClient, batch: Opened
) -> None:
    def drawing(*_: object, **named: Any) -> None:
        if named["template"].name != "failure.html":
            raise RuntimeError("no page to be had")

    with before_render_template.connected_to(drawing, app):
        answer = brought(client, outbox(water("much")))
    assert answer.status_code == 500
    assert "Nothing was stored." in text_of(answer)


def test_the_same_file_again_changes_nothing(app: Flask, client: FlaskClient, batch: Opened) -> None:
    file = outbox(water(), struck("water-1"), water("13", id="water-2"))
    brought(client, file)
    assert text_of(brought(client, file)).count("was here already") == 3
    assert [fact.id for fact in facts_of(app)] == ["water-2"]


def test_what_the_phone_sends_after_all_is_known_by_its_name(app: Flask, client: FlaskClient, batch: Opened) -> None:
    brought(client, outbox(water()))
    answer = client.post("/sync/facts", json={"entries": [water()]}).get_json()["answers"][0]
    assert answer["status"] == 200
    assert len(facts_of(app)) == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "no file of unsent entries"),
        (b"", "no file of unsent entries"),
        (b"\xff\xfe{", "no file of unsent entries"),
        (b"[" * 100_000, "no file of unsent entries"),
        (b'{"entries": []}', "no file of unsent entries"),
        (b'{"chitbook_outbox": 1, "entries": 7}', "no file of unsent entries"),
        (outbox(water(), form=2), "from a newer program"),
        (outbox(*[7] * 5001), "more than 5000"),
    ],
    ids=["no file", "empty", "no text", "deep", "without its mark", "no list", "newer", "too many"],
)
def test_another_file_is_refused_and_nothing_is_kept(
    app: Flask, client: FlaskClient, batch: Opened, content: bytes | None, words: str
) -> None:
    answer = brought(client, content)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert facts_of(app) == []


def test_a_file_without_entries_says_so(client: FlaskClient, batch: Opened) -> None:
    assert "no entry in it" in text_of(brought(client, outbox()))
