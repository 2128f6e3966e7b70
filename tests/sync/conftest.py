"""A house with a batch of two hours, and a phone that knows how to send."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import ports
from app.store.engine import write_session
from tests.writing import NOW, Opened, Record, add_batch

Answers = list[dict[str, Any]]


@dataclass
class Phone:
    """Sends entries as an outbox does, and reads the answers."""

    client: FlaskClient

    def send(self, *entries: Any) -> Answers:
        answer = self.client.post("/sync/facts", json={"entries": list(entries)})
        assert answer.status_code == 200, answer.text
        answers: Answers = answer.get_json()["answers"]
        assert [each["id"] for each in answers] == [
            each.get("id") if isinstance(each, dict) else None for each in entries
        ]
        return answers

    def send_one(self, entry: Record) -> dict[str, Any]:
        (answer,) = self.send(entry)
        return answer


@pytest.fixture
def batch(app: Flask, monkeypatch: pytest.MonkeyPatch) -> Opened:
    monkeypatch.setattr(ports, "now", lambda: NOW)
    with write_session(app.extensions["engine"]) as session:
        row = add_batch(session)
        return Opened(row.id, row.number)


@pytest.fixture
def phone(client: FlaskClient, batch: Opened) -> Phone:
    return Phone(client)
