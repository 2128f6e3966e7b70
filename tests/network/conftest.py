"""A house opened to its network, on loopback addresses only: one of them stands for what lies beyond the desk."""

from __future__ import annotations

import ssl
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import create_app, ports
from app.config import Settings
from app.network.files import Files
from app.network.opened import describe, names_now, prepare
from app.store.engine import write_session
from app.web.access.house_network import tell
from tests.conftest import NOW
from tests.network.phone import Phone
from tests.ports import free_port
from tests.writing import add_batch


@pytest.fixture
def settings(settings: Settings) -> Settings:
    return replace(settings, lan=True, lan_host="127.0.0.1", lan_port=free_port(), lan_http_port=free_port())


@pytest.fixture
def files(settings: Settings) -> Files:
    return Files(settings.data_dir)


@pytest.fixture
def app(settings: Settings) -> Iterator[Flask]:
    """The application as a worker has it once the house was opened."""
    app = create_app(settings)
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    tell(app, describe(settings, names_now(settings), prepare(settings, NOW)))
    yield app
    app.extensions["engine"].dispose()


@pytest.fixture
def desk(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def phone(app: Flask) -> Phone:
    """A phone of the house that was never paired."""
    return Phone(app)


def trusting(authority: Path) -> ssl.SSLContext:
    """A phone's idea of whom to trust: this authority, and nobody else."""
    return ssl.create_default_context(cafile=str(authority))


@pytest.fixture
def house(app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    """One batch, on an ordinary morning."""
    monkeypatch.setattr(ports, "now", lambda: NOW)
    with write_session(app.extensions["engine"]) as session:
        add_batch(session)
