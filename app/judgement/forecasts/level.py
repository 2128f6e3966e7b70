"""A fit in which one parameter, the level, is told by some of the measurements alone.

Weights of a tray against its first tell the shape of its drying and not how wet it was: a curve that levels off early
is a wet tray in damp air, or a kiln that stood still, as well as a dry one. So what the shape says of the level is cut
off (a cut posterior; Plummer 2015, Stat. Comput. 25:37, from memory): the level is as its prior and the determinations
tell it, given the shape; and the shape is fitted to everything, given the level.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from app.judgement.forecasts.band import Array
from app.science.fitting import Kernel, Model, Posterior, Prior, fit_curve, moved_by

_SMALL_SHARE = 1e-3
_HELD_SD = 1e-6
_MOST_LOOKS, _NEAR_ENOUGH = 8, 0.2
"""The curve bends along the level: it is looked at again where it came to."""


class Measured(NamedTuple):
    """x: a column for each; y and sd: what was found, and its standard uncertainty."""

    x: Array
    y: Array
    sd: Array


def fit_with_level(
    model: Model,
    prior: Prior,
    kernel: Kernel,
    shape: Measured,
    told: Measured,
    level: int,
    earlier: Posterior | None = None,
) -> Posterior:
    """shape: what may not tell the level; told: what may. level: the place of its parameter."""
    value, sd = first = float(prior.mean[level]), math.sqrt(float(prior.covariance[level, level]))
    for _ in range(_MOST_LOOKS if len(told.y) else 0):
        earlier = _held_at(value, model, prior, kernel, shape, level, earlier)
        looked_at, (value, sd) = value, _level(earlier, told, level, *first)
        if abs(value - looked_at) < _NEAR_ENOUGH * sd:
            break
    both = Measured(*(np.concatenate(pair, axis=-1) for pair in zip(shape, told, strict=True)))
    fitted = _held_at(value, model, prior, kernel, both, level, earlier)
    along = _along(fitted, level)
    covariance = fitted.covariance + sd**2 * np.outer(along, along)
    moved = moved_by(model, both.x, fitted.parameters, covariance)
    return replace(fitted, prior=prior, covariance=covariance, moved=moved)


def _held_at(
    value: float, model: Model, prior: Prior, kernel: Kernel, measured: Measured, level: int, earlier: Posterior | None
) -> Posterior:
    """The fit with the level as good as certain."""
    mean, covariance = prior.mean.copy(), prior.covariance.copy()
    mean[level] = value
    covariance[level, :] = covariance[:, level] = 0.0
    covariance[level, level] = _HELD_SD**2
    if earlier is not None:
        begin = earlier.parameters.copy()
        begin[level] = value
        earlier = replace(earlier, parameters=begin)
    return fit_curve(model, Prior(prior.names, mean, covariance), kernel, *measured, earlier)


def _along(fitted: Posterior, level: int) -> Array:
    """How the parameters that fit best go with the level, for each unit of it."""
    along = np.eye(len(fitted.parameters))[level]
    if fitted.n:
        slopes = _slopes(fitted, fitted.x)
        along = along - fitted.covariance @ slopes.T @ fitted.weight @ slopes[:, level]
    return np.asarray(along)


def _slopes(fitted: Posterior, x: Array) -> Array:
    """A column for each parameter."""
    steps = np.maximum(_SMALL_SHARE * np.sqrt(np.diag(fitted.prior.covariance)), 1e-4)
    ends = [(fitted.parameters + step, fitted.parameters - step) for step in np.diag(steps)]
    rises = [(fitted.model(x, up) - fitted.model(x, down)) for up, down in ends]
    return np.stack(rises, axis=1) / (2.0 * steps)


def _level(before: Posterior, told: Measured, level: int, value: float, sd: float) -> tuple[float, float]:
    """The level, known as value and sd, after what tells it: foreseen from the shape at one level, and along it."""
    expected, slopes = before.model(told.x, before.parameters), _slopes(before, told.x)
    spread = before.kernel.covariance(told.x, told.x)
    if before.n:
        shared = before.kernel.covariance(told.x, before.x)
        across = shared @ before.weight
        expected = expected + across @ before.residuals
        slopes = slopes - across @ _slopes(before, before.x)
        spread = spread - across @ shared.T
    spread = spread + slopes @ before.covariance @ slopes.T + np.diag(told.sd**2)
    rise = slopes @ _along(before, level)
    weighted = np.linalg.solve(spread, rise)
    precision = 1.0 / sd**2 + float(weighted @ rise)
    at = float(before.parameters[level])
    mean = (value / sd**2 + float(weighted @ (told.y - expected + rise * at))) / precision
    return min(max(mean, 0.01), 3.0), math.sqrt(1.0 / precision)
