"""The moisture of a batch: every determination of it, and the fitted curve between and after them."""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np

from app.judgement.facts.shapes import Fact, Weighing
from app.judgement.forecasts.band import Z80, Array
from app.judgement.forecasts.course import is_usable
from app.judgement.forecasts.drying import DryingFit
from app.judgement.forecasts.forecast import fit
from app.judgement.forecasts.trusted import trusted
from app.judgement.grain.moisture_samples import (
    ASSUMED_MOISTURE_SD,
    MEASURED_MOISTURE_SD,
    SAME_MOMENT,
    TEST_SD,
    Charged,
    MoistureSample,
    charged,
    determined,
    dry_kg_of,
    dry_loss,
    is_of_whole_charge,
    merged,
    net_of,
    removed_dry_kg,
    scale_step_kg,
    tray_start,
)
from app.judgement.grain.moisture_trays import State, tray_sample
from app.judgement.history.history import History, hours_between
from app.judgement.history.kiln_runs import AS_LOADED, Run, run_at

__all__ = [
    "ASSUMED_MOISTURE_SD",
    "MEASURED_MOISTURE_SD",
    "TEST_SD",
    "Charged",
    "Estimate",
    "MoistureSample",
    "charged",
    "determination_of",
    "determinations",
    "determinations_by_place",
    "dry_kg_of",
    "dry_loss",
    "drying_of",
    "fitted_curve",
    "is_of_whole_charge",
    "loaded_with",
    "merged",
    "moisture_at",
    "net_of",
    "removed_dry_kg",
    "samples",
    "scale_step_kg",
    "tray_start",
]


class Curve(NamedTuple):
    """The curve at a moment and its standard uncertainty; the upper 95 % bound of the wettest tray, and its middle."""

    moisture_wb: float
    sd: float
    wettest: float
    wettest_wb: float


IN_PLACES = ("tray", "tested")
JUST_TESTED_H = 1.0
AIR_TELLS = timedelta(hours=6)
"""Air into the grain that was read longer ago tells nothing of how hot it has been since, from memory."""

WETTEST_WB = 0.999

KNOWN_WITHIN_WB = 0.12
"""An 80 % interval wider than this reaches from green malt to dry: its middle says nothing. From memory."""


@dataclass(frozen=True)
class Estimate:
    """Moisture at a moment. is_estimate: nothing was determined just then, and it is read from the fitted curve.

    since_h: hours from the last determination, `sample`. wettest: the upper 95 % bound where the grain is wettest;
    wettest_wb: its middle there, 0 where no several trays tell it.
    is_told: False where heat may have dried it and nothing tells how far: then it is anything up to what was loaded.
    at_most: on the kiln no grain is wetter than it was loaded.
    """

    moisture_wb: float
    sd: float
    is_estimate: bool
    since_h: float = 0.0
    sample: MoistureSample | None = None
    wettest: float = 0.0
    is_told: bool = True
    at_most: float = WETTEST_WB
    wettest_wb: float = 0.0

    @property
    def half_width(self) -> float:
        return 2.0 * self.sd

    def said(self, percent: Callable[[float, float], str]) -> str:
        """With its half-width; or that it is not known."""
        return percent(self.moisture_wb, self.half_width) if self.is_told else "not known"

    @property
    def where_wettest_wb(self) -> float:
        """The middle of the wettest of several trays, for there the enzymes die first; else of all."""
        return max(self.moisture_wb, self.wettest_wb)

    @property
    def is_known(self) -> bool:
        """Well enough for its middle to say how much heat the grain bears."""
        return self.is_told and 2.0 * Z80 * self.sd <= KNOWN_WITHIN_WB

    @property
    def upper(self) -> float:
        """The upper 95 % bound; on the kiln that of the wettest tray, for there the enzymes die first."""
        return min(max(self.moisture_wb + self.half_width, self.wettest), self.at_most)


def judged_wb(estimate: Estimate | None) -> float:
    """By what the heat that grain bears is judged: the middle of what is known, in the wettest tray; the upper edge,
    where that is little; and as wet as can be, where it is nothing."""
    return estimate.where_wettest_wb if estimate is not None and estimate.is_known else edge_wb(estimate)


def edge_wb(estimate: Estimate | None) -> float:
    """The upper edge of the 80 % interval; where nothing tells the moisture, as wet as can be."""
    if estimate is None:
        return WETTEST_WB
    if not estimate.is_told:
        return estimate.upper
    return min(estimate.where_wettest_wb + Z80 * estimate.sd, estimate.at_most)


def samples(history: History) -> tuple[MoistureSample, ...]:
    """Every determination of the batch's moisture, in order of time; none by what looks like a slip."""
    return trusted(history).once(_samples)


def _samples(history: History) -> tuple[MoistureSample, ...]:
    weighings = history.of_shape(Weighing, "tray")
    loaded = loaded_with(history) if weighings else None
    if loaded is None:
        return determined(history)
    by_tray = [tray_sample(history, weighing, loaded) for weighing in weighings]
    unsorted = [*determined(history), *(each for each in by_tray if each is not None)]
    return tuple(sorted(unsorted, key=lambda sample: sample.at))


def loaded_with(history: History) -> State | None:
    """The moisture that a tray is filled with: as tested just then, and not dried since; else as all that came of its
    heating tells it; else as the grain was before any.
    """
    told, tested = fit(history).story, determined(history)
    if told is None:
        return None
    hours = [history.hour(each.at) for each in tested]
    trays = [(history.hour(tray.first.at), run, tray) for run in reversed(told.runs) for tray in run.trays]
    filled = {hour: run.first_wb(tray) for hour, run, tray in trays}
    heated = {hour: run.start_h for hour, run, _ in trays if run.dries_by(hour)}

    def state(hour: float) -> tuple[float, float]:
        place = bisect.bisect_right(hours, hour) - 1
        if place >= 0 and hour - hours[place] <= JUST_TESTED_H and hours[place] >= heated.get(hour, -math.inf):
            return tested[place].moisture_wb, tested[place].sd
        return filled.get(hour) or told.green.state(hour)

    return state


def moisture_at(history: History, at: datetime) -> Estimate | None:
    """The moisture at a moment: a determination, or the fitted curve between and after them; None before any is known.

    The curve leans on all that was determined, before and after; its interval widens with the distance from them.
    """
    history = trusted(history)
    told = history.once(_estimates)
    if at not in told:
        told[at] = _estimate(history, at)
    return told[at]


def _estimates(history: History) -> dict[datetime, Estimate | None]:
    return {}


def _estimate(history: History, at: datetime) -> Estimate | None:
    samples_told = determinations(history)
    begun = bisect.bisect_right(history.once(_times), at)
    if not begun:
        return None
    before = samples_told[begun - 1]
    since_h = hours_between(before.at, at)
    central, sd, wettest, wettest_wb = _fitted(history, at)
    if at - before.at <= SAME_MOMENT or math.isnan(central):
        return Estimate(before.moisture_wb, before.sd, False, since_h, before, wettest, wettest_wb=wettest_wb)
    loaded = _untold_since_loading(history, at, before)
    if loaded is not None:
        driest, as_loaded = max(central - 2.0 * sd, 0.0), max(loaded[0] + 2.0 * loaded[1], central + 2.0 * sd)
        return Estimate((driest + as_loaded) / 2.0, (as_loaded - driest) / 4.0, True, since_h, before, 0.0, False)
    at_most = _as_loaded(history, at, max(central, wettest_wb))
    return Estimate(central, sd, True, since_h, before, wettest, at_most=at_most, wettest_wb=wettest_wb)


def moistures_at(history: History, moments: Sequence[datetime]) -> list[Estimate | None]:
    """The same at many moments, the curve worked out for all of them at once."""
    history = trusted(history)
    estimates = history.once(_at_facts)
    estimates |= _curve(history, [moment for moment in moments if moment not in estimates])
    return [moisture_at(history, moment) for moment in moments]


def _untold_since_loading(history: History, at: datetime, last: MoistureSample) -> tuple[float, float] | None:
    """What it was loaded with, where it may have dried by now and nothing was weighed or tested, or just read of the
    air: by a plan that nobody has looked after nobody knows how far it has dried.
    """
    run = run_at(history, at)
    if run is None or at <= run.heat_at + AS_LOADED or last.at > run.heat_at:
        return None
    drying = drying_of(history, run)
    return None if drying is None or drying.known or _is_air_read(history, run, at) else drying.loaded_wb


def _as_loaded(history: History, at: datetime, central: float) -> float:
    """The most that grain which is heated may hold: the upper 95 % bound of what was loaded, in the wettest tray."""
    run = run_at(history, at)
    drying = None if run is None or at < run.heat_at or not run.covers(at) else drying_of(history, run)
    if drying is None:
        return WETTEST_WB
    loaded = [drying.loaded_wb, *(tray.loaded_wb for tray in drying.trays if tray.loaded_wb)]
    return max(central, *(moisture + 2.0 * sd for moisture, sd in loaded))


def drying_of(history: History, run: Run) -> DryingFit | None:
    """What was learned of one run on the kiln."""
    told, start_h = fit(history).story, history.hour(run.heat_at)
    return None if told is None else next((each for each in told.runs if each.start_h == start_h), None)


def _is_air_read(history: History, run: Run, at: datetime) -> bool:
    until = at if run.stage.ends_at is None else min(at, run.stage.ends_at)
    read = history.readings("air_on_temperature", "set_point")
    return any(is_usable(each) and run.stage.starts_at <= each.at <= until <= each.at + AIR_TELLS for each in read)


def fitted_curve(history: History, moments: Sequence[datetime]) -> list[tuple[float, float]]:
    """The curve at these moments, whatever was determined just then: moisture and standard uncertainty; NaN before it.

    Beyond the last fact it is what comes of the batch if it is left as it is.
    """
    curve = _curve(history, moments)
    return [curve[moment][:2] for moment in moments]


def _fitted(history: History, at: datetime) -> Curve:
    """NaN where there is no curve."""
    estimates = history.once(_at_facts)
    if at not in estimates:
        estimates |= _curve(history, [at])
    return estimates[at]


def _at_facts(history: History) -> dict[datetime, Curve]:
    """The curve at all facts at once: rules ask for most of them, and one by one it takes far longer."""
    return _curve(history, sorted({fact.at for fact in history.facts}))


def _curve(history: History, moments: Sequence[datetime]) -> dict[datetime, Curve]:
    told = fit(history).story
    if told is None or not moments:
        return dict.fromkeys(moments, Curve(math.nan, math.nan, 0.0, 0.0))
    hours = np.array(history.hours(moments))
    central, low, high = told.band(hours)
    sds = np.maximum((high - low) / (2.0 * Z80), _unsure_of_weight(history, moments))
    middle, wettest = told.wettest(hours, central, high)
    bounds = wettest + (wettest > high) * (2.0 / Z80 - 1.0) * np.maximum(wettest - central, 0.0)
    return {
        moment: Curve(value, sd, 0.0 if math.isnan(bound) else bound, wet if wet > value else 0.0)
        for moment, value, sd, bound, wet in zip(
            moments, *(each.tolist() for each in (central, sds, bounds, middle)), strict=True
        )
    }


def _unsure_of_weight(history: History, moments: Sequence[datetime]) -> Array:
    """The standard uncertainty of the tray last weighed before each moment; 0 where another way told it last.

    It comes from the dry matter in the tray, of which the drying tells nothing: the grain stays as unsure as it was.
    """
    points, times = determinations(history), history.once(_times)
    last = [bisect.bisect_right(times, moment) - 1 for moment in moments]
    return np.array([points[place].sd if place >= 0 and points[place].basis == "tray" else 0.0 for place in last])


def _times(history: History) -> tuple[datetime, ...]:
    return tuple(determination.at for determination in determinations(history))


def determinations(history: History) -> tuple[MoistureSample, ...]:
    """What was determined of the batch's moisture, in order of time: of one way within a quarter of an hour, as one.

    Whatever judges the batch goes by these; `samples` are what went into them.
    """
    return trusted(history).once(_merged)


def determinations_by_place(history: History) -> tuple[MoistureSample, ...]:
    """The same, but each tray and each place of a test by itself: on a kiln one is wetter than the other."""
    return trusted(history).once(_merged_by_place)


def determination_of(history: History, fact: Fact) -> MoistureSample | None:
    """What a weighing or a test of the batch tells, with those that belong to it; None where it tells no moisture."""
    return trusted(history).once(_by_fact).get(fact.id)


def _merged(history: History) -> tuple[MoistureSample, ...]:
    return merged(samples(history))


def _merged_by_place(history: History) -> tuple[MoistureSample, ...]:
    return merged(samples(history), lambda each: (each.basis, each.place if each.basis in IN_PLACES else None))


def _by_fact(history: History) -> dict[str, MoistureSample]:
    return {fact.id: sample for sample in determinations_by_place(history) for fact in sample.facts}
