"""Moisture where no water is taken up and none is driven off: on the floor, in the stew, and as malt.

It drifts slowly and wanders a little; each spray lifts it by about what was sprayed on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from app.judgement.forecasts.band import Z80, Array

DRIFT_PER_H = (-0.00008, 0.00009)
WANDERS_PER_ROOT_H = 0.0008
"""From memory: a bed of 43 % loses a point in five days, ± 2, and wanders by ± 0.8 of a point in a day (95 %)."""

STILL_PER_ROOT_H = 0.0003
"""Of grain in the sack or as malt, from memory."""

SPRAY_STAYS = (0.7, 0.2)
"""What share of the water of a spray the grain takes up, from memory: the rest runs off or dries up."""

UNKNOWN_SPRAY_WB = (0.007, 0.006)


@dataclass(frozen=True)
class Spray:
    """lift_wb: what it would bring if all of it stayed; None where nobody said how much it was."""

    hour: float
    lift_wb: float | None


@dataclass(frozen=True, eq=False)
class Hold:
    """From an hour on, at a moisture with its standard uncertainty; then what was determined since.

    shared_sd: the part of start_sd that weighings since have alike with it; apart: 1 for each determination that has no
    part in it, as a test, else 0. beyond: what those weighings have alike with one another beyond the start, as dry
    matter that was lost on the floor: no number of them makes it less.
    """

    start_h: float
    start_wb: float
    start_sd: float
    hours: Array
    values: Array
    sds: Array
    apart: Array
    beyond: Array
    shared_sd: float = 0.0
    sprays: tuple[Spray, ...] = ()
    drifts: bool = True

    def predict(self, hours: Array) -> tuple[Array, Array]:
        mean, variance = self._mean(hours), self._variance(hours)
        if len(self.values):
            spread = self._covariance(self.hours, self.hours, np.outer(self.apart, self.apart))
            spread += np.outer(self.beyond, self.beyond) + np.diag(self.sds**2)
            across = self._covariance(hours, self.hours, np.broadcast_to(self.apart, (len(hours), len(self.apart))))
            weight = np.linalg.solve(spread, across.T).T
            mean = mean + weight @ (self.values - self._mean(self.hours))
            variance -= np.einsum("ij,ij->i", weight, across)
        return mean, np.sqrt(np.maximum(variance, 1e-12))

    def band(self, hours: Array) -> tuple[Array, Array, Array]:
        mean, sd = self.predict(hours)
        low, central, high = (np.clip(mean + z * sd, 0.0, 0.99) for z in (-Z80, 0.0, Z80))
        return central, low, high

    def state(self, hour: float) -> tuple[float, float]:
        mean, sd = self.predict(np.array([hour]))
        return float(np.clip(mean[0], 0.0, 0.99)), float(sd[0])

    def _mean(self, hours: Array) -> Array:
        since = np.maximum(hours - self.start_h, 0.0)
        mean = self.start_wb + (DRIFT_PER_H[0] * since if self.drifts else 0.0 * since)
        for spray in self.sprays:
            mean = mean + np.where(hours >= spray.hour, _lift(spray)[0], 0.0)
        return mean

    def _variance(self, hours: Array) -> Array:
        since = np.maximum(hours - self.start_h, 0.0)
        drift, wander = self._unsure
        lifts = (np.where(hours >= spray.hour, _lift(spray)[1] ** 2, 0.0) for spray in self.sprays)
        return np.asarray(self.start_sd**2 + (drift * since) ** 2 + wander**2 * since + sum(lifts))

    @property
    def _unsure(self) -> tuple[float, float]:
        return (DRIFT_PER_H[1], WANDERS_PER_ROOT_H) if self.drifts else (0.0, STILL_PER_ROOT_H)

    def _covariance(self, first: Array, second: Array, apart: Array) -> Array:
        """apart: 1 where both are free of what weighings have alike. Grain itself is."""
        since, other = (np.maximum(each - self.start_h, 0.0) for each in (first, second))
        drift, wander = self._unsure
        covariance = self.start_sd**2 - self.shared_sd**2 * (1.0 - apart) + drift**2 * np.outer(since, other)
        covariance = covariance + wander**2 * np.minimum(since[:, None], other[None, :])
        for spray in self.sprays:
            both = np.outer(first >= spray.hour, second >= spray.hour)
            covariance = covariance + _lift(spray)[1] ** 2 * both
        return np.asarray(covariance)


def _lift(spray: Spray) -> tuple[float, float]:
    if spray.lift_wb is None:
        return UNKNOWN_SPRAY_WB
    return SPRAY_STAYS[0] * spray.lift_wb, SPRAY_STAYS[1] * spray.lift_wb


class Told(NamedTuple):
    """A determination: its hour, moisture and standard uncertainty, and the part of that which weighings have alike."""

    hour: float
    moisture_wb: float
    sd: float
    shared_sd: float = 0.0


TOO_FAR_SDS = 4.0
"""A determination this far from what was expected is no wandering: something happened that nobody wrote down."""


def holds(
    start: Told,
    determined: Sequence[Told],
    sprays: Sequence[Spray] = (),
    *,
    drifts: bool = True,
) -> list[Hold]:
    """The same as `hold`, begun anew at each determination that what went before could not lead to."""
    held: list[Hold] = []
    since: list[Told] = []
    current = hold(start, (), sprays, drifts=drifts)
    for each in determined:
        mean, mean_sd = current.state(each.hour)
        if abs(each.moisture_wb - mean) > TOO_FAR_SDS * float(np.hypot(mean_sd, max(each.sd, 0.0015))):
            held.append(current)
            start, since = each, []
        else:
            since.append(each)
        later = [spray for spray in sprays if spray.hour >= start.hour]
        current = hold(start, since, later, drifts=drifts)
    return [*held, current]


def hold(start: Told, determined: Sequence[Told], sprays: Sequence[Spray] = (), *, drifts: bool = True) -> Hold:
    """From a start, and what was determined since."""
    columns = (np.array([each[place] for each in determined], dtype=np.float64) for place in range(4))
    hours, values, sds, shared = columns
    # What they have alike with the start is in it already.
    alike = np.minimum(shared, start.shared_sd)
    own = np.sqrt(np.maximum(sds**2 - shared**2, 0.0))
    apart = np.where(shared > 0.0, 0.0, 1.0)
    return Hold(
        start.hour,
        start.moisture_wb,
        start.sd,
        hours,
        values,
        np.maximum(own, 0.0015),
        apart,
        np.sqrt(shared**2 - alike**2),
        min(start.shared_sd, start.sd),
        tuple(sprays),
        drifts,
    )
