"""The uptake of water in the steep: a Weibull curve in effective wet time, learned from the batch's own weighings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np

from app.judgement.facts.shapes import Weighing
from app.judgement.forecasts.band import Z80, Array
from app.judgement.forecasts.course import BEYOND_H, Clock, Stretch, clock_of, planned_course, steep_course
from app.judgement.forecasts.priors import from_lot, uptake_prior
from app.judgement.grain.charges import grain_at
from app.judgement.grain.moisture_samples import MoistureSample, determined
from app.judgement.history.history import History
from app.judgement.programmes.programme import Programme
from app.science.fitting import Drift, Kernel, Posterior, Prior, Wander, fit_curve

LEARNED = 6
WANDERS_DB = 0.02
WANDERS_OVER = 0.5
"""How far grain strays from its curve, kg/kg dry basis, and over which change of log effective hours it does; set on
made-up lots, see the backtest, and on the first set of the bench of truth."""

AT_ONCE_DB, AT_ONCE_H = 0.04, 0.02
"""The skins fill at once, kg/kg dry basis: 0.045 in wheat at 22 °C (Becker 1960, Cereal Chem. 37:309, abstract), here a
little less, for husks and cooler water; within a minute or two: from memory."""

PLAN_OFF_DB, PLAN_BENDS_DB = 0.06, 0.04
"""A plan is the course of such grain as its author knew: what is steeped by it may be off from all of it alike, by
two points of moisture, and from each of its steps, by one. From memory."""

PLAN_TELLS = {"log_hours": 1.0}
PLAN_HARDLY_TELLS = 0.05
"""It says how fast its grain is thought to take up water, and hardly by which curve: that, each parameter's share of
its spread, is the species'. Taken for more, each programme made another curve of the very same lot, and none of them
the published ones. From memory."""

REST_DRIFTS_DB = 0.005
"""What a rest does beside an even share of an immersion, for each root of an effective hour in it: the film dries off,
or is drawn in and gone."""

LEAST_SD_DB = 0.004
AFTER_CAST = timedelta(minutes=45)
ASSUMED_WB = 0.12
DETERMINED = frozenset({"test_bag", "charge_weighing", "tested"})


@dataclass(frozen=True, eq=False)
class UptakeFit:
    """The steep as far as it is known. end_h: the hour of the cast, None while it goes on.

    shared_db: the standard uncertainty that all its weighings have alike, kg/kg dry basis, beside the posterior's.
    """

    posterior: Posterior
    course: tuple[Stretch, ...]
    clock: Clock
    initial_wb: float
    end_h: float | None
    weighings: int
    shared_db: float

    def band(self, hours: Array, course: Sequence[Stretch] | None = None) -> tuple[Array, Array, Array]:
        """Moisture, wet basis, at hours from first water; along another course than the logged one, where given."""
        mean, sd = self.posterior.predict(_columns(clock_of(course) if course else self.clock, hours))
        sd = np.hypot(sd, self.shared_db)
        central, low, high = (np.maximum(mean + z * sd, 0.0) for z in (0.0, -Z80, Z80))
        start = self.initial_wb / (1.0 - self.initial_wb)
        return _wb(start + central), _wb(start + low), _wb(start + high)

    def effective_h(self, hour: float, course: Sequence[Stretch] | None = None) -> float:
        """Hours under water of the reference that would have done as much."""
        columns = _columns(clock_of(course) if course else self.clock, np.array([hour]))
        return float(_effective(columns, *_counts(self.posterior.parameters))[0])

    def state(self, hour: float) -> tuple[float, float]:
        """Moisture at an hour, wet basis, and its standard uncertainty."""
        central, low, high = self.band(np.array([hour]))
        return float(central[0]), float(high[0] - low[0]) / (2.0 * Z80)

    def shared_wb(self, hour: float) -> float:
        """The same as a fraction wet basis, at the moisture of an hour."""
        return self.shared_db * (1.0 - self.state(hour)[0]) ** 2

    def kept_to(self, course: Sequence[Stretch], end_h: float, moisture_wb: float) -> UptakeFit:
        """The same, where the steep is known to be kept to a plan of this course that ends at a moisture."""
        told, start = self.posterior, self.initial_wb / (1.0 - self.initial_wb)
        end = _columns(clock_of(course), np.array([end_h]))
        gain = np.array([moisture_wb / (1.0 - moisture_wb) - start])
        known = Prior(told.prior.names, told.parameters, told.covariance)
        kept = fit_curve(_gain, known, Kernel(()), end, gain, np.array([PLAN_OFF_DB]))
        return replace(self, posterior=told.about(kept.parameters, kept.covariance))

    @property
    def limit_wb(self) -> float:
        """Where it levels off if it is left under water for ever."""
        gain = float(np.exp(self.posterior.parameters[0]))
        return float(_wb(np.array(self.initial_wb / (1.0 - self.initial_wb) + gain)))

    @property
    def air_share(self) -> float:
        return float(np.clip(self.posterior.parameters[3], 0.02, 1.0))


def fit_uptake(history: History, warm: UptakeFit | None = None) -> UptakeFit | None:
    """None where there was no water yet."""
    course = steep_course(history)
    zero = history.first_water_at
    if not course or zero is None:
        return None
    clock = warm.clock if warm is not None and warm.course == course else clock_of(course)
    end_h = None if course[-1].end_h >= course[-1].start_h + BEYOND_H else course[-1].end_h
    initial = initial_moisture_wb(history)
    weighed = weighed_in_steep(history, zero, end_h)
    values = np.array([each.moisture_wb for each in weighed])
    noise = np.array([each.own_sd for each in weighed])
    hours = np.array([history.hour(each.at) for each in weighed])
    if end_h is not None:
        hours = np.minimum(hours, end_h)
    prior = from_lot(programme_prior(history.programme_at(zero), history.batch.species), history.prior, "uptake")
    posterior = fit_curve(
        _gain,
        prior,
        KERNEL,
        _columns(clock, hours),
        values / (1.0 - values) - initial / (1.0 - initial),
        np.maximum(noise / (1.0 - values) ** 2, LEAST_SD_DB),
        warm.posterior if warm else None,
    )
    return UptakeFit(posterior, course, clock, initial, end_h, len(weighed), _shared_db(weighed))


def _shared_db(weighed: Sequence[MoistureSample]) -> float:
    """What the weighings have alike; each test by itself says how far they are off together."""
    bags = [each for each in weighed if each.shared_sd]
    if not bags:
        return 0.0
    shared = float(np.mean([each.shared_sd / (1.0 - each.moisture_wb) ** 2 for each in bags]))
    tests = [each.sd / (1.0 - each.moisture_wb) ** 2 for each in weighed if each.basis == "tested"]
    return float(1.0 / np.sqrt(1.0 / shared**2 + sum(1.0 / sd**2 for sd in tests)))


def initial_moisture_wb(history: History) -> float:
    """Of the grain as it went into the water: as charged, else as the bag was filled, else as planned."""
    start = grain_at(history, history.first_water_at) if history.first_water_at else None
    if start is not None:
        return start.moisture_wb
    for bag in history.of_shape(Weighing, "test_bag_start"):
        if bag.moisture_wb is not None:
            return bag.moisture_wb
    programme = history.programme
    planned = programme.setting("charge_moisture_wb") if programme else None
    return planned or ASSUMED_WB


def weighed_in_steep(history: History, zero: datetime, end_h: float | None) -> list[MoistureSample]:
    """What the curve is fitted to: determinations of the steep, and of just after the cast. zero: first water."""
    until = None if end_h is None else zero + timedelta(hours=end_h) + AFTER_CAST
    return [
        each
        for each in determined(history)
        if each.basis in DETERMINED and each.at > zero and (until is None or each.at <= until)
    ]


@lru_cache(maxsize=64)
def programme_prior(programme: Programme | None, species: str) -> Prior:
    """What the species and the programme's plan tell before anything is weighed."""
    prior = uptake_prior(species)
    course = planned_course(programme) if programme else ()
    if programme is None or not course:
        return prior
    points = [point for point in programme.planned_curve("moisture_wb") if 0.0 < point[0] <= course[-1].end_h]
    initial = programme.setting("charge_moisture_wb") or ASSUMED_WB
    values = np.array([value for _, value in points])
    gains = values / (1.0 - values) - initial / (1.0 - initial)
    columns = _columns(clock_of(course), np.array([hour for hour, _ in points]))
    shares = np.array([PLAN_TELLS.get(name, PLAN_HARDLY_TELLS) for name in prior.names])
    near = Prior(prior.names, prior.mean, prior.covariance * np.outer(shares, shares))
    told = fit_curve(_gain, near, PLAN_KERNEL, columns, gains, np.full(len(gains), PLAN_BENDS_DB))
    return Prior(prior.names, told.parameters, told.covariance + prior.covariance - near.covariance)


def _columns(clock: Clock, hours: Array) -> Array:
    return clock.at(hours) if len(hours) else np.zeros((5, 0))


def _effective(x: Array, share: float, more_kj: float, anew_counts: float) -> Array:
    wet, rest, anew, wet_slope, rest_slope = x
    return np.asarray(
        (wet + anew_counts * anew) * np.exp(more_kj * wet_slope) + share * rest * np.exp(more_kj * rest_slope)
    )


def _gain(x: Array, parameters: Array) -> Array:
    """What the skins take at once, and after it a Weibull gain at effective hours, as `science.uptake.weibull_gain`."""
    hours = _effective(x, *_counts(parameters))
    gain, scale_h, shape = weibull_of(parameters)
    skins = -AT_ONCE_DB * np.expm1(-hours / AT_ONCE_H)
    return np.asarray(skins - (gain - AT_ONCE_DB) * np.expm1(-((hours / scale_h) ** shape)))


def weibull_of(parameters: Array) -> tuple[float, float, float]:
    """The gain in the end, kg/kg dry basis, its scale in effective hours, and its shape."""
    log_gain, log_hours, log_shape = parameters[:3]
    return np.exp(np.clip(log_gain, -1.2, 0.1)), np.exp(log_hours), np.exp(np.clip(log_shape, -1.5, 0.7))


def _counts(parameters: Array) -> tuple[float, float, float]:
    """What an hour of air rest counts, how far the activation energy is from that of the clock, kJ/mol, and by how
    much more an hour counts that begins anew after a rest."""
    share, activation, anew = parameters[3:]
    return min(max(share, 0.02), 1.0), activation - 40.0, max(anew, 0.0)


def _strays(x: Array) -> tuple[Array, Array]:
    """By the logarithm of the effective hours; at first water there is nothing to stray from."""
    hours = _effective(x, 0.3, 0.0, 0.0)
    return np.log1p(hours), -WANDERS_DB * np.expm1(-hours / AT_ONCE_H)


def _all_alike(x: Array) -> tuple[Array, Array]:
    return np.zeros(x.shape[-1]), np.full(x.shape[-1], PLAN_OFF_DB)


PLAN_KERNEL = Kernel((Wander(_all_alike, 1.0),))
KERNEL = Kernel((Wander(_strays, WANDERS_OVER), Drift(lambda x: x[1], REST_DRIFTS_DB)))


def _wb(moisture_db: Array) -> Array:
    return np.asarray(moisture_db / (1.0 + moisture_db))
