"""A curve fitted to what was measured, with a prior, and with what the curve itself does not know.

Each forecast has a curve with a few parameters, known beforehand as a normal distribution. No curve is true: beside the
noise of each measurement there is a slow wandering of the grain about its curve, which is taken as a Gaussian process
(Rasmussen & Williams 2006, section 2.7 [M]): one that forgets itself over a length (Ornstein–Uhlenbeck), or one that
never comes back (Brownian motion). So a forecast leans on the last measurements, and widens with the distance from
them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from app.science._checks import Array

Model = Callable[[Array, Array], Array]
"""model(x, parameters): the curve at the columns of x."""
Spread = Callable[[Array], tuple[Array, Array]]

_FAR_START = 1.5
_REACH = 4.0
_MOST_STEPS = 200
_SMALL_GAIN = 1e-4
_TINY = 1e-5
_TOO_FAR, _CLOSER, _MOST_LOOKS = 1e-2, 1e-3, 4


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
        shared = np.outer(near_sd, far_sd) * np.exp(-np.abs(near[:, None] - far[None, :]) / self.length)
        if self.apart is not None:
            shared = np.where(self.apart(first)[:, None] == self.apart(second)[None, :], shared, 0.0)
        return np.asarray(shared)

    def variance(self, x: Array) -> Array:
        own = self.of(x)[1] ** 2
        return own if self.apart is None else np.where(np.isnan(self.apart(x)), 0.0, own)


@dataclass(frozen=True, eq=False)
class Drift:
    """A wandering that never comes back (Brownian motion). of: how far along a column of x is; per: for its root.

    scale: what a drift by one comes to at a column of x; 1 where there is none.
    """

    of: Callable[[Array], Array]
    per: float
    scale: Callable[[Array], Array] | None = None

    def covariance(self, first: Array, second: Array) -> Array:
        shared = self.per**2 * np.minimum(self.of(first)[:, None], self.of(second)[None, :])
        return np.asarray(shared if self.scale is None else shared * np.outer(self.scale(first), self.scale(second)))

    def variance(self, x: Array) -> Array:
        own = self.per**2 * self.of(x)
        return np.asarray(own if self.scale is None else own * self.scale(x) ** 2)


@dataclass(frozen=True, eq=False)
class Kernel:
    """Wanderings that know nothing of each other, added up; of none, the curve is taken as true."""

    wanders: tuple[Wander | Drift, ...]

    def covariance(self, first: Array, second: Array) -> Array:
        none = np.zeros((first.shape[-1], second.shape[-1]))
        return sum((wander.covariance(first, second) for wander in self.wanders), start=none)

    def variance(self, x: Array) -> Array:
        return sum((wander.variance(x) for wander in self.wanders), start=np.zeros(x.shape[-1]))


@dataclass(frozen=True, eq=False)
class Prior:
    """What is known of the parameters before anything is measured: a normal distribution."""

    names: tuple[str, ...]
    mean: Array
    covariance: Array

    @classmethod
    def independent(cls, **parameters: tuple[float, float]) -> Prior:
        """name=(mean, standard uncertainty)."""
        means, sds = zip(*parameters.values(), strict=True)
        return cls(tuple(parameters), np.array(means, dtype=np.float64), np.diag(np.square(sds)).astype(np.float64))

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
        return is_same_law and all(np.array_equal(*pair) for pair in ((self.x, x), (self.y, y), (self.y_sd, y_sd)))

    def about(self, parameters: Array, covariance: Array) -> Posterior:
        """The same measurements, where the parameters are known otherwise."""
        moved = moved_by(self.model, self.x, parameters, covariance)
        short = self.y - self.model(self.x, parameters)
        return replace(self, parameters=parameters, covariance=covariance, residuals=short, moved=moved)

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


def fit_curve(
    model: Model,
    prior: Prior,
    kernel: Kernel,
    x: Array,
    y: Sequence[float] | Array,
    y_sd: Sequence[float] | Array,
    earlier: Posterior | None = None,
) -> Posterior:
    """Fit a curve to measurements, given what was known of its parameters beforehand.

    The mode of the posterior, found by damped Gauss–Newton steps from the middle of the prior, or from an earlier fit;
    where that gets stuck, from a start to either side along each parameter as well, and the best end is taken. It stops
    when a step gains less than 0.0001 of the sum of squares in standard uncertainties: what is left to gain is small
    beside the uncertainty. Parameters stay within 4 standard uncertainties of the prior. Nothing is random.

    Args:
        model: function of x and the parameters; must take arrays.
        prior: normal distribution of the parameters, in their own units.
        kernel: how the curve wanders; `Kernel(())` if it does not.
        x: where y was measured, a column for each measurement.
        y: measured values.
        y_sd: standard uncertainty of each, in y's unit, more than 0.
        earlier: a fit to begin from; it is the answer if it was to the very same.
    Returns:
        `Posterior`: parameters, their covariance, and what predicts the curve with its wandering anywhere.
    Source: damped least squares (Levenberg 1944; Marquardt 1963) [M]; covariance (JᵀV⁻¹J + P⁻¹)⁻¹ with J the slopes,
        V the covariance of the noise and the wandering, P that of the prior [D].
    Check: NIST StRD nonlinear regression [P], priors 100,000 times as wide as NIST's starts, no wandering: at least so
        many digits right of the worst parameter (6: 6 or more; 0: not reached), from the far start/from the near
        start. Bennett5 0/0, BoxBOD 3/3, Chwirut1 4/4, Chwirut2 4/4, DanWood 6/6, ENSO 1/1, Eckerle4 6/5, Gauss1 6/6,
        Gauss2 6/6, Gauss3 6/6, Hahn1 4/5, Kirby2 4/5, Lanczos1 6/6, Lanczos2 4/4, Lanczos3 4/4, MGH09 2/2, MGH10 0/0,
        MGH17 5/5, Misra1a 6/6, Misra1b 6/6, Misra1c 6/6, Misra1d 6/6, Nelson 5/4, Rat42 5/4, Rat43 3/3, Roszman1 4/4,
        Thurber 2/3. What is reached is within 0.03 of a certified standard error, but for Lanczos1, which has no noise.
    """
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
    end = min(ends, key=lambda end: end.cost)
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
        information, apart = np.eye(len(steps)), np.full(len(steps), _TINY)
        for _ in range(_MOST_STEPS):
            slopes, apart = self._slopes(steps, apart)
            information = slopes.T @ slopes + np.eye(len(steps))
            downhill = slopes.T @ (self.values - self.curve(steps)) - steps
            lower = self._lower(steps, cost, information, downhill, damping)
            if lower is None:
                break
            gained = cost - lower[1]
            steps, cost, damping = lower
            if gained < _SMALL_GAIN:
                is_settled = True
                break
        return _End(steps, np.asarray(np.linalg.inv(information), dtype=np.float64), cost, is_settled)

    def _lower(
        self, steps: Array, cost: float, information: Array, downhill: Array, damping: float
    ) -> tuple[Array, float, float] | None:
        """A step that does not raise the sum of squares, shorter and shorter; with the damping for the next one."""
        while damping < 1e8:
            move = np.linalg.solve(information + damping * np.diag(np.diag(information)), downhill)
            further = np.clip(steps + move, -_REACH, _REACH)
            new_cost = self.cost(further)
            if new_cost <= cost:
                return further, new_cost, damping / 10.0
            damping *= 2.0
        return None

    def search(self) -> list[_End]:
        """From a start to either side of the prior's middle along each parameter, where the first start got stuck."""
        far = _FAR_START * np.eye(len(self.mean))
        return [self.descend(start) for start in (np.zeros(len(self.mean)), *far, *-far)]

    def _slopes(self, steps: Array, apart: Array) -> tuple[Array, Array]:
        """The slopes of the curve, and how far apart the two points of each were in the end.

        Where the prior is so wide that a small part of it moves the curve by more than the noise, that part is too
        large for a slope: the points go closer.
        """
        here = self.curve(steps)
        for _ in range(_MOST_LOOKS):
            moved = np.stack([self.curve(steps + step) - here for step in np.diag(apart)], axis=1)
            felt = np.linalg.norm(moved, axis=0)
            if np.all(felt <= _TOO_FAR):
                break
            apart = np.where(felt <= _TOO_FAR, apart, apart * np.where(np.isfinite(felt), _CLOSER / felt, _TINY))
        return moved / apart, apart


def moved_by(model: Model, x: Array, parameters: Array, covariance: Array) -> Array:
    """How far a curve goes with one standard uncertainty of what is not known of its parameters.

    A whole standard uncertainty, and not a slope: past a break point the curve bends, and a slope would not see it.

    Args:
        model: function of x and the parameters.
        x: where to look, a column for each place.
        parameters: the middle.
        covariance: of the parameters.
    Returns:
        a row for each place and a column for each independent part, in y's unit; the squares of a row add up to the
        variance of the curve there.
    Source: half of the difference along each column of the covariance's Cholesky factor [D].
    Check: for a straight line the textbook √(s²(1/n + (x − x̄)²/Σ(x − x̄)²)) [D].
    """
    root = np.linalg.cholesky(covariance + 1e-15 * np.eye(len(parameters)))
    columns = [(model(x, parameters + part) - model(x, parameters - part)) / 2.0 for part in root.T]
    return np.stack(columns, axis=1)
