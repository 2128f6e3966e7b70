"""The growth of the acrospire: a lag after the cast, then steady in thermal time, learned from the growth counts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.band import Z80, Array
from app.judgement.forecasts.course import is_usable, means_by_hour
from app.judgement.forecasts.grid import bounded
from app.judgement.forecasts.priors import from_lot, growth_prior
from app.judgement.grain.counts import GrowthCount, growth_counts
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages
from app.judgement.programmes.programme import Programme
from app.science.fitting import Kernel, Posterior, Prior, Wander, fit_curve
from app.science.growth import BARLEY_BASE_C

LEARNED = 2
BASE_C = BARLEY_BASE_C
"""Derived for barley; other species are taken to be like it, from memory."""

SOFTLY_C_D = 5.0
SHORTEST, BLUR = 0.125, 0.06
WANDERS = 0.03
WANDERS_OVER_C_D = 50.0
COUNT_SD = 0.01
HIDDEN_SD = 0.03
"""One count against another of the same bed, beside what the number counted leaves open; and what the shortest class
hides. Set on the first set of the bench of truth."""

USUAL_C = 15.0
BEYOND_H = 480.0
RECENT_H = 24.0
LONGEST, SLOWS_OVER = 1.1, 0.15
"""Means come no longer than this, for an overgrown kernel counts as one and an eighth, however long; from memory."""


@dataclass(frozen=True, eq=False)
class GrowthFit:
    """The growth from the cast on. end_h: the hour at which heat stopped it, None while it grows."""

    posterior: Posterior
    start_h: float
    end_h: float | None
    hours: Array
    warmth_c_d: Array
    counts: int
    future_c: float

    def thermal_time(self, hours: Array) -> Array:
        """°C·d since the cast."""
        return np.interp(hours, self.hours, self.warmth_c_d)

    def band(self, hours: Array, *, in_classes: bool = False) -> tuple[Array, Array, Array]:
        """Mean acrospire, kernel lengths, at hours from first water; in_classes: as a count in classes would say it."""
        columns = np.stack((self.thermal_time(hours), np.full(len(hours), float(in_classes))))
        mean, sd = self.posterior.predict(columns)
        central, low, high = (np.clip(mean + z * sd, 0.0, LONGEST + 0.1) for z in (0.0, -Z80, Z80))
        return central, low, high


def fit_growth(history: History, warm: GrowthFit | None = None) -> GrowthFit | None:
    """None before the cast."""
    told_stages = all_stages(history)
    grown = [stage for stage in told_stages if stage.name == "germination"]
    if not grown:
        return None
    starts_at, ends_at = grown[0].starts_at, grown[-1].ends_at
    start_h = history.hour(starts_at)
    end_h = None if ends_at is None else history.hour(ends_at)
    hours, temperatures, future_c = _warmth(history, starts_at, ends_at, start_h)
    knots, warmth = _thermal_time(start_h, end_h, hours, temperatures, future_c)
    counts = [
        count for count in growth_counts(history) if start_h <= history.hour(count.at) <= (end_h or math.inf) + 2.0
    ]
    at = np.array([history.hour(each.at) for each in counts])
    prior = from_lot(programme_prior(history.programme_at(starts_at), history.batch.species), history.prior, "growth")
    posterior = fit_curve(
        _length,
        prior,
        KERNEL,
        np.stack((np.interp(at, knots, warmth), [0.0 if each.is_from_lengths else 1.0 for each in counts])),
        [each.mean for each in counts],
        [count_sd(each) for each in counts],
        warm.posterior if warm else None,
    )
    return GrowthFit(posterior, start_h, end_h, knots, warmth, len(counts), future_c)


def programme_prior(programme: Programme | None, species: str) -> Prior:
    """The species' prior about the growth that the plan counts on, and as wide as it was."""
    prior = growth_prior(species)
    steps = [step for step in (programme.steps if programme else ()) if step.stage == "germination"]
    ends = [step.acrospire for step in steps if step.acrospire]
    warmth = sum(max((USUAL_C if step.grain_c is None else step.grain_c) - BASE_C, 0.0) * step.hours for step in steps)
    grown_c_d = warmth / 24.0 - prior.mean[1]
    if not ends or grown_c_d <= 0.0:
        return prior
    return prior.about(np.array([math.log(ends[-1] / grown_c_d), *prior.mean[1:]]))


def count_sd(count: GrowthCount) -> float:
    hidden = 0.0 if count.is_from_lengths else HIDDEN_SD * count.ungrown.share
    return math.hypot(count.mean_sd, COUNT_SD, hidden)


def _warmth(
    history: History, starts_at: datetime, ends_at: datetime | None, start_h: float
) -> tuple[list[float], list[float], float]:
    """Hours and temperatures of the grain on the floor, and the temperature that it is left at."""
    inside: Sequence[Reading] = [
        reading
        for reading in history.readings("grain_temperature")
        if starts_at <= reading.at and (ends_at is None or reading.at <= ends_at) and is_usable(reading)
    ]
    if not inside:
        programme = history.programme_at(starts_at)
        planned = [step.grain_c for step in (programme.steps if programme else ()) if step.stage == "germination"]
        usual = next((each for each in planned if each is not None), USUAL_C)
        return [start_h], [usual], usual
    hours, temperatures = means_by_hour(history, inside)
    recent = [each for hour, each in zip(hours, temperatures, strict=True) if hour >= hours[-1] - RECENT_H]
    return hours, temperatures, sum(recent) / len(recent)


def _thermal_time(
    start_h: float, end_h: float | None, hours: Sequence[float], temperatures: Sequence[float], future_c: float
) -> tuple[Array, Array]:
    """Knots and the °C·d by each, as `science.growth.thermal_time_c_d` adds them up between close points."""
    last_h = max(hours[-1], start_h)
    until = end_h if end_h is not None else last_h + BEYOND_H
    inside = np.linspace(start_h, min(last_h, until), bounded(int((last_h - start_h) / 1.0) + 1))
    excess = np.maximum(np.interp(inside, hours, temperatures) - BASE_C, 0.0)
    warmth = np.concatenate(([0.0], np.cumsum(np.diff(inside) * (excess[:-1] + excess[1:]) / 48.0)))
    if until > inside[-1]:
        rise = max(future_c - BASE_C, 0.0) * (until - inside[-1]) / 24.0
        return np.append(inside, until), np.append(warmth, warmth[-1] + rise)
    return inside, warmth


def _length(x: Array, parameters: Array) -> Array:
    """A lag, then a straight line, with a soft knee between them, slowing at the end.

    x: thermal time, and whether it is counted in classes: the shortest class counts as an eighth, however short.
    """
    log_rate, lag = parameters
    length = np.exp(log_rate) * SOFTLY_C_D * np.logaddexp(0.0, (x[0] - lag) / SOFTLY_C_D)
    slowed = LONGEST - SLOWS_OVER * np.logaddexp(0.0, (LONGEST - length) / SLOWS_OVER)
    return np.asarray(np.where(x[1] > 0.0, SHORTEST + BLUR * np.logaddexp(0.0, (slowed - SHORTEST) / BLUR), slowed))


def _strays(x: Array) -> tuple[Array, Array]:
    return x[0], -WANDERS * np.expm1(-x[0] / 20.0)


KERNEL = Kernel((Wander(_strays, WANDERS_OVER_C_D),))
