"""A curve fitted to what was measured, with a prior, and with what the curve itself does not know.

Each forecast has a curve with a few parameters. No curve is true: beside the noise of each weighing there is a slow
wandering of the grain about its curve. The wandering is taken as a Gaussian process (Rasmussen & Williams 2006,
section 2.7, from memory), so that a forecast leans on the last weighings, and widens with the distance from them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from app.judgement.forecasts.band import Array

Model = Callable[[Array, Array], Array]
"""model(x, parameters): the curve at the columns of x."""
Spread = Callable[[Array], tuple[Array, Array]]


_FAR_START = 1.5
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
    """A wandering that never comes back (Brownian motion). of: how far along a column of x is; per: for its root.

    scale: what a drift by one comes to at a column of x; 1 where there is none.
    """

    of: Callable[[Array], Array]
    per: float
    scale: Callable[[Array], Array] | None = None

    def covariance(self, first: Array, second: Array) -> Array:
        found = self.per**2 * np.minimum(self.of(first)[:, None], self.of(second)[None, :])
        return np.asarray(found if self.scale is None else found * np.outer(self.scale(first), self.scale(second)))

    def variance(self, x: Array) -> Array:
        found = self.per**2 * self.of(x)
        return np.asarray(found if self.scale is None else found * self.scale(x) ** 2)


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

    def is_same(self, other: Prior) -> bool:
        return np.array_equal(self.mean, other.mean) and np.array_equal(self.covariance, other.covariance)

    def about(self, mean: Array) -> Prior:
        """As wide, about another middle."""
        return Prior(self.names, mean, self.covariance)


@dataclass(frozen=True, eq=False)
class Posterior:
    """What is known after the measurements. x: a column for each of them; weight: what each says of the wandering."""

    model: Model
    kernel: Kernel
    prior: Prior
    y: Array
    y_sd: Array
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

    def is_of(self, model: Model, prior: Prior, kernel: Kernel, x: Array, y: Array, y_sd: Array) -> bool:
        """Whether it was learned from the very same: then there is nothing to learn again."""
        is_same_law = self.model is model and self.kernel is kernel and self.prior.is_same(prior)
        return is_same_law and all(np.array_equal(*each) for each in ((self.x, x), (self.y, y), (self.y_sd, y_sd)))

    def predict(self, x: Array) -> tuple[Array, Array]:
        """The curve with its wandering at these columns, and the standard uncertainty of it."""
        mean, moved = self.model(x, self.parameters), moved_by(self.model, x, self.parameters, self.covariance)
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
        gained, axes = np.linalg.eigh(after - before)
        # Where the level was cut off, some direction may be known no better than before: then nothing is told of it.
        precision = (axes * np.maximum(gained, 0.0)) @ axes.T
        weighted = after @ self.parameters[:count] - before @ self.prior.mean[:count]
        weighted = (axes * (gained > 0.0)) @ axes.T @ weighted
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
    earlier: Posterior | None = None,
) -> Posterior:
    """Fit the curve to y at the columns of x. earlier: a fit to begin from; the answer, if it was to the same."""
    values, noise = np.asarray(y, dtype=np.float64), np.asarray(y_sd, dtype=np.float64)
    if earlier is not None and earlier.is_of(model, prior, kernel, x, values, noise):
        return earlier
    if not len(values):
        return _unmeasured(model, prior, kernel, x)
    spread = kernel.covariance(x, x) + np.diag(noise**2)
    whiten = np.linalg.inv(np.linalg.cholesky(spread))
    root: Array = np.asarray(np.linalg.cholesky(prior.covariance), dtype=np.float64)
    problem = _Whitened(model, prior.mean, root, x, whiten, whiten @ values)
    begin = np.zeros(len(prior.mean))
    if earlier is not None and earlier.parameters.shape == prior.mean.shape:
        begin = np.clip(np.linalg.solve(root, earlier.parameters - prior.mean), -_REACH, _REACH)
    ends = [problem.descend(begin)]
    if not ends[0].is_settled:
        ends += problem.search()
    end = min(ends, key=lambda each: each.cost)
    best, spread_of_best = problem.parameters(end.steps), np.asarray(root @ end.covariance @ root.T)
    return Posterior(
        model=model,
        kernel=kernel,
        prior=prior,
        y=values,
        y_sd=noise,
        parameters=best,
        covariance=spread_of_best,
        x=x,
        residuals=values - model(x, best),
        weight=whiten.T @ whiten,
        moved=moved_by(model, x, best, spread_of_best),
        starts=len(ends),
    )


def _unmeasured(model: Model, prior: Prior, kernel: Kernel, x: Array) -> Posterior:
    none, nothing = np.zeros(0), np.zeros((0, len(prior.mean)))
    return Posterior(model, kernel, prior, none, none, prior.mean, prior.covariance, x, none, np.zeros((0, 0)), nothing)


class _End(NamedTuple):
    """Where a descent came to. is_settled: not stuck at an edge, and not out of steps."""

    steps: Array
    covariance: Array
    cost: float
    is_settled: bool


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

    def descend(self, steps: Array) -> _End:
        """Damped Gauss–Newton from one start: with a prior it nearly always settles."""
        cost, damping, is_settled = self.cost(steps), 1e-3, False
        information = np.eye(len(steps))
        for _ in range(_MOST_STEPS):
            slopes = self._slopes(steps)
            information = slopes.T @ slopes + np.eye(len(steps))
            downhill = slopes.T @ (self.values - self.curve(steps)) - steps
            found = self._lower(steps, cost, information, downhill, damping)
            if found is None:
                break
            further, new_cost, damping = found
            moved, gained = float(np.max(np.abs(further - steps))), cost - new_cost
            steps, cost = further, new_cost
            if moved < _SMALL_STEP or gained < _SMALL_GAIN:
                is_settled = True
                break
        return _End(steps, np.asarray(np.linalg.inv(information), dtype=np.float64), cost, is_settled)

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

    def search(self) -> list[_End]:
        """From a start to either side of the prior's middle along each parameter, where the first start got stuck."""
        far = _FAR_START * np.eye(len(self.mean))
        return [self.descend(start) for start in (np.zeros(len(self.mean)), *far, *-far)]

    def _slopes(self, steps: Array) -> Array:
        here = self.curve(steps)
        moved = [self.curve(steps + _TINY * each) - here for each in np.eye(len(steps))]
        return np.stack(moved, axis=1) / _TINY


def moved_by(model: Model, x: Array, parameters: Array, covariance: Array) -> Array:
    """How far the curve goes with one standard uncertainty of what is not known of the parameters, a column for each.

    A whole standard uncertainty, and not a slope: past a break point the curve bends, and a slope would not see it.
    """
    root = np.linalg.cholesky(covariance + 1e-15 * np.eye(len(parameters)))
    columns = [(model(x, parameters + each) - model(x, parameters - each)) / 2.0 for each in root.T]
    return np.stack(columns, axis=1)
