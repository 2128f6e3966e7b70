"""Is this batch different: control limits, prediction of the next value, and differences between groups."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from app.science._checks import Array, between

MEAN_RANGE_TO_SD = 1.128
"""d2 for ranges of two: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 [P]."""

RANGE_UPPER_FACTOR = 3.267
"""D4 for ranges of two: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 [P]."""

FEWEST_A_SIDE = 3
"""Below this many on a side the numbers stand alone, with no verdict (common practice [C])."""


STUDENTIZED_RANGE = {2: 2.772, 3: 3.314, 4: 3.633, 5: 3.858, 6: 4.030}
"""What the range of so many equal values, in standard deviations, exceeds in 5 % of cases [D]: scipy's studentized
range in the tests."""


@dataclass(frozen=True)
class Individuals:
    """An individuals chart: centre and limits of the values, and of the ranges from one to the next."""

    mean: float
    mean_range: float
    lower: float
    upper: float
    range_upper: float
    moving_ranges: tuple[float, ...]
    outside: tuple[int, ...]


def individuals(values: Sequence[float] | Array) -> Individuals:
    """Find the control limits of single values in the order in which they came.

    Args: values: at least 2, in order, any unit.
    Returns: Individuals in the same unit: mean, mean moving range, mean ± 3 × mean range / 1.128, upper limit of the
        range, the moving ranges, and the places (from 0) of values outside the limits.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 [P].
    Check: 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1: mean 50.81, mean range 1.8778, limits 45.8159 and 55.8041.
    """
    row = _row(values, 2)
    ranges = np.abs(np.diff(row))
    mean, mean_range = float(row.mean()), float(ranges.mean())
    reach = 3.0 * mean_range / MEAN_RANGE_TO_SD
    outside = np.flatnonzero(np.abs(row - mean) > reach + 1e-12 * (1.0 + abs(mean)))
    return Individuals(
        mean=mean,
        mean_range=mean_range,
        lower=mean - reach,
        upper=mean + reach,
        range_upper=RANGE_UPPER_FACTOR * mean_range,
        moving_ranges=tuple(float(step) for step in ranges),
        outside=tuple(int(place) for place in outside),
    )


def prediction_interval(values: Sequence[float] | Array, level: float = 0.95) -> tuple[float, float]:
    """Find where the next value should lie when it is of the same kind as the earlier ones.

    Args: values: at least 2, any unit; level: 0 to 1, both excluded.
    Returns: (low, high) in the same unit: mean ± t × s × √(1 + 1/n).
    Source: normal theory, Student's t [D].
    Check: of many simulated rows, 95 % of the next values fall inside.
    """
    row = _row(values, 2)
    reach = _t(level, row.size - 1) * float(row.std(ddof=1)) * math.sqrt(1.0 + 1.0 / row.size)
    return float(row.mean()) - reach, float(row.mean()) + reach


def half_width_of_mean(sd: float, n: int) -> float:
    """Find the 95 % half-width of a mean by the scatter of what it is of.

    Args: sd: standard deviation of the single values, with n - 1, at least 0; n: how many values, at least 2.
    Returns: t × s / √n with n - 1 degrees of freedom, same unit.
    Source: normal theory, Student's t [D].
    Check: as scipy's interval of a mean.
    """
    return _t(0.95, between("The number of values", n, 2) - 1) * between("The spread", sd, 0.0) / math.sqrt(n)


@dataclass(frozen=True)
class Difference:
    """First group less second, with its interval and numbers; no interval where one side has fewer than three."""

    difference: float
    ends: tuple[float, float] | None
    n_first: int
    n_second: int

    @property
    def is_clear(self) -> bool | None:
        """Whether the interval leaves out 0; None where the numbers stand alone."""
        return None if self.ends is None else leaves_out_zero(*self.ends)


def leaves_out_zero(low: float, high: float) -> bool:
    """Say whether a difference is clear: whether its interval leaves out 0.

    Args: low, high: the ends of its interval, same unit.
    Returns: True where both lie on one side of 0; what just touches 0 holds it.
    Source: definition [D].
    Check: 0.2 to 1.6 leaves it out, -1.6 to -0.2 too; 0 to 1.4 does not.
    """
    nearest = low if low > 0.0 else -high
    return nearest > 1e-9 * (high - low)


class Estimate(NamedTuple):
    """A value with its 95 % interval; freedom: degrees of freedom of the scatter that gave it, where it is of few."""

    value: float
    low: float
    high: float
    freedom: float = math.inf


def interval_of_range(highest: Estimate, lowest: Estimate, n: int) -> tuple[float, float]:
    """Find the 95 % interval of the highest less the lowest of several values, by which alone it may be judged.

    Of more than two, the ends were picked out because they lie apart, and their difference is the less sure.

    Args: highest, lowest: Estimates in the same unit; n: how many values, 2 to 6.
    Returns: (low, high): from the difference down by the arms that point to each other, up by those that point away,
        each pair as the root of the sum of squares (Newcombe's for shares), by Welch's degrees of freedom where a mean
        is of few; of more than two values, that times the studentized range for n over that for 2.
    Source: Newcombe 1998, Stat. Med. 17:873, method 10 [P]; Welch 1947, Biometrika 34:28 [P]; GUM (JCGM 100:2008),
        5.1.2 and G.4.1 [P]; Tukey's method, NIST/SEMATECH e-Handbook, 7.4.7.1 [P].
    Check: half-widths of 0.3 and 0.4 of two give 0.5, of six 0.73; of simulated equal values 5 % of the ranges are
        wider; as scipy's Welch test for means of few.
    """
    if n not in STUDENTIZED_RANGE:
        raise ValueError("From 2 to 6 values can be set side by side.")
    wider, apart = STUDENTIZED_RANGE[n] / STUDENTIZED_RANGE[2], highest.value - lowest.value
    down = _together(highest.value - highest.low, highest.freedom, lowest.high - lowest.value, lowest.freedom)
    up = _together(highest.high - highest.value, highest.freedom, lowest.value - lowest.low, lowest.freedom)
    return apart - wider * down, apart + wider * up


def _together(arm: float, freedom: float, other: float, other_freedom: float) -> float:
    arm, other = between("A half-width", arm, 0.0), between("A half-width", other, 0.0)
    if math.isinf(freedom) and math.isinf(other_freedom):
        return math.hypot(arm, other)
    one, two = (arm / _t(0.95, freedom)) ** 2, (other / _t(0.95, other_freedom)) ** 2
    if one + two == 0.0:
        return 0.0
    return _t(0.95, (one + two) ** 2 / (one**2 / freedom + two**2 / other_freedom)) * math.sqrt(one + two)


def difference_between(
    first: Sequence[float] | Array, second: Sequence[float] | Array, level: float = 0.95
) -> Difference:
    """Find the difference between the means of two groups, such as the batches of two lots.

    Args: first, second: at least 1 value each, same unit; level: of the interval, 0 to 1, both excluded.
    Returns: a Difference; its interval needs 3 values on each side.
    Source: Welch 1947, Biometrika 34:28, for unequal spreads [P].
    Check: the same interval as scipy's Welch test.
    """
    one, two = _row(first, 1), _row(second, 1)
    apart = float(one.mean() - two.mean())
    if min(one.size, two.size) < FEWEST_A_SIDE:
        return Difference(apart, None, one.size, two.size)
    parts = [float(row.var(ddof=1)) / row.size for row in (one, two)]
    total = sum(parts)
    if total == 0:
        return Difference(apart, (apart, apart), one.size, two.size)
    freedom = total**2 / sum(part**2 / (row.size - 1) for part, row in zip(parts, (one, two), strict=True))
    reach = _t(level, freedom) * math.sqrt(total)
    return Difference(apart, (apart - reach, apart + reach), one.size, two.size)


def _t(level: float, freedom: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 + between("The level", level, above=0.0, below=1.0) / 2.0))


def _row(values: Sequence[float] | Array, fewest: int) -> Array:
    row = between("A value", np.asarray(values, dtype=np.float64))
    if row.ndim != 1 or row.size < fewest:
        raise ValueError(f"At least {fewest} values are needed, in one row.")
    return row
