"""How good the forecasts are, by what was known when they were made; and that docs/methods.md says just that.

`python docs/make_methods.py --backtest` writes the tables there anew.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from app.judgement.facts.shapes import Fact
from app.judgement.history.history import History
from app.judgement.programmes.programme import load_builtin
from app.store.engine import make_engine
from tests.benchmarks.backtest_page import EVERY, Result, by_programme, page_part, results, row_of
from tests.benchmarks.demo_told import told_again, whole_demo
from tests.benchmarks.known_by import told_at

METHODS = Path(__file__).parents[2] / "docs" / "methods.md"
SAME_ERROR, SAME_SHARE = 0.1, 4.0
"""Machines differ in the last digits, and so at times does the side of an edge on which a determination comes."""


@pytest.fixture(scope="module")
def told() -> list[Result]:
    return results()


def test_over_all_the_forecasts_are_nearer_than_both_naive_ones(told: list[Result]) -> None:
    everything = [each for each in told if each.title.endswith(EVERY)]
    assert len(everything) == 4
    for each in everything:
        assert all(score.is_better for score in each.scores.values()), each.title


def test_whatever_is_to_be_malted_the_interval_after_one_weighing_holds_the_published_steeps() -> None:
    after_one = {key: scores[1] for key, scores in by_programme().items()}
    assert set(after_one) == set(load_builtin())
    assert {key: score.coverage for key, score in after_one.items() if score.coverage < 0.75} == {}
    assert {key: score.row()[0] for key, score in after_one.items() if score.row()[0] > 2.0} == {}


def test_the_methods_say_what_the_forecasts_are_worth_now(told: list[Result]) -> None:
    written, now = METHODS.read_text(encoding="utf-8"), page_part(told)
    assert set(rows_in(written)) == set(rows_in(now)), "run: python docs/make_methods.py --backtest"
    for name, row in rows_in(now).items():
        before = rows_in(written)[name]
        error, held = abs(row[0] - before[0]), abs(row[3] - before[3])
        assert error <= SAME_ERROR, f"{name}: run: python docs/make_methods.py --backtest"
        assert held <= SAME_SHARE, f"{name}: run: python docs/make_methods.py --backtest"


def rows_in(page: str) -> dict[tuple[str, int], list[float]]:
    """The figures of each line of the backtest's tables, by the table's title and how many were seen."""
    found, title = {}, ""
    for line in page.splitlines():
        title = line.removeprefix("### ") if line.startswith("### ") else title
        if re.match(r"\| \d", line):
            seen, *figures = (float(each.strip(" %")) for each in line.strip("|").split("|"))
            found[title, int(seen)] = figures
    return found


def test_a_line_of_a_table_is_read_back_as_it_was_written(told: list[Result]) -> None:
    score = told[0].scores[1]
    page = f"### {told[0].title}\n{row_of(1, score)}"
    assert rows_in(page)[told[0].title, 1] == pytest.approx(score.row(), abs=0.5)


def test_the_demo_told_so_far_knows_nothing_that_was_told_later(tmp_path: Path, migrated_file: Path) -> None:
    shutil.copy(migrated_file, tmp_path / "chitbook.sqlite")
    engine = make_engine(f"sqlite:///{tmp_path / 'chitbook.sqlite'}")
    whole = whole_demo(engine)
    asked = {(history.batch.id, told_at(fact)) for history in whole for fact in history.facts[7::37]}
    known = told_again(engine, asked)
    engine.dispose()
    for (_, moment), history in known.items():
        assert history is None or all(told_at(fact) <= moment for fact in all_of(history)), moment
    assert any(history is not None and history.prior for history in known.values())
    split_off = next(each.batch.id for each in whole if each.batch.number == 3)
    assert {history is None for (batch_id, _), history in known.items() if batch_id == split_off} == {False, True}


def all_of(history: History) -> list[Fact]:
    """Every fact that a History can judge by: its own, those it corrects by, and those about its lots."""
    lots = [fact for lot in history.lots.values() for fact in lot.facts]
    return [*(fact for chain in history.chains for fact in chain.facts), *history.instruments, *lots]
