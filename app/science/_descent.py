"""How a fit finds its way down: the checked problem, its slopes, the starts, and the descent from one of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from app.science._checks import Array

Model = Callable[..., Any]
Priors = Mapping[int, tuple[float, float]] | Sequence[tuple[float, float] | None]

_MORE_STARTS = 24
_STEP = float(np.finfo(np.float64).eps) ** (1 / 3)
_SINGULAR = 1e-9


@dataclass(frozen=True, eq=False)
class Problem:
    """A fit made ready: checked arrays, and the residuals and Jacobian in units of their standard uncertainty."""

    model: Model
    x: Array
    y: Array
    start: Array
    low: Array
    high: Array
    prior_mean: Array
    prior_weight: Array
    y_sd: Array | None

    @classmethod
    def checked(
        cls,
        model: Model,
        x: npt.ArrayLike,
        y: npt.ArrayLike,
        start: Sequence[float] | Array,
        bounds: tuple[Any, Any] | None,
        priors: Priors | None,
        y_sd: npt.ArrayLike | None,
    ) -> Problem:
        xs, ys, first = (np.asarray(values, dtype=np.float64) for values in (x, y, start))
        if ys.ndim != 1 or first.ndim != 1 or not len(first) or xs.shape[-1:] != ys.shape:
            raise ValueError("x and y must be of the same length, and start a row of first guesses.")
        if not (np.isfinite(xs).all() and np.isfinite(ys).all() and np.isfinite(first).all()):
            raise ValueError("x, y and start must be numbers, not empty or infinite.")
        low, high = (np.broadcast_to(np.asarray(b, dtype=np.float64), first.shape) for b in bounds or (-np.inf, np.inf))
        if np.any(low >= high) or np.any(first < low) or np.any(first > high):
            raise ValueError("Each start must lie inside its bounds, the lower below the upper.")
        mean, weight = _prior_rows(priors, len(first))
        if len(ys) + np.count_nonzero(weight) < len(first):
            raise ValueError(f"{len(first)} parameters need as many points or priors; there are {len(ys)} points.")
        sd = None if y_sd is None else np.broadcast_to(np.asarray(y_sd, dtype=np.float64), ys.shape)
        if sd is not None and not np.all((sd > 0) & np.isfinite(sd)):
            raise ValueError("y_sd must be more than 0.")
        return cls(model, xs, ys, first, low, high, mean, weight, sd)

    @property
    def has_prior(self) -> bool:
        return bool(np.any(self.prior_weight))

    def data_residuals(self, parameters: Array) -> Array:
        with np.errstate(all="ignore"):
            modelled: Array = np.asarray(self.model(self.x, *parameters), dtype=np.float64)
            return np.asarray(modelled - self.y, dtype=np.float64)

    def residuals(self, parameters: Array) -> Array:
        data = self.data_residuals(parameters) / (1.0 if self.y_sd is None else self.y_sd)
        kept = self.prior_weight > 0
        return np.concatenate((data, ((parameters - self.prior_mean) * self.prior_weight)[kept]))

    def jacobian(self, parameters: Array) -> Array:
        slopes = difference_quotients(self.residuals, parameters, self.low, self.high)
        return np.nan_to_num(slopes, nan=0.0, posinf=1e100, neginf=-1e100)


def difference_quotients(
    function: Callable[[Array], Array],
    parameters: Array,
    low: Array | float = -np.inf,
    high: Array | float = np.inf,
) -> Array:
    """Central differences, drawn in at a bound so that the function is never asked outside it."""
    step = _STEP * np.where(parameters == 0.0, 1.0, np.abs(parameters))
    above, below = np.minimum(parameters + step, high), np.maximum(parameters - step, low)
    columns = []
    for index in range(len(parameters)):
        upper, lower = parameters.copy(), parameters.copy()
        upper[index], lower[index] = above[index], below[index]
        columns.append((function(upper) - function(lower)) / (above[index] - below[index]))
    return np.stack(columns, axis=1)


@dataclass(frozen=True, eq=False)
class End:
    """Where one start came to rest."""

    parameters: Array
    jacobian: Array
    cost: float
    is_good: bool


def _prior_rows(priors: Priors | None, count: int) -> tuple[Array, Array]:
    mean, weight = np.zeros(count), np.zeros(count)
    pairs = priors.items() if isinstance(priors, Mapping) else enumerate(priors or ())
    for position, prior in pairs:
        if prior is None:
            continue
        if not 0 <= position < count:
            raise ValueError(f"There is a prior for parameter {position}, but only {count} parameters (from 0).")
        middle, sd = prior
        if not (np.isfinite(middle) and np.isfinite(sd) and sd > 0):
            raise ValueError("A prior is a mean and a standard uncertainty above 0.")
        mean[position], weight[position] = middle, 1.0 / sd
    return mean, weight


def _starts(problem: Problem) -> Iterator[Array]:
    """The given start, then points ever further from it: factors up to 100, or anywhere between two bounds."""
    yield problem.start
    is_boxed = np.isfinite(problem.low) & np.isfinite(problem.high)
    # Additive recurrence on the plastic-number lattice of Roberts (2018): even cover without chance.
    ratio = 2.0
    for _ in range(40):
        ratio = (1.0 + ratio) ** (1.0 / (len(problem.start) + 1))
    lattice = ratio ** -np.arange(1.0, len(problem.start) + 1.0)
    for number in range(1, _MORE_STARTS + 1):
        place = (0.5 + number * lattice) % 1.0
        reach = 2.0 * number / _MORE_STARTS + 0.3
        spread = np.where(problem.start == 0.0, place - 0.5, problem.start * 10.0 ** (reach * (2.0 * place - 1.0)))
        with np.errstate(invalid="ignore"):
            inside = problem.low + place * (problem.high - problem.low)
        yield np.clip(np.where(is_boxed, inside, spread), problem.low, problem.high)


def best_end(problem: Problem) -> tuple[End, int]:
    best: End | None = None
    tried = 0
    for tried, start in enumerate(_starts(problem), start=1):
        end = _descend(problem, start)
        if end is None:
            continue
        if tried == 1 and end.is_good:
            return end, tried
        # Two good ends at the same depth: the bottom has been found twice, from different sides.
        agrees = best is not None and best.is_good and end.is_good and np.isclose(end.cost, best.cost, rtol=1e-6)
        if best is None or (end.is_good, -end.cost) > (best.is_good, -best.cost):
            best = end
        if agrees:
            break
    if best is None:
        raise ValueError("The model gives no numbers near the start: nothing could be fitted.")
    return best, tried


def _descend(problem: Problem, start: Array) -> End | None:
    from scipy.optimize import least_squares

    if not np.isfinite(problem.residuals(start)).all():
        return None
    # Far starts try wild parameters on their way; what they overflow is turned down by the trust region.
    with np.errstate(all="ignore"):
        found = least_squares(
            problem.residuals,
            start,
            jac=problem.jacobian,
            bounds=(problem.low, problem.high),
            x_scale="jac",
            xtol=1e-9,
            ftol=1e-12,
            gtol=1e-12,
            max_nfev=200 * len(start),
        )
        parameters, cost = _polish(problem, np.asarray(found.x, dtype=np.float64))
    jacobian = problem.jacobian(parameters)
    is_good = found.status > 0 and is_determined(jacobian, parameters, problem) and _explains(problem, parameters)
    return End(parameters, jacobian, cost, is_good)


def _polish(problem: Problem, parameters: Array) -> tuple[Array, float]:
    """A few plain Gauss–Newton steps: the trust region stops when the cost does, some digits before the parameters."""
    residuals = problem.residuals(parameters)
    cost = float(residuals @ residuals)
    for _ in range(8):
        step = np.linalg.lstsq(problem.jacobian(parameters), -residuals, rcond=None)[0]
        moved = np.clip(parameters + step, problem.low, problem.high)
        after = problem.residuals(moved)
        new_cost = float(after @ after)
        if not new_cost < cost:
            break
        parameters, residuals, cost = moved, after, new_cost
    return parameters, cost


def is_determined(jacobian: Array, parameters: Array, problem: Problem) -> bool:
    """Do all parameters move the curve, each in its own way?"""
    if not np.isfinite(jacobian).all():
        return False
    lengths = np.linalg.norm(jacobian, axis=0)
    reach = lengths * np.maximum(np.abs(parameters), np.abs(problem.start))
    if np.any(reach <= 1e-8 * reach.max()):
        return False
    singular_values = np.linalg.svd(jacobian / lengths, compute_uv=False)
    return bool(len(singular_values) == len(parameters) and singular_values[-1] > _SINGULAR * singular_values[0])


def _explains(problem: Problem, parameters: Array) -> bool:
    """Does the curve leave less than half of the scatter about the mean? Not asked where priors may rule."""
    if problem.has_prior or len(problem.y) <= len(parameters):
        return True
    scatter = float(np.sum((problem.y - problem.y.mean()) ** 2))
    return scatter == 0.0 or float(np.sum(problem.data_residuals(parameters) ** 2)) < 0.5 * scatter
