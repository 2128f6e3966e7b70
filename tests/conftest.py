"""The fixtures that most tests share. The database of a test is a copy of one that the migrations made."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, settings
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app import create_app, ports
from app.config import Settings
from app.exchange.demo import load_demo
from app.operations.programmes import ensure_builtin_programmes
from app.store import schema
from app.store.engine import make_engine, make_sessionmaker, open_database, write_session
from tests.houses import furnished
from tests.shared import Templates, made_once, share, shared_folder

share()

# Normal tests time nothing: on a busy machine an example may take as long as it likes.
# The examples are the same in each run: what fails, fails again.
settings.register_profile(
    "untimed", deadline=None, derandomize=True, max_examples=50, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("untimed")

NOW = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)
"""When most tests play: an ordinary morning, two weeks before the clocks go forward."""


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database at the newest revision, with the built-in programmes and nothing else."""

    def make(path: Path) -> None:
        with open_database(f"sqlite:///{path}") as engine:
            schema.upgrade(engine)
            with write_session(engine) as session:
                ensure_builtin_programmes(session, now=NOW)

    return made_once(tmp_path_factory, "migrated.sqlite", make)


def demo_at(now: datetime, migrated_file: Path) -> Callable[[Path], None]:
    """What makes a database with the demo malthouse as it stands at a time."""

    def make(path: Path) -> None:
        shutil.copy(migrated_file, path)
        with open_database(f"sqlite:///{path}") as engine, write_session(engine) as session:
            load_demo(session, now)

    return make


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Path:
    """A database with the demo malthouse, as it stands at NOW."""
    return made_once(tmp_path_factory, "demo.sqlite", demo_at(NOW, migrated_file))


@pytest.fixture(scope="session")
def demo_of_today(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Path:
    """The same for what asks the clock of the machine: a browser, a server in a process of its own."""
    return made_once(tmp_path_factory, "demo_of_today.sqlite", demo_at(ports.now(), migrated_file))


@pytest.fixture
def settings(tmp_path: Path, migrated_file: Path) -> Settings:
    folder = tmp_path / "data"
    folder.mkdir()
    return furnished(folder, migrated_file)


@pytest.fixture(scope="session", autouse=True)
def _templates(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Every application made in this run finds its templates compiled: nine tenths of a page's time in a fresh one."""
    folder = shared_folder(tmp_path_factory) / "templates"
    folder.mkdir(exist_ok=True)
    Flask.jinja_options = {"bytecode_cache": Templates(folder)}


@pytest.fixture
def app(settings: Settings) -> Iterator[Flask]:
    app = create_app(settings)
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    yield app
    app.extensions["engine"].dispose()


@pytest.fixture(autouse=True)
def _push_request_context() -> None:
    """In place of pytest-flask's own: under one pushed context all requests of a test would share one session."""


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def engine(settings: Settings) -> Iterator[Engine]:
    engine = make_engine(settings.database_url)
    yield engine
    engine.dispose()


@pytest.fixture
def session(engine: Engine) -> Iterator[Session]:
    """A writing session on a database of the test's own."""
    with make_sessionmaker(engine)() as session:
        yield session
