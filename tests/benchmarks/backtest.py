"""The backtest: later determinations are hidden, forecast from those before them, and held against what they said.

Two naive forecasts stand beside: the last value goes on; the straight line through the last two goes on (with only
one so far, the line from the beginning).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from app.judgement import forecast
from app.judgement.facts import Weighing
from app.judgement.forecast_bed import BED
from app.judgement.forecast_green import green
from app.judgement.growth import growth_counts
from app.judgement.history import History
from app.judgement.moisture import samples
from app.judgement.moisture_trays import tray_sample

SEEN = (1, 2, 3, 4)
Point = tuple[datetime, float]
Band = tuple[float, float, float]
Asks = Callable[[History, Sequence[datetime]], list[Band]]


@dataclass(frozen=True)
class Series:
    """What was determined, in order, with where it began; asks: the forecast at these moments from a history."""

    name: str
    history: History
    began: Point
    points: tuple[Point, ...]
    kinds: tuple[str, ...]
    asks: Asks

    def hidden_after(self, moment: datetime) -> History:
        facts = (each for each in self.history.facts if each.kind not in self.kinds or each.at <= moment)
        return replace(self.history, facts=tuple(facts))


@dataclass
class Score:
    """Errors of the three ways, and how often the interval held the truth."""

    errors: list[float] = field(default_factory=list)
    last: list[float] = field(default_factory=list)
    line: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)

    def add(self, truth: float, band: Band, last: float, line: float) -> None:
        central, low, high = band
        self.errors.append(abs(central - truth))
        self.last.append(abs(last - truth))
        self.line.append(abs(line - truth))
        self.held.append(low <= truth <= high)
        self.widths.append(high - low)

    @property
    def coverage(self) -> float:
        return float(np.mean(self.held))

    def row(self) -> tuple[float, float, float, float, float, int]:
        means = [100.0 * float(np.mean(each)) for each in (self.errors, self.last, self.line)]
        return (*means, 100.0 * self.coverage, 100.0 * float(np.mean(self.widths)), len(self.held))


def backtest(series: Iterable[Series]) -> dict[int, Score]:
    """A score for each number of determinations that were seen; each series has one say for each that was hidden."""
    scores = {seen: Score() for seen in SEEN}
    for one in series:
        for seen in SEEN:
            known, hidden = one.points[:seen], one.points[seen:]
            if len(known) < seen or not hidden:
                continue
            bands = one.asks(one.hidden_after(known[-1][0]), [at for at, _ in hidden])
            before = known[-2] if seen > 1 else one.began
            for (at, truth), band in zip(hidden, bands, strict=True):
                scores[seen].add(truth, band, known[-1][1], _line(before, known[-1], at))
    return scores


def pooled(told: Iterable[dict[int, Score]]) -> dict[int, Score]:
    """Several backtests as one."""
    found = {seen: Score() for seen in SEEN}
    for scores in told:
        for seen, score in scores.items():
            for name in ("errors", "last", "line", "held", "widths"):
                getattr(found[seen], name).extend(getattr(score, name))
    return found


def _line(first: Point, second: Point, at: datetime) -> float:
    hours = (second[0] - first[0]).total_seconds()
    slope = (second[1] - first[1]) / hours if hours else 0.0
    return min(max(second[1] + slope * (at - second[0]).total_seconds(), 0.0), 1.0)


def steep_series(name: str, history: History) -> Series | None:
    """The weighings of the steep, at least an hour apart."""
    story = forecast.fit(history).story
    uptake = story.uptake if story else None
    zero = history.first_water_at
    if uptake is None or zero is None:
        return None
    end_h = uptake.end_h if uptake.end_h is not None else 1e9
    points: list[Point] = []
    for each in samples(history):
        is_far = not points or (each.at - points[-1][0]).total_seconds() >= 3600.0
        if (
            each.basis in ("test_bag", "charge_weighing")
            and each.at > zero
            and history.hour(each.at) <= end_h
            and is_far
        ):
            points.append((each.at, each.moisture_wb))
    kinds = ("test_bag", "charge_weighing", "moisture_test")
    return Series(name, history, (zero, uptake.initial_wb), tuple(points), kinds, _moisture)


def _moisture(history: History, moments: Sequence[datetime]) -> list[Band]:
    found = [forecast.moisture_at(history, at) for at in moments]
    return [(each.central or 0.0, each.low or 0.0, each.high or 0.0) for each in found]


def growth_series(name: str, history: History) -> Series | None:
    fitted = forecast.fit(history).growth
    points = tuple((each.at, each.mean) for each in growth_counts(history))
    if fitted is None or len(points) < 2:
        return None
    began = next(fact.at for fact in history.of_kind("cast"))
    return Series(name, history, (began, 0.0), points, ("growth_count",), _acrospires)


def _acrospires(history: History, moments: Sequence[datetime]) -> list[Band]:
    fitted = forecast.fit(history).growth
    assert fitted is not None
    in_classes = not any(each.is_from_lengths for each in growth_counts(history))
    return _rows(fitted.band(np.array([history.hour(at) for at in moments]), in_classes=in_classes))


def _rows(band: Sequence[NDArray[np.float64]]) -> list[Band]:
    return [(float(central), float(low), float(high)) for central, low, high in zip(*band, strict=True)]


def kiln_series(name: str, history: History) -> list[Series]:
    """A series for each tray of the last run.

    Its moistures go by the green malt's as it was tested before the heat: what the fit made of it has no say in them.
    """
    drying, before = forecast.fit(history).drying, green(history)
    found = []
    if drying is None or before is None:
        return []
    for tray in drying.trays:
        weighings = [each for each in history.of_shape(Weighing, "tray") if (each.vessel or "") == tray.name]
        mine = [each for weighing in weighings if (each := tray_sample(history, weighing, before.state)) is not None]
        inside = tuple((each.at, each.moisture_wb) for each in mine if tray.first.at < each.at <= tray.last.at)
        if len(inside) > 1:
            began = (tray.first.at, before.state(history.hour(tray.first.at))[0])
            kinds = ("tray", "moisture_test", "outturn")
            found.append(Series(f"{name} {tray.name}", history, began, inside, kinds, _of_tray(tray.name)))
    return found


def _of_tray(name: str) -> Asks:
    def ask(history: History, moments: Sequence[datetime]) -> list[Band]:
        drying = forecast.fit(history).drying
        assert drying is not None
        number = next((each.number for each in drying.trays if each.name == name), BED)
        hours = np.array([history.hour(at) for at in moments])
        return _rows(drying.band(hours, number))

    return ask


def table(title: str, unit: str, scores: dict[int, Score]) -> list[str]:
    """Lines of Markdown."""
    head = [
        f"### {title}",
        "",
        "| seen | forecast | last value | straight line | in the 80 % interval | its mean width | hidden ones |",
        "| ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    rows = []
    for seen, score in scores.items():
        if score.held:
            error, last, line, held, width, n = score.row()
            rows.append(f"| {seen} | {error:.2f} | {last:.2f} | {line:.2f} | {held:.0f} % | {width:.1f} | {n} |")
    return [*head, *rows, "", f"Mean absolute errors and widths in {unit}.", ""]
