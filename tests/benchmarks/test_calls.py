"""How much of `app/` one save and its answer walk through: calls counted by the profiler, the same on any machine."""

from __future__ import annotations

import cProfile
import pstats
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

import app as package
from app.ports import new_id
from tests.benchmarks.bulk import filled_app
from tests.benchmarks.conftest import Figures

ROOT = str(Path(package.__file__).parent)
FACTS = 300


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[FlaskClient]:
    folder = tmp_path_factory.mktemp("calls")
    app = filled_app(folder, migrated_file, FACTS)
    yield app.test_client()
    app.extensions["engine"].dispose()


def calls_of(action: Callable[[], object]) -> Counter[str]:
    """Calls of each function of `app/`, by file and name, once the fits are kept and the templates compiled."""
    for _ in range(2):
        action()
    profile = cProfile.Profile()
    profile.runcall(action)
    found: Counter[str] = Counter()
    for (file, _, name), (_, calls, *_) in pstats.Stats(profile).stats.items():  # type: ignore[attr-defined]
        if file.startswith(ROOT):
            found[f"{file.removeprefix(ROOT)}:{name}"] += calls
    return found


def keep(client: FlaskClient) -> None:
    data = {"id": new_id(), "when": "now", "quality": "measured", "grain_temperature-value": "15,8"}
    answer = client.post("/batches/4/tub/grain_temperature", data=data, follow_redirects=True)
    assert b"Saved" in answer.data


def test_a_save_and_its_answer_walk_through_little_of_the_program(client: FlaskClient, figures: Figures) -> None:
    found = calls_of(lambda: keep(client))
    figures.say(f"save and tub: {found.total()} calls into app/, {FACTS} facts (≤ 11500)")
    figures.say("most called: " + ", ".join(f"{name} {count}" for name, count in found.most_common(8)))
    assert found.total() <= 11_500


def test_a_save_and_the_home_page_walk_through_little_of_the_program(client: FlaskClient, figures: Figures) -> None:
    def keep_and_go_home() -> None:
        keep(client)
        assert client.get("/").status_code == 200

    found, tub = calls_of(keep_and_go_home), calls_of(lambda: keep(client))
    home = found.total() - tub.total()
    figures.say(f"home after a save: {home} calls into app/, three live batches of {FACTS} facts (≤ 25000)")
    assert home <= 25_000
