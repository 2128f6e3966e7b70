"""Speed as ratios within one run, for machines are noisy. `pytest -m benchmark tests/benchmarks [--short] -s`."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--short", action="store_true", help="fewer rounds and smaller records, as in CI")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.benchmark)


@pytest.fixture(scope="session")
def is_short(request: pytest.FixtureRequest) -> bool:
    return bool(request.config.getoption("--short"))


@pytest.fixture(scope="session")
def slack(is_short: bool) -> float:
    """What a limit is multiplied by: a few rounds on a busy machine only show what has become much slower."""
    return 1.6 if is_short else 1.0


@dataclass
class Figures:
    """What was seen, printed at the end of the run."""

    lines: list[str] = field(default_factory=list)

    def say(self, line: str) -> None:
        self.lines.append(line)


@pytest.fixture(scope="session")
def figures(request: pytest.FixtureRequest) -> Iterator[Figures]:
    figures = Figures()
    yield figures
    reporter = request.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is not None:
        reporter.write_line("")
        for line in figures.lines:
            reporter.write_line(f"seen: {line}")


def medians(rounds: int, *actions: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> list[float]:
    """The median seconds of each action, taken in turn, so that a noisy moment hits all of them alike."""
    times: list[list[float]] = [[] for _ in actions]
    for turn in range(rounds + 3):
        for place, action in enumerate(actions):
            began = clock()
            action()
            if turn >= 3:
                times[place].append(clock() - began)
    return [statistics.median(each) for each in times]
