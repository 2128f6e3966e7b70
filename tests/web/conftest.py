"""A house on an ordinary morning: one batch, charged two hours ago, and its tub page; or something of everything."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import ports
from app.store.engine import make_engine, write_session
from tests.pages import Tub
from tests.web.posts import furnish
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


@pytest.fixture(scope="session")
def furnished_file(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Path:
    """A database of which every example of a post can be sent."""
    path = tmp_path_factory.mktemp("furnished") / "chitbook.sqlite"
    shutil.copy(migrated_file, path)
    engine = make_engine(f"sqlite:///{path}")
    with write_session(engine) as session:
        furnish(session)
    engine.dispose()
    return path
