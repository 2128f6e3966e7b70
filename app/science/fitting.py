"""Fitting a curve to weighings: least squares with bounds, priors and, when the first start ends badly, more starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from app.science._checks import Array
from app.science._descent import End, Model, Priors, Problem, best_end, difference_quotients, is_determined


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted curve.

    `parameters` and their `covariance`; `rss`, the residual sum of squares of the data alone, in y's unit squared;
    `residual_sd` = √(rss / degrees of freedom), NaN when none are left; `n`, the number of points; `starts`, how
    many were tried; `is_determined`, whether data and priors together fix every parameter.
    """

    parameters: Array
    covariance: Array
    rss: float
    residual_sd: float
    n: int
    starts: int
    is_determined: bool

    @property
    def standard_errors(self) -> Array:
        """Standard uncertainty of each parameter, in its own unit."""
        return np.asarray(np.sqrt(np.diag(self.covariance)), dtype=np.float64)


def fit(
    model: Model,
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    start: Sequence[float] | Array,
    bounds: tuple[Any, Any] | None = None,
    priors: Priors | None = None,
    *,
    y_sd: npt.ArrayLike | None = None,
) -> Fit:
    """Least-squares fit of `model(x, *parameters)` to y.

    One start is made from `start`. Only when it ends badly (no convergence, a parameter that the data have stopped
    moving, or a curve that explains less than half of the scatter) are up to 24 more made from points spread around
    it, and the lowest sum of squares wins. Same input, same answer: nothing is random. A parameter that comes to
    rest on a bound keeps the covariance it would have without the bound.

    Args:
        model: function of x and the parameters; must take arrays.
        x: where y was measured; any shape whose last axis is as long as y.
        y: measured values, at least as many as parameters without a prior.
        start: first guess of each parameter, inside the bounds.
        bounds: (lowest, highest), each one number or one for each parameter; infinity for none.
        priors: what is known of parameters beforehand, as pseudo-observations: {position: (mean, standard
            uncertainty)}, or a row of (mean, sd) or None for each parameter.
        y_sd: standard uncertainty of y, one number or one each, in y's unit. Given, it weighs the points, and the
            covariance is in its absolute terms. Left out, all points weigh the same and the scatter is taken
            from the residuals; with priors that takes at least one point more than the data spend on parameters.
    Returns:
        a `Fit`.
    Source: scipy.optimize.least_squares (trust region reflective; Branch, Coleman & Li 1999, SIAM J. Sci. Comput.
        21:1 [P]); covariance s²(JᵀJ)⁻¹ from the Jacobian at the end [D].
    Check: NIST StRD Misra1a 238.94212918, 5.5015643181e-4, RSS 0.12455138894; BoxBOD 213.80940889, 0.54723748542 [P].
    """
    problem = Problem.checked(model, x, y, start, bounds, priors, y_sd)
    if problem.has_prior and y_sd is None:
        return _with_estimated_scatter(problem)
    return _report(problem, *best_end(problem))


def curve_sd(model: Model, x: npt.ArrayLike, fitted: Fit) -> Array:
    """Standard uncertainty of a fitted curve at x, from its parameters; the scatter of one more reading is not in it.

    Args:
        model: the function that was fitted.
        x: where to look, any array the model takes.
        fitted: what `fit` gave.
    Returns:
        standard uncertainty of the curve at each x, in y's unit.
    Source: first-order propagation, √(j·C·jᵀ) with j the slopes of the curve in its parameters [D].
    Check: for a straight line the textbook √(s²(1/n + (x − x̄)²/Σ(x − x̄)²)) [D].
    """
    where = np.asarray(x, dtype=np.float64)
    slopes = difference_quotients(lambda p: np.asarray(model(where, *p), dtype=np.float64), fitted.parameters)
    return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", slopes, fitted.covariance, slopes)), dtype=np.float64)


def _with_estimated_scatter(problem: Problem) -> Fit:
    """Weigh data against priors by the scatter of the data, which is found by turns with the fit."""
    sd = float(np.std(problem.y)) or 1.0
    for _ in range(50):
        weighed = replace(problem, y_sd=np.full(len(problem.y), sd))
        end, tried = best_end(weighed)
        problem = replace(problem, start=end.parameters)
        data_rows = end.jacobian[: len(problem.y)]
        information = end.jacobian.T @ end.jacobian
        # Parameters that the data themselves pay for: between none (priors rule) and all (data rule).
        spent = float(np.trace(np.linalg.pinv(information, hermitian=True) @ (data_rows.T @ data_rows)))
        free = len(problem.y) - spent
        if free < 0.5:
            raise ValueError("Too few points to tell their scatter beside the priors: give y_sd.")
        rss = float(np.sum(problem.data_residuals(end.parameters) ** 2))
        floor = 1e-12 * float(np.max(np.abs(problem.y)) or 1.0)
        new_sd = max(float(np.sqrt(rss / free)), floor)
        if abs(new_sd - sd) <= 1e-6 * sd:
            break
        sd = new_sd
    return _report(weighed, end, tried)


def _report(problem: Problem, end: End, tried: int) -> Fit:
    rss = float(np.sum(problem.data_residuals(end.parameters) ** 2))
    free = len(problem.y) - len(end.parameters)
    scatter = float(np.sqrt(rss / free)) if free > 0 else float("nan")
    variance = 1.0 if problem.y_sd is not None else scatter**2
    lengths = np.linalg.norm(end.jacobian, axis=0)
    scale = 1.0 / np.where(lengths > 0, lengths, 1.0)
    # Scaled columns first: parameters of 240 and of 0.0005 side by side would cost half the digits.
    inverse = np.linalg.pinv(end.jacobian * scale, rcond=1e-14)
    covariance = variance * (inverse @ inverse.T) * np.outer(scale, scale)
    determined = is_determined(end.jacobian, end.parameters, problem)
    if not determined:
        covariance = np.full_like(covariance, np.inf)
    return Fit(end.parameters, covariance, rss, scatter, len(problem.y), tried, determined)
