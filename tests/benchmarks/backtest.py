"""The backtest: from what was known at a moment, later determinations are forecast, and held against what they said.

A forecast gets the History as it was known at the moment, and nothing else: `Series.by` gives it, cut by
`known_by.known_by`, or by the demo told only so far. What came of the batch says the truth, and nothing else.

Two naive forecasts stand beside: the last value goes on; the straight line through the last two goes on (with only
one so far, the line from the beginning). They too are made of what was known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.judgement.facts.shapes import Fact, Weighing
from app.judgement.forecasts import forecast
from app.judgement.forecasts.asking import band_by_plan
from app.judgement.forecasts.bed import BED
from app.judgement.forecasts.green import green
from app.judgement.forecasts.moisture import samples
from app.judgement.grain.counts import growth_counts
from app.judgement.grain.moisture_trays import tray_sample
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages
from tests.benchmarks.known_by import told_at

SEEN = (1, 2, 3, 4)
LEAST_APART_S = 3600.0
Band = tuple[float, float, float]
Known = Callable[[datetime], History | None]


class Point(NamedTuple):
    """What was determined; at first what it began with, which no fact determined."""

    at: datetime
    value: float
    fact: Fact | None = None


@dataclass(frozen=True)
class Series:
    """One thing that was determined again and again.

    whole: the batch as it turned out. by: the batch as it was known at a moment; None where it was not there yet.
    points, began: what a history determines of it, and where it began. asks: the forecast, out of a history at its
    moment, for later moments. until: up to when the forecast is meant, as it turned out.
    """

    name: str
    whole: History
    by: Known
    points: Callable[[History], tuple[Point, ...]]
    began: Callable[[History], Point]
    asks: Callable[[History, datetime, Sequence[datetime]], list[Band]]
    until: Callable[[History, datetime], datetime | None] = lambda whole, moment: None

    def moments(self) -> dict[int, datetime]:
        """By the number of determinations, when that many were known."""
        told = [told_at(each.fact) for each in self.points(self.whole) if each.fact is not None]
        return {seen: max(told[:seen]) for seen in SEEN if len(told) > seen}

    def hidden(self, moment: datetime) -> list[Point]:
        """What was determined after a moment, as far as the forecast is meant."""
        until = self.until(self.whole, moment)
        return [each for each in self.points(self.whole) if each.at > moment and (until is None or each.at <= until)]


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

    @property
    def is_better(self) -> bool:
        """Than both naive forecasts."""
        error, last, line, *_ = self.row()
        return error < last and error < line

    def row(self) -> tuple[float, float, float, float, float, int]:
        means = [100.0 * float(np.mean(each)) for each in (self.errors, self.last, self.line)]
        return (*means, 100.0 * self.coverage, 100.0 * float(np.mean(self.widths)), len(self.held))


def backtest(series: Iterable[Series]) -> dict[int, Score]:
    """A score for each number of determinations that were known; a series has one say for each that came after."""
    scores = {seen: Score() for seen in SEEN}
    for one in series:
        for seen, moment in one.moments().items():
            known, hidden = one.by(moment), one.hidden(moment)
            if known is None or not hidden:
                continue
            *earlier, last = one.began(known), *one.points(known)
            bands = one.asks(known, moment, [each.at for each in hidden])
            for truth, band in zip(hidden, bands, strict=True):
                scores[seen].add(truth.value, band, last.value, _line(earlier[-1], last, truth.at))
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
    hours = (second.at - first.at).total_seconds()
    slope = (second.value - first.value) / hours if hours else 0.0
    return min(max(second.value + slope * (at - second.at).total_seconds(), 0.0), 1.0)


def steep_by_plan(name: str, whole: History, by: Known) -> Series:
    """The weighings of the steep, forecast with the steeps that the programme still plans."""
    return Series(name, whole, by, _weighed, _first_water, _by_plan)


def steep_as_it_is(name: str, whole: History, by: Known) -> Series:
    """The weighings of the steep until the water next came or went, forecast as if it never did."""
    return Series(name, whole, by, _weighed, _first_water, _as_it_is, _water_moved)


def _weighed(history: History) -> tuple[Point, ...]:
    """The weighings of the steep, at least an hour apart."""
    story, zero = forecast.fit(history).story, history.first_water_at
    uptake = story.uptake if story else None
    if uptake is None or zero is None:
        return ()
    end_h = float("inf") if uptake.end_h is None else uptake.end_h
    points: list[Point] = []
    for each in samples(history):
        if each.basis not in ("test_bag", "charge_weighing") or not zero < each.at or history.hour(each.at) > end_h:
            continue
        if not points or (each.at - points[-1].at).total_seconds() >= LEAST_APART_S:
            points.append(Point(each.at, each.moisture_wb, each.fact))
    return tuple(points)


def _first_water(history: History) -> Point:
    story, zero = forecast.fit(history).story, history.first_water_at
    assert story is not None
    assert story.uptake is not None
    assert zero is not None
    return Point(zero, story.uptake.initial_wb)


def _by_plan(history: History, now: datetime, moments: Sequence[datetime]) -> list[Band]:
    band = band_by_plan(forecast.fit(history), now)
    return _as_it_is(history, now, moments) if band is None else _rows(band(_hours(history, moments)))


def _as_it_is(history: History, now: datetime, moments: Sequence[datetime]) -> list[Band]:
    found = [forecast.moisture_value(history, at) for at in moments]
    return [(each.central or 0.0, each.low or 0.0, each.high or 0.0) for each in found]


def _water_moved(whole: History, moment: datetime) -> datetime | None:
    return next((stage.starts_at for stage in all_stages(whole) if stage.starts_at > moment), None)


def growth_series(name: str, whole: History, by: Known) -> Series:
    """The growth counts of the floor."""
    return Series(name, whole, by, _counted, _cast, _acrospires)


def _counted(history: History) -> tuple[Point, ...]:
    if forecast.fit(history).growth is None:
        return ()
    return tuple(Point(each.at, each.mean, each.fact) for each in growth_counts(history))


def _cast(history: History) -> Point:
    return Point(next(fact.at for fact in history.of_kind("cast")), 0.0)


def _acrospires(history: History, now: datetime, moments: Sequence[datetime]) -> list[Band]:
    fitted = forecast.fit(history).growth
    assert fitted is not None
    in_classes = not any(each.is_from_lengths for each in growth_counts(history))
    return _rows(fitted.band(_hours(history, moments), in_classes=in_classes))


def kiln_series(name: str, whole: History, by: Known) -> list[Series]:
    """A series for each tray of the last run."""
    drying = forecast.fit(whole).drying
    return [_tray_series(f"{name} {tray.name}", tray.name, whole, by) for tray in (drying.trays if drying else ())]


def _tray_series(name: str, tray: str, whole: History, by: Known) -> Series:
    def points(history: History) -> tuple[Point, ...]:
        return _dried(history, tray)[1:]

    def began(history: History) -> Point:
        return _dried(history, tray)[0]

    def ask(history: History, now: datetime, moments: Sequence[datetime]) -> list[Band]:
        drying = forecast.fit(history).drying
        assert drying is not None
        number = next((each.number for each in drying.trays if each.name == tray), BED)
        return _rows(drying.band(_hours(history, moments), number))

    return Series(name, whole, by, points, began, ask)


def _dried(history: History, name: str) -> tuple[Point, ...]:
    """A tray as it was loaded, and each time that it was weighed.

    Its moistures go by the green malt's as it was tested before the heat: what the fit made of it has no say in them.
    """
    drying, before = forecast.fit(history).drying, green(history)
    tray = next((each for each in drying.trays if each.name == name), None) if drying is not None else None
    if tray is None or before is None:
        return ()
    weighings = [each for each in history.of_shape(Weighing, "tray") if (each.vessel or "") == name]
    mine = [each for weighing in weighings if (each := tray_sample(history, weighing, before.state)) is not None]
    inside = (Point(each.at, each.moisture_wb, each.fact) for each in mine if tray.first.at < each.at <= tray.last.at)
    return (Point(tray.first.at, before.state(history.hour(tray.first.at))[0]), *inside)


def _hours(history: History, moments: Sequence[datetime]) -> NDArray[np.float64]:
    return np.array([history.hour(at) for at in moments])


def _rows(band: Sequence[NDArray[np.float64]]) -> list[Band]:
    return [(float(central), float(low), float(high)) for central, low, high in zip(*band, strict=True)]
