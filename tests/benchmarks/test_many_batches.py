"""A thousand batches make no page slower than ten do."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from flask.testing import FlaskClient

from app import create_app
from app.config import Settings
from app.folder import ensure_secret
from app.store.engine import make_engine
from tests.benchmarks.bulk import fill
from tests.benchmarks.conftest import Figures, medians

FACTS_EACH = 200


def house_of(folder: Path, migrated_file: Path, batches: int) -> FlaskClient:
    shutil.copy(migrated_file, folder / "chitbook.sqlite")
    ensure_secret(folder / "secret")
    settings = Settings(data_dir=folder, zone=ZoneInfo("Europe/Dublin"))
    engine = make_engine(settings.database_url)
    fill(engine, batches=batches, facts_each=FACTS_EACH, now=datetime.now(UTC))
    engine.dispose()
    return create_app(settings).test_client()


@pytest.fixture(scope="module")
def houses(
    tmp_path_factory: pytest.TempPathFactory, migrated_file: Path, is_short: bool
) -> Iterator[tuple[FlaskClient, FlaskClient, int]]:
    many = 200 if is_short else 1000
    few, full = (tmp_path_factory.mktemp(name) for name in ("few", "full"))
    small, large = house_of(few, migrated_file, 10), house_of(full, migrated_file, many)
    yield small, large, many
    for client in (small, large):
        client.application.extensions["engine"].dispose()


@pytest.mark.parametrize("page", ["/", "/batches/{last}/tub", "/batches/{last}", "/batches"])
def test_a_page_takes_as_long_with_many_batches_as_with_few(
    page: str, houses: tuple[FlaskClient, FlaskClient, int], is_short: bool, slack: float, figures: Figures
) -> None:
    small, large, many = houses

    def load(client: FlaskClient, last: int) -> None:
        assert client.get(page.format(last=last)).status_code == 200

    few_s, many_s = medians(9 if is_short else 30, lambda: load(small, 10), lambda: load(large, many))
    figures.say(f"{page}: {few_s * 1e3:.1f} ms with 10, {many_s * 1e3:.1f} ms with {many}, ratio {many_s / few_s:.2f}")
    assert many_s <= 1.3 * slack * few_s
