"""A curve fitted to what was measured, with a prior, and with what the curve itself does not know.

Each forecast has a curve with a few parameters. No curve is true: beside the noise of each weighing there is a slow
wandering of the grain about its curve. The wandering is taken as a Gaussian process (Rasmussen & Williams 2006,
section 2.7, from memory), so that a forecast leans on the last weighings, and widens with the distance from them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from app.judgement.forecast_band import Array
from app.science.fitting import fit

Model = Callable[[Array, Array], Array]
"""model(x, parameters): the curve at the columns of x."""
Spread = Callable[[Array], tuple[Array, Array]]


_FROM = 10.0
_REACH = 4.0
_MOST_STEPS = 30
_SMALL_STEP = 1e-3
_SMALL_GAIN = 1e-4
_TINY = 1e-5


@dataclass(frozen=True, eq=False)
class Wander:
    """A wandering that forgets itself over a length (Ornstein–Uhlenbeck).

    of: at columns of x, how far along each is and its standard uncertainty; apart: what keeps columns of different
    value from having anything to do with each other (NaN: nothing at all has).
    """

    of: Spread
    length: float
    apart: Callable[[Array], Array] | None = None

    def covariance(self, first: Array, second: Array) -> Array:
        (near, near_sd), (far, far_sd) = self.of(first), self.of(second)
        found = np.outer(near_sd, far_sd) * np.exp(-np.abs(near[:, None] - far[None, :]) / self.length)
        if self.apart is not None:
            found = np.where(self.apart(first)[:, None] == self.apart(second)[None, :], found, 0.0)
        return np.asarray(found)

    def variance(self, x: Array) -> Array:
        found = self.of(x)[1] ** 2
        return found if self.apart is None else np.where(np.isnan(self.apart(x)), 0.0, found)


@dataclass(frozen=True, eq=False)
class Drift:
    """A wandering that never comes back (Brownian motion). of: how far along a column of x is; per: for its root."""

    of: Callable[[Array], Array]
    per: float

    def covariance(self, first: Array, second: Array) -> Array:
        return np.asarray(self.per**2 * np.minimum(self.of(first)[:, None], self.of(second)[None, :]))

    def variance(self, x: Array) -> Array:
        return np.asarray(self.per**2 * self.of(x))


@dataclass(frozen=True, eq=False)
class Kernel:
    """Wanderings that know nothing of each other, added up."""

    wanders: tuple[Wander | Drift, ...]

    def covariance(self, first: Array, second: Array) -> Array:
        return np.asarray(sum(each.covariance(first, second) for each in self.wanders))

    def variance(self, x: Array) -> Array:
        return np.asarray(sum(each.variance(x) for each in self.wanders))


@dataclass(frozen=True, eq=False)
class Prior:
    """What is known of the parameters before anything is measured: a normal distribution."""

    names: tuple[str, ...]
    mean: Array
    covariance: Array

    @classmethod
    def independent(cls, **each: tuple[float, float]) -> Prior:
        """name=(mean, standard uncertainty)."""
        means, sds = zip(*each.values(), strict=True)
        return cls(tuple(each), np.array(means, dtype=np.float64), np.diag(np.square(sds)).astype(np.float64))

    def and_also(self, other: Prior) -> Prior:
        """Two priors that know nothing of each other, as one."""
        size = len(self.names)
        covariance = np.zeros((size + len(other.names),) * 2)
        covariance[:size, :size], covariance[size:, size:] = self.covariance, other.covariance
        return Prior(self.names + other.names, np.concatenate((self.mean, other.mean)), covariance)

    def about(self, mean: Array) -> Prior:
        """As wide, about another middle."""
        return Prior(self.names, mean, self.covariance)


@dataclass(frozen=True, eq=False)
class Posterior:
    """What is known after the measurements. x: a column for each of them; weight: what each says of the wandering."""

    model: Model
    kernel: Kernel
    prior: Prior
    parameters: Array
    covariance: Array
    x: Array
    residuals: Array
    weight: Array
    moved: Array
    starts: int = 1

    @property
    def n(self) -> int:
        return len(self.residuals)

    def predict(self, x: Array) -> tuple[Array, Array]:
        """The curve with its wandering at these columns, and the standard uncertainty of it."""
        mean, moved = self.model(x, self.parameters), _moved(self.model, x, self.parameters, self.covariance)
        variance = self.kernel.variance(x)
        if self.n:
            shared = self.kernel.covariance(x, self.x)
            across = shared @ self.weight
            mean = mean + across @ self.residuals
            moved = moved - across @ self.moved
            variance -= np.einsum("ij,ij->i", across, shared)
        variance = variance + np.sum(moved**2, axis=1)
        return mean, np.sqrt(np.maximum(variance, 0.0))

    def learned(self, count: int) -> dict[str, Any]:
        """What the measurements alone say of the first so many parameters: plain values, for the lot's next batches."""
        after, before = (np.linalg.inv(each[:count, :count]) for each in (self.covariance, self.prior.covariance))
        precision = after - before
        weighted = after @ self.parameters[:count] - before @ self.prior.mean[:count]
        return {
            "names": list(self.prior.names[:count]),
            "precision": np.round(precision, 9).tolist(),
            "weighted": np.round(weighted, 9).tolist(),
        }


def fit_curve(
    model: Model,
    prior: Prior,
    kernel: Kernel,
    x: Array,
    y: Sequence[float] | Array,
    y_sd: Sequence[float] | Array,
    start: Array | None = None,
) -> Posterior:
    """Fit the curve to y at the columns of x. start: the parameters of an earlier fit, to begin from."""
    values, noise = np.asarray(y, dtype=np.float64), np.asarray(y_sd, dtype=np.float64)
    if not len(values):
        return _unmeasured(model, prior, kernel, x)
    spread = kernel.covariance(x, x) + np.diag(noise**2)
    whiten = np.linalg.inv(np.linalg.cholesky(spread))
    root: Array = np.asarray(np.linalg.cholesky(prior.covariance), dtype=np.float64)
    problem = _Whitened(model, prior.mean, root, x, whiten, whiten @ values)
    begin = np.zeros(len(prior.mean))
    if start is not None and start.shape == prior.mean.shape:
        begin = np.clip(np.linalg.solve(root, start - prior.mean), -_REACH, _REACH)
    steps, covariance, starts = problem.descend(begin) or problem.search(begin)
    best, spread_of_best = problem.parameters(steps), np.asarray(root @ covariance @ root.T)
    return Posterior(
        model=model,
        kernel=kernel,
        prior=prior,
        parameters=best,
        covariance=spread_of_best,
        x=x,
        residuals=values - model(x, best),
        weight=whiten.T @ whiten,
        moved=_moved(model, x, best, spread_of_best),
        starts=starts,
    )


def _unmeasured(model: Model, prior: Prior, kernel: Kernel, x: Array) -> Posterior:
    none, nothing = np.zeros(0), np.zeros((0, len(prior.mean)))
    return Posterior(model, kernel, prior, prior.mean, prior.covariance, x, none, np.zeros((0, 0)), nothing)


@dataclass(frozen=True, eq=False)
class _Whitened:
    """The fit in units of its uncertainties: parameters count from the middle of the prior, residuals all weigh 1."""

    model: Model
    mean: Array
    root: Array
    x: Array
    whiten: Array
    values: Array

    def parameters(self, steps: Array) -> Array:
        return np.asarray(self.mean + self.root @ steps)

    def curve(self, steps: Array) -> Array:
        return np.asarray(self.whiten @ self.model(self.x, self.parameters(steps)))

    def cost(self, steps: Array) -> float:
        short = self.curve(steps) - self.values
        return float(short @ short + steps @ steps)

    def descend(self, steps: Array) -> tuple[Array, Array, int] | None:
        """Damped Gauss–Newton from one start: with a prior it nearly always arrives. None where it does not."""
        cost, damping = self.cost(steps), 1e-3
        for _ in range(_MOST_STEPS):
            slopes = self._slopes(steps)
            information = slopes.T @ slopes + np.eye(len(steps))
            downhill = slopes.T @ (self.values - self.curve(steps)) - steps
            found = self._lower(steps, cost, information, downhill, damping)
            if found is None:
                return None
            further, new_cost, damping = found
            moved, gained = float(np.max(np.abs(further - steps))), cost - new_cost
            steps, cost = further, new_cost
            if moved < _SMALL_STEP or gained < _SMALL_GAIN:
                return steps, np.asarray(np.linalg.inv(information), dtype=np.float64), 1
        return None

    def _lower(
        self, steps: Array, cost: float, information: Array, downhill: Array, damping: float
    ) -> tuple[Array, float, float] | None:
        """A step that does not raise the sum of squares, shorter and shorter; with the damping for the next one."""
        while damping < 1e8:
            move = np.linalg.solve(information + damping * np.eye(len(steps)), downhill)
            further = np.clip(steps + move, -_REACH, _REACH)
            new_cost = self.cost(further)
            if new_cost <= cost:
                return further, new_cost, damping / 10.0
            damping *= 10.0
        return None

    def search(self, steps: Array) -> tuple[Array, Array, int]:
        """From many starts, by scipy. Counted from ten below the middle: a parameter of 0 would look undetermined."""
        found = fit(
            lambda _, *each: self.curve(np.asarray(each) - _FROM),
            np.arange(len(self.values)),
            self.values,
            steps + _FROM,
            bounds=(_FROM - _REACH, _FROM + _REACH),
            priors=[(_FROM, 1.0)] * len(steps),
            y_sd=1.0,
        )
        return found.parameters - _FROM, found.covariance, 1 + found.starts

    def _slopes(self, steps: Array) -> Array:
        here = self.curve(steps)
        moved = [self.curve(steps + _TINY * each) - here for each in np.eye(len(steps))]
        return np.stack(moved, axis=1) / _TINY


def _moved(model: Model, x: Array, parameters: Array, covariance: Array) -> Array:
    """How far the curve goes with one standard uncertainty of what is not known of the parameters, a column for each.

    A whole standard uncertainty, and not a slope: past a break point the curve bends, and a slope would not see it.
    """
    root = np.linalg.cholesky(covariance + 1e-15 * np.eye(len(parameters)))
    columns = [(model(x, parameters + each) - model(x, parameters - each)) / 2.0 for each in root.T]
    return np.stack(columns, axis=1)
