"""How good the forecasts are: later determinations hidden, forecast, and held against what they said.

The table is written by `pytest -m benchmark tests/benchmarks/test_backtest.py -s`, and kept in docs/methods.md. The
spreads of the forecasts were set on made-up lots of the seeds 0 to 39; those of the table are others.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from app.exchange.demo import load_demo
from app.judgement.history import History
from app.store.batches import list_batches
from app.store.engine import make_engine, write_session
from app.store.history import load_histories
from tests.benchmarks import made_up
from tests.benchmarks.backtest import Score, Series, backtest, growth_series, kiln_series, pooled, steep_series, table

# Molina-Cano et al. 1995, J. Inst. Brew. 101:79-83, data set barleyh20 of the CRAN package pbANOVA.
PUBLISHED = Path(__file__).parents[1] / "science" / "data" / "molina_cano_1995.csv"
NOW = datetime(2026, 10, 1, 9, 0, tzinfo=UTC)
FIRST_SEED = 100


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> list[History]:
    path = tmp_path_factory.mktemp("demo") / "chitbook.sqlite"
    shutil.copy(migrated_file, path)
    engine = make_engine(f"sqlite:///{path}")
    with write_session(engine) as session:
        load_demo(session, NOW)
        found = load_histories(session, [batch.id for batch in list_batches(session)])
    engine.dispose()
    return sorted(found.values(), key=lambda history: history.batch.number)


@pytest.fixture(scope="module")
def seeds() -> range:
    """As many in the short form too: the cover of an interval shows in no dozen lots."""
    return range(FIRST_SEED, FIRST_SEED + 60)


@pytest.fixture(scope="module")
def report() -> Iterator[list[str]]:
    lines: list[str] = []
    yield lines
    print("\n" + "\n".join(lines))


def several(series: list[Series | None]) -> list[Series]:
    return [each for each in series if each is not None and len(each.points) > 1]


def is_better(score: Score) -> bool:
    error, last, line, *_ = score.row()
    return error < last and error < line


def test_uptake_beats_both_naive_forecasts_on_the_published_steeps_and_the_demo(
    demo: list[History], seeds: range, report: list[str]
) -> None:
    data = np.loadtxt(PUBLISHED, delimiter=",", skiprows=2)
    published = [
        steep_series(name, made_up.published_steep(data[:, 0], data[:, column]))
        for name, column in (("slow lot", 1), ("fast lot", 2))
    ]
    told = {
        "Uptake: the published steeps of barley (Molina-Cano et al. 1995)": backtest(several(published)),
        "Uptake: the demo's batches": backtest(several([steep_series(str(each.batch.number), each) for each in demo])),
        "Uptake: made-up steeps": backtest(several([steep_series(str(seed), made_up.steep(seed)) for seed in seeds])),
    }
    for title, scores in told.items():
        report += table(title, "points of moisture", scores)
        assert all(is_better(score) for score in scores.values() if score.held), title
    everything = pooled(told.values())
    report += table("Uptake: all of these", "points of moisture", everything)
    assert all(0.70 <= score.coverage <= 0.90 for score in everything.values())


def test_growth_beats_both_naive_forecasts(demo: list[History], seeds: range, report: list[str]) -> None:
    told = {
        "Growth: the demo's batches": backtest(several([growth_series(str(each.batch.number), each) for each in demo])),
        "Growth: made-up floors": backtest(several([growth_series(str(seed), made_up.floor(seed)) for seed in seeds])),
    }
    for title, scores in told.items():
        report += table(title, "hundredths of a kernel length", scores)
    everything = pooled(told.values())
    report += table("Growth: all of these", "hundredths of a kernel length", everything)
    assert all(is_better(score) for score in everything.values())
    assert all(0.70 <= score.coverage <= 0.92 for score in everything.values())


def test_drying_beats_both_naive_forecasts_on_the_demo_and_on_made_up_kilns(
    demo: list[History], seeds: range, report: list[str]
) -> None:
    told = {
        "Drying: the demo's trays": backtest(
            [each for history in demo for each in kiln_series(str(history.batch.number), history)]
        ),
        "Drying: made-up kilns": backtest(
            [each for seed in seeds for each in kiln_series(str(seed), made_up.kiln(seed))]
        ),
    }
    for title, scores in told.items():
        report += table(title, "points of moisture", scores)
        assert all(is_better(score) for score in scores.values() if score.held), title
    everything = pooled(told.values())
    report += table("Drying: all of these", "points of moisture", everything)
    assert all(0.70 <= score.coverage <= 0.92 for score in everything.values())
