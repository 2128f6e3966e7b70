"""A house on an ordinary morning: one batch, charged two hours ago, and its tub page."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import ports
from app.store.engine import write_session
from tests.pages import Tub
from tests.writing import NOW, Opened, add_batch


@pytest.fixture
def morning(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is NOW, and stays so."""
    monkeypatch.setattr(ports, "now", lambda: NOW)


@pytest.fixture
def batch(app: Flask, morning: None) -> Opened:
    with write_session(app.extensions["engine"]) as session:
        row = add_batch(session)
        return Opened(row.id, row.number)


@pytest.fixture
def tub(client: FlaskClient, batch: Opened) -> Tub:
    return Tub(client, batch.number)
