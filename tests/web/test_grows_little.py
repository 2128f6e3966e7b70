"""Of thirty times as many batches no page asks more of the database, nor is it longer: it shows the newest of them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import create_app, ports
from app.store.engine import make_engine
from tests.benchmarks.bulk import fill_years
from tests.houses import furnished
from tests.stories import statements
from tests.writing import NOW

FEW, MANY = 60, 2000
PAGES = (
    "/",
    "/lots",
    "/lots/lot-{lot}",
    "/batches",
    "/batches/new",
    "/batches/new?lot=lot-{lot}",
    "/batches/roast",
    "/batches/{last}",
    "/batches/{last}/tub",
    "/packs",
    "/house",
    "/house/entries/calibrated",
    "/house/entries/cleaned",
    "/compare",
    "/people",
    "/plan",
)


@pytest.fixture(scope="module")
def apps(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[dict[int, Flask]]:
    """A house with few batches, and one with many."""
    apps = {}
    for batches in (FEW, MANY):
        folder = tmp_path_factory.mktemp(str(batches))
        settings = furnished(folder, migrated_file)
        engine = make_engine(settings.database_url)
        fill_years(engine, batches=batches, now=NOW)
        engine.dispose()
        apps[batches] = create_app(settings)
        apps[batches].config["WTF_CSRF_ENABLED"] = False
    yield apps
    for app in apps.values():
        app.extensions["engine"].dispose()


@pytest.fixture(autouse=True)
def _now(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ports, "now", lambda: NOW)


def asked_and_sent(app: Flask, batches: int, page: str) -> tuple[int, int]:
    """Statements of a page, once the facts are kept, and its bytes."""
    client, path = app.test_client(), page.format(last=batches, lot=batches // 3 - 1)
    assert client.get(path).status_code == 200
    with statements(app) as seen:
        answer = client.get(path)
    return len(seen), len(answer.data)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_asks_and_sends_little_more_of_two_thousand_batches_than_of_sixty(page: str, apps: dict[int, Flask]):
    (asked, sent), (asked_of_many, sent_of_many) = (asked_and_sent(apps[each], each, page) for each in (FEW, MANY))
    assert asked_of_many == asked
    assert sent_of_many <= 1.1 * sent


def test_what_is_not_among_the_newest_is_found_by_its_words(apps: dict[int, Flask]):
    client: FlaskClient = apps[MANY].test_client()
    for path, words, link in (
        ("/lots", "croft+0017", "/lots/lot-17"),
        ("/batches/new", "BARLEY croft+0017", "/batches/new?lot=lot-17"),
        ("/packs", "jar+0023", "/packs/jar-23"),
        ("/packs", "JAR-199", "/packs/jar-199"),
    ):
        assert f'href="{link}"' not in client.get(path).text
        assert f'href="{link}"' in client.get(f"{path}?q={words}").text
        assert f'href="{link}"' not in client.get(f"{path}?q={words}+rye").text
        assert "found" in client.get(f"{path}?q=%25_nothing").text


def test_a_batch_can_be_charged_from_a_lot_that_is_not_among_the_newest(apps: dict[int, Flask]):
    client = apps[MANY].test_client()
    assert "Charge a batch: Croft 0017" in client.get("/batches/new?lot=lot-17").text
    refused = client.post("/batches/new", data={"source_0": "lot:lot-17"})
    assert refused.status_code == 422
    assert "Charge a batch: Croft 0017" in refused.text


def test_pages_of_a_search_go_on_with_it(apps: dict[int, Flask]):
    client = apps[MANY].test_client()
    assert 'href="/lots?q=croft%2005&amp;page=2"' in client.get("/lots?q=croft+05").text
    shown = client.get("/lots?q=croft+05&page=2").text
    assert 'href="/lots/lot-580"' in shown
    assert 'href="/lots/lot-581"' not in shown
