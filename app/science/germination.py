"""Is the lot alive, asleep, drowned by too much water, or slow: what the daily counts of a germination test say.

Daily counts are the kernels newly found growing at each look, never running totals. Percentages are of the kernels
truly laid out: real dishes hold 97 to 105.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.science._checks import Array, between

Counts = Sequence[float] | Array


@dataclass(frozen=True)
class Requirement:
    """What a lot is asked for, per cent, and who asks."""

    at_least_percent: float
    source: str
    mark: str


GERMINATIVE_ENERGY_REQUIRED: Mapping[str, Requirement] = {
    "barley": Requirement(95.0, "Canadian Malting Barley Technical Centre; Montana State University", "P"),
    "wheat": Requirement(95.0, "common practice, an editable default", "C"),
    "rye": Requirement(90.0, "common practice, an editable default", "C"),
    "oats": Requirement(90.0, "common practice, an editable default", "C"),
}
GERMINATION_CAPACITY_REQUIRED: Mapping[str, Requirement] = {
    "barley": Requirement(98.0, "Maltsters' Association of Great Britain", "P"),
    "wheat": Requirement(97.0, "common practice, an editable default", "C"),
    "rye": Requirement(95.0, "common practice, an editable default", "C"),
    "oats": Requirement(95.0, "common practice, an editable default", "C"),
}

WATER_SENSITIVE_FROM_POINTS = 30.0
"""From here on a barley counts as water sensitive (Montana State University barley programme [P])."""

_SENSITIVITY_BANDS = ((10.0, "very low"), (25.0, "low"), (45.0, "considerable"), (math.inf, "high"))


def germinative_energy(daily_counts: Counts, kernels: float, days: int = 3) -> float:
    """Find the germinative energy: the share of kernels that grew within three days.

    Args: daily_counts: newly grown kernels at 24, 48, 72 h (counts of later days are left out); kernels: laid out,
        the true number, at least 1; days: length of the test.
    Returns: per cent of the kernels laid out.
    Source: EBC Analytica 3.6; ASBC Barley-3, as in K. Kunze, BarleyGermination-KK [T].
    Check: 28/45/27 of 100 gives 100; 54/38/3 of 100 gives 95.
    """
    counts = _counts(daily_counts)[: int(between("The number of days", float(days), 1.0))]
    grown = float(counts.sum())
    laid_out = between("The number of kernels", float(kernels), 1.0)
    if grown > laid_out:
        raise ValueError(f"{grown:g} kernels grew, but only {laid_out:g} were laid out.")
    return 100.0 * grown / laid_out


def water_sensitivity(
    daily_counts_4ml: Counts, kernels_4ml: float, daily_counts_8ml: Counts, kernels_8ml: float
) -> float:
    """Find the water sensitivity: how much germination the doubled water costs.

    Args: daily_counts_4ml, daily_counts_8ml: newly grown kernels at 24, 48, 72 h in the dish with 4 and with 8 mL;
        kernels_4ml, kernels_8ml: laid out in each, the true numbers.
    Returns: points, germinative energy in 4 mL less that in 8 mL; may be below 0 by chance.
    Source: MEBAK R-110.34.612 [P].
    Check: 28/45/27 and 54/38/3 of 100 each gives 5.
    """
    return germinative_energy(daily_counts_4ml, kernels_4ml) - germinative_energy(daily_counts_8ml, kernels_8ml)


def water_sensitivity_band(points: float) -> str:
    """Put a water sensitivity in words.

    Args: points: -100 to 100.
    Returns: very low up to 10, low up to 25, considerable up to 45, high above.
    Source: Kunze, Technology Brewing and Malting, from memory [M].
    Check: 5 is very low, 30 is considerable.
    """
    measured = between("The water sensitivity", points, -100.0, 100.0)
    return next(words for upper, words in _SENSITIVITY_BANDS if measured <= upper)


def is_water_sensitive(points: float) -> bool:
    """Tell whether a lot needs short steeps and long air rests.

    Args: points: -100 to 100.
    Returns: whether it is 30 points or more.
    Source: Montana State University barley programme [P]; longer air rests: MEBAK R-110.34.612 [P].
    Check: 30 is, 29 is not.
    """
    return between("The water sensitivity", points, -100.0, 100.0) >= WATER_SENSITIVE_FROM_POINTS


def germination_index(daily_counts: Counts) -> float:
    """Find the germination index: how fast those that grow do it.

    Args: daily_counts: newly grown kernels on day 1, 2, 3 and so on, at least one in all.
    Returns: 10 × sum of x / sum of day × x: 10 when all grew on the first day.
    Source: EBC Analytica 3.7, as in K. Kunze, BarleyGermination-KK [T]; at most 10: McCafferty & Bryce 1999 [P].
    Check: 28/45/27 gives 5.025126, 54/38/3 gives 6.834532 (counts: K. Kunze, BarleyGermination-KK).
    """
    counts = _some(_counts(daily_counts))
    return 10.0 * float(counts.sum()) / float(counts @ np.arange(1, counts.size + 1))


def germination_capacity(not_germinated: float, kernels: float = 200.0) -> float:
    """Find the germination capacity from the peroxide test, which wakes sleeping kernels: the living share.

    Args: not_germinated: kernels that did not grow, 0 to all; kernels: steeped, the true number, at least 1.
    Returns: per cent: for 200 kernels, (200 - not germinated)/2.
    Source: EBC Analytica 3.5.2, from memory [M].
    Check: 6 of 200 not grown gives 97.
    """
    steeped = between("The number of kernels", float(kernels), 1.0)
    return 100.0 * (steeped - between("The number not germinated", float(not_germinated), 0.0, steeped)) / steeped


def dormancy(capacity_percent: float, energy_percent: float) -> float:
    """Find the dormancy: alive, but asleep.

    Args: capacity_percent: germination capacity, 0 to 100; energy_percent: germinative energy in 4 mL, 0 to 100.
    Returns: points; may be below 0 by chance.
    Source: definition, common practice [C].
    Check: capacity 98 and energy 81 give 17.
    """
    capacity = between("The germination capacity", capacity_percent, 0.0, 100.0, unit="%")
    return capacity - between("The germinative energy", energy_percent, 0.0, 100.0, unit="%")


def t50(times: Counts, daily_counts: Counts, method: str = "farooq") -> float:
    """Find the time by which half of those that grew in the end had grown.

    Args: times: of each look, rising, in any unit, with sowing at 0; daily_counts: newly grown at each, at least one
        in all; method: farooq counts to N/2, coolbear to (N+1)/2.
    Returns: time in the unit of `times`, straight between two looks (and between sowing and the first).
    Source: Farooq et al. 2005; Coolbear, Francis & Grierson 1984 [P]. An exact hit gives the time of that look.
    Check: 0,0,0,0,4,17,10,7,1,0,1,0,0,0 on days 1–14: 5.941176 (farooq), 5.970588 (coolbear) (germinationmetrics).
    """
    if method not in ("farooq", "coolbear"):
        raise ValueError(f"The method must be farooq or coolbear; it is {method!r}.")
    when, counts = _looks(times, daily_counts)
    running = np.cumsum(counts)
    grown = float(running[-1])
    # mean counts of a poor lot may add up to less than one kernel, which (N+1)/2 would never reach
    half = min((grown + (1.0 if method == "coolbear" else 0.0)) / 2.0, grown)
    index = int(np.searchsorted(running, half - 1e-12 * grown))
    before, since = (float(running[index - 1]), float(when[index - 1])) if index else (0.0, 0.0)
    portion = min((half - before) / (float(running[index]) - before), 1.0)
    return since + portion * (float(when[index]) - since)


def mean_time(times: Counts, daily_counts: Counts) -> float:
    """Find the mean time to grow.

    Args: times: of each look, rising, any unit; daily_counts: newly grown at each, at least one in all.
    Returns: time in the unit of `times`: sum of n × t / sum of n.
    Source: Ellis & Roberts 1980; Labouriau 1983, as in the germinationmetrics package [P].
    Check: the vector of t50 gives 6.7.
    """
    when, counts = _looks(times, daily_counts)
    return float(counts @ when) / float(counts.sum())


def mean_rate(times: Counts, daily_counts: Counts) -> float:
    """Find the mean rate of growing: one over the mean time.

    Args: as mean_time, with the mean time above 0.
    Returns: one over the unit of `times`.
    Source: Labouriau & Valadares 1976, as in the germinationmetrics package [P].
    Check: the vector of t50 gives 1/6.7 = 0.149254.
    """
    return 1.0 / between("The mean time", mean_time(times, daily_counts), above=0.0)


def time_variance(times: Counts, daily_counts: Counts) -> float:
    """Find the variance of the time to grow.

    Args: as mean_time, with at least 2 kernels grown.
    Returns: the unit of `times`, squared; n - 1 below the line.
    Source: Labouriau 1983; Ranal & Santana 2006, as in the germinationmetrics package [P].
    Check: the vector of t50 gives 1.446154.
    """
    when, counts = _looks(times, daily_counts)
    return _squares(when, counts) / (between("The number grown", float(counts.sum()), above=1.0) - 1.0)


def uncertainty(times: Counts, daily_counts: Counts) -> float:
    """Find the uncertainty of the time to grow: the information in it.

    Args: as mean_time.
    Returns: bit; 0 when all grew at one look.
    Source: Labouriau & Valadares 1976; Ranal & Santana 2006, as in the germinationmetrics package [P].
    Check: the vector of t50 gives 2.062987.
    """
    _, counts = _looks(times, daily_counts)
    shares = counts[counts > 0] / counts.sum()
    return max(-float(shares @ np.log2(shares)), 0.0)


def synchrony(times: Counts, daily_counts: Counts) -> float:
    """Find the synchrony: the chance that two kernels that grew did so at the same look.

    Args: as mean_time, with at least 2 kernels grown.
    Returns: 0 to 1.
    Source: Primack 1985; Ranal & Santana 2006, as in the germinationmetrics package [P].
    Check: the vector of t50 gives 0.266667.
    """
    _, counts = _looks(times, daily_counts)
    grown = between("The number grown", float(counts.sum()), 2.0)
    pairs = float(np.sum(np.maximum(counts * (counts - 1.0), 0.0)))
    return pairs / (grown * (grown - 1.0))


def uniformity(times: Counts, daily_counts: Counts) -> float:
    """Find the coefficient of uniformity of germination.

    Args: as mean_time.
    Returns: one over the squared unit of `times`: sum of n / sum of (mean - t)² × n; infinite when all grew at once.
    Source: Heydecker 1972, as in the germinationmetrics package [P].
    Check: the vector of t50 gives 0.709220.
    """
    when, counts = _looks(times, daily_counts)
    squares = _squares(when, counts)
    return float(counts.sum()) / squares if squares > 0 else math.inf


def _squares(when: Array, counts: Array) -> float:
    grown_at = when[counts > 0]
    if np.all(grown_at == grown_at[0]):
        return 0.0
    return float(counts @ (when - float(counts @ when) / float(counts.sum())) ** 2)


def _counts(daily_counts: Counts) -> Array:
    counts = between("A daily count", np.asarray(daily_counts, dtype=np.float64), 0.0)
    if counts.ndim != 1 or counts.size == 0:
        raise ValueError("Give the daily counts as one row of at least one number.")
    return counts


def _some(counts: Array) -> Array:
    if counts.sum() <= 0:
        raise ValueError("Not one kernel grew: there is no speed to tell.")
    return counts


def _looks(times: Counts, daily_counts: Counts) -> tuple[Array, Array]:
    counts = _some(_counts(daily_counts))
    when = between("A time", np.asarray(times, dtype=np.float64), 0.0)
    if when.shape != counts.shape:
        raise ValueError("Give one time for each count.")
    if np.any(np.diff(when) <= 0):
        raise ValueError("The times must rise from one look to the next.")
    return when, counts
