"""What the dearest answers cost a house in CPU time: a long batch, the roast chooser, a comparison, keep → meaning.

Each is measured beside a bare answer, and its limit is for a machine on which that takes `BARE_MS`: a slower one, or a
busy one, is as slow at both.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from flask import Flask
from sqlalchemy import func, select

from app import create_app
from app.config import Settings
from app.folder import ensure_secret
from app.judgement.forecasts.kept import Fits
from app.operations.digests import rebuild
from app.ports import new_id
from app.serve import set_aside_what_stays
from app.store.engine import write_session
from app.store.facts import fact
from app.store.history import FITS
from tests.benchmarks.bulk import fill
from tests.benchmarks.conftest import Figures, medians
from tests.benchmarks.test_keeping import bare_app
from tests.stories import add_fact, add_story
from tests.writing import NOW

BARE_MS = 0.6
FACTS = 250
LATE_H = 174.0
"""On the kiln, where all three forecasts have been at work."""

FINISHED_H = (424.0, 434.0, 444.0, 454.0, 464.0, 474.0)
SESSIONS = ("reading", "writing", "writing_briefly")


@dataclass
class House:
    """Our application on a record, and a bare one that inserts a row."""

    app: Flask
    bare: Flask

    def loads(self, page: str) -> Callable[[], None]:
        client = self.app.test_client()

        def load() -> None:
            assert client.get(page).status_code == 200

        return load

    def answers_barely(self) -> None:
        assert self.bare.test_client().post("/", data={"id": new_id(), "value": "15.8"}).status_code == 200

    def forgets(self) -> None:
        """No fit is kept any more."""
        for name in SESSIONS:
            self.app.extensions[name].kw["info"][FITS] = Fits()


def house_of(folder: Path, migrated_file: Path, told: Callable[[Flask], None]) -> House:
    shutil.copy(migrated_file, folder / "chitbook.sqlite")
    ensure_secret(folder / "secret")
    app = create_app(Settings(data_dir=folder, zone=ZoneInfo("Europe/Dublin")))
    app.config["WTF_CSRF_ENABLED"] = False
    told(app)
    set_aside_what_stays()
    return House(app, bare_app(folder / "bare.sqlite"))


def long_stories(app: Flask) -> None:
    """Batch 1 late on the kiln, the others finished, each of 250 facts."""
    with write_session(app.extensions["engine"]) as session:
        for hours_ago in (LATE_H, *FINISHED_H):
            batch = add_story(session, hours_ago=hours_ago)
            told = session.scalar(select(func.count()).select_from(fact).where(fact.c.subject_id == batch.id)) or 0
            for place in range(FACTS - told):
                ago = hours_ago - 50.0 - 90.0 * place / (FACTS - told)
                value, id_ = {"value": 15.0 + place % 7 / 10.0}, f"more-{batch.number}-{place}"
                add_fact(session, batch, "grain_temperature", value, id=id_, hours_ago=ago, place="middle")
        rebuild(session, NOW)


@pytest.fixture(scope="module")
def long_house(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[House]:
    house = house_of(tmp_path_factory.mktemp("long"), migrated_file, long_stories)
    yield house
    house.app.extensions["engine"].dispose()


@pytest.fixture
def late(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.ports.now", lambda: NOW)


@dataclass
class Scales:
    """Weighs an answer against its limit, beside a bare one."""

    rounds: int
    slack: float
    figures: Figures

    def weigh(self, what: str, limit_ms: float, answer: Callable[[], None], house: House) -> None:
        found = medians(self.rounds, answer, house.answers_barely, clock=time.process_time)
        ours_ms, bare_ms = (1e3 * each for each in found)
        rested_ms = (ours_ms - bare_ms) * BARE_MS / bare_ms
        self.figures.say(f"{what}: {ours_ms:.0f} ms CPU, bare {bare_ms:.2f} ms: {rested_ms:.0f} ms (≤ {limit_ms:.0f})")
        assert rested_ms <= limit_ms * self.slack


@pytest.fixture
def scales(is_short: bool, slack: float, figures: Figures) -> Scales:
    return Scales(7 if is_short else 30, slack, figures)


@pytest.mark.usefixtures("late")
@pytest.mark.parametrize("number", [1, 2])
def test_the_page_of_a_long_batch_with_a_kept_fit(number: int, long_house: House, scales: Scales) -> None:
    scales.weigh(f"batch of {FACTS} facts, kept fit", 150.0, long_house.loads(f"/batches/{number}"), long_house)


@pytest.mark.usefixtures("late")
@pytest.mark.parametrize("number", [1, 2])
def test_the_page_of_a_long_batch_that_is_fitted_anew(number: int, long_house: House, scales: Scales) -> None:
    load = long_house.loads(f"/batches/{number}")

    def load_cold() -> None:
        long_house.forgets()
        load()

    scales.weigh(f"batch of {FACTS} facts, cold", 400.0, load_cold, long_house)


@pytest.mark.usefixtures("late")
def test_a_comparison_of_six_long_batches(long_house: House, scales: Scales) -> None:
    page = "/compare?" + "&".join(f"batch={number}" for number in range(2, 8))
    scales.weigh("comparison of six", 300.0, long_house.loads(page), long_house)


def test_the_choice_of_malt_to_roast_among_two_thousand_batches(
    tmp_path_factory: pytest.TempPathFactory, migrated_file: Path, is_short: bool, scales: Scales
) -> None:
    count = 200 if is_short else 2000

    def many(app: Flask) -> None:
        fill(app.extensions["engine"], batches=count, facts_each=20, now=datetime.now(UTC))

    house = house_of(tmp_path_factory.mktemp("many"), migrated_file, many)
    load = house.loads("/batches/roast")
    assert house.app.test_client().get("/batches/roast").text.count("?from=batch:") == 60
    scales.weigh(f"roast chooser, {count} batches", 100.0, load, house)
    house.app.extensions["engine"].dispose()


def test_what_a_reading_means_among_300_facts(
    tmp_path_factory: pytest.TempPathFactory, migrated_file: Path, scales: Scales
) -> None:
    def growing(app: Flask) -> None:
        fill(app.extensions["engine"], batches=4, facts_each=300, now=datetime.now(UTC))

    house = house_of(tmp_path_factory.mktemp("growing"), migrated_file, growing)
    client = house.app.test_client()

    def keep() -> None:
        data = {"id": new_id(), "when": "now", "quality": "measured", "grain_temperature-value": "15,8"}
        answer = client.post("/batches/4/tub/grain_temperature", data=data, follow_redirects=True)
        assert b"Saved" in answer.data

    scales.weigh("keep → meaning", 30.0, keep, house)
    house.app.extensions["engine"].dispose()
