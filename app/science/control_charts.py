"""Is this batch different: control limits, prediction of the next value, and differences between groups."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True)
class Difference:
    """First group less second, with its interval and numbers; no interval where one side has fewer than three."""

    difference: float
    low: float | None
    high: float | None
    n_first: int
    n_second: int

    @property
    def is_clear(self) -> bool | None:
        """Whether the interval leaves out 0; None where the numbers stand alone."""
        if self.low is None or self.high is None:
            return None
        return leaves_out_zero(self.difference, (self.high - self.low) / 2.0)


def leaves_out_zero(difference: float, half_width: float) -> bool:
    """Say whether a difference is clear: whether its interval leaves out 0.

    Args: difference, half_width: of its interval, at least 0, same unit.
    Returns: True where the difference is further from 0 than its interval reaches; what just touches 0 holds it.
    Source: definition [D].
    Check: 0.9 ± 0.7 leaves it out, -0.9 ± 0.7 too; 0.7 ± 0.7 does not.
    """
    return abs(difference) > half_width and not math.isclose(abs(difference), half_width)


def half_width_of_range(lowest: float, highest: float, n: int) -> float:
    """Find the 95 % half-width of the highest less the lowest of several values.

    Of more than two, the ends were picked out because they lie apart, and their difference is the less sure.

    Args: lowest, highest: the 95 % half-widths of the two ends, at least 0, same unit; n: how many values, 2 to 6.
    Returns: of two the root of the sum of squares; of more, that times the studentized range for n over that for 2.
    Source: GUM (JCGM 100:2008), 5.1.2 [P]; Tukey's method, NIST/SEMATECH e-Handbook, 7.4.7.1 [P].
    Check: 0.3 and 0.4 of two give 0.5, of six 0.73; of simulated equal values 5 % of the ranges are wider.
    """
    if n not in STUDENTIZED_RANGE:
        raise ValueError("From 2 to 6 values can be set side by side.")
    reach = math.hypot(between("A half-width", lowest, 0.0), between("A half-width", highest, 0.0))
    return reach * STUDENTIZED_RANGE[n] / STUDENTIZED_RANGE[2]


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
        return Difference(apart, None, None, one.size, two.size)
    parts = [float(row.var(ddof=1)) / row.size for row in (one, two)]
    total = sum(parts)
    if total == 0:
        return Difference(apart, apart, apart, one.size, two.size)
    freedom = total**2 / sum(part**2 / (row.size - 1) for part, row in zip(parts, (one, two), strict=True))
    reach = _t(level, freedom) * math.sqrt(total)
    return Difference(apart, apart - reach, apart + reach, one.size, two.size)


def _t(level: float, freedom: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 + between("The level", level, above=0.0, below=1.0) / 2.0))


def _row(values: Sequence[float] | Array, fewest: int) -> Array:
    row = between("A value", np.asarray(values, dtype=np.float64))
    if row.ndim != 1 or row.size < fewest:
        raise ValueError(f"At least {fewest} values are needed, in one row.")
    return row
