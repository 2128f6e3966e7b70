"""Checking what goes into a formula: one wording for every chapter's refusals."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TypeVar, cast

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Quantity = TypeVar("Quantity", float, Array)
"""A float or an array of floats; what goes in as one comes out as the same."""


def number_or_array(name: str, value: Quantity) -> Quantity:
    """Give back a plain float for a single number and a float array for a sequence; refuse NaN and infinity."""
    if isinstance(value, float) and math.isfinite(value):
        # By far the most are single numbers, and to make an array of each takes longer than the formula.
        return float(value)
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array)):
        raise ValueError(f"{name} must be a number, not empty or infinite.")
    return cast(Quantity, float(array) if array.ndim == 0 else array)


def in_kind(result: npt.ArrayLike, given: Quantity) -> Quantity:
    """Give a result back as a plain float where it is a single number, as what was given."""
    array = np.asarray(result, dtype=np.float64)
    return cast(Quantity, float(array) if array.ndim == 0 else array)


def between(
    name: str,
    value: Quantity,
    low: float | None = None,
    high: float | None = None,
    *,
    unit: str = "",
    above: float | None = None,
    below: float | None = None,
) -> Quantity:
    """Check that low <= value <= high and above < value < below (each where given); say plainly what was wrong."""
    checked = number_or_array(name, value)
    if isinstance(checked, float) and _lies_between(checked, low, high, above, below):
        return checked
    array = np.asarray(checked)
    suffix = f" {unit}" if unit else ""
    if low is not None and np.any(array < low):
        raise ValueError(f"{name} must be at least {low:g}{suffix}; it is {array.min():g}.")
    if above is not None and np.any(array <= above):
        raise ValueError(f"{name} must be more than {above:g}{suffix}; it is {array.min():g}.")
    if high is not None and np.any(array > high):
        raise ValueError(f"{name} must be at most {high:g}{suffix}; it is {array.max():g}.")
    if below is not None and np.any(array >= below):
        raise ValueError(f"{name} must be less than {below:g}{suffix}; it is {array.max():g}.")
    return checked


def _lies_between(
    value: float, low: float | None, high: float | None, above: float | None, below: float | None
) -> bool:
    is_high_enough = (low is None or value >= low) and (above is None or value > above)
    return is_high_enough and (high is None or value <= high) and (below is None or value < below)


def one_of(name: str, value: str, known: Mapping[str, object]) -> str:
    """Check that a name is one that the chapter has constants for."""
    if value not in known:
        raise ValueError(f"{name} must be one of {', '.join(sorted(known))}; it is {value!r}.")
    return value
