"""Counting kernels: how far a share of so few can be trusted, and whether dishes agree with each other.

Shares are fractions 0–1 unless a name says percent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from app.science._checks import Quantity, between, in_kind


def wilson_interval(successes: Quantity, n: float, level: float = 0.95) -> tuple[Quantity, Quantity]:
    """Give the Wilson score interval of a share: the one to show.

    Args: successes: how many did, 0 to n; n: how many were looked at, at least 1; level: 0 to 1, both excluded.
    Returns: (low, high), fractions.
    Source: Wilson 1927, J. Am. Stat. Assoc. 22:209 [P]; Brown, Cai & DasGupta 2001, Stat. Sci. 16:101, on which to use.
    Check: 95 of 100 gives 88.82 to 97.85 %; 490 of 500 gives 96.36 to 98.91 %.
    """
    hits, looked_at = _counts(successes, n)
    z = NormalDist().inv_cdf(0.5 + _level(level) / 2)
    share = hits / looked_at
    centre = (share + z * z / (2 * looked_at)) / (1 + z * z / looked_at)
    square = share * (1 - share) / looked_at + z * z / (4 * looked_at * looked_at)
    half = z / (1 + z * z / looked_at) * square**0.5
    return _clipped(centre - half, hits, 0.0, 0.0), _clipped(centre + half, hits, looked_at, 1.0)


def newcombe_interval(
    first: float, first_n: float, second: float, second_n: float, level: float = 0.95
) -> tuple[float, float]:
    """Give the interval of the difference of two shares, by which alone it may be judged.

    Args: first, second: how many did; first_n, second_n: how many were looked at, at least 1; level: 0 to 1, both
        excluded.
    Returns: (low, high) of the first share less the second, fractions, -1 to 1.
    Source: Newcombe 1998, Stat. Med. 17:873, method 10, the hybrid score interval [P].
    Check: 56 of 70 less 48 of 80 is 0.2, from 0.0524 to 0.3339; 9 of 10 less 3 of 10 from 0.1705 to 0.8090.
    """
    (low, high), (other_low, other_high) = (
        wilson_interval(first, first_n, level),
        wilson_interval(second, second_n, level),
    )
    share, other = first / first_n, second / second_n
    apart = share - other
    down, up = math.hypot(share - low, other_high - other), math.hypot(high - share, other - other_low)
    return max(apart - down, -1.0), min(apart + up, 1.0)


def exact_interval(successes: Quantity, n: float, level: float = 0.95) -> tuple[Quantity, Quantity]:
    """Give the Clopper–Pearson interval of a share: never too narrow, the one to accept or hold a lot by.

    Args: successes: how many did, 0 to n; n: how many were looked at, at least 1; level: 0 to 1, both excluded.
    Returns: (low, high), fractions.
    Source: Clopper & Pearson 1934, Biometrika 26:404 [P].
    Check: 95 of 100 gives 88.72 to 98.36 %.
    """
    from scipy.special import betaincinv

    hits, looked_at = _counts(successes, n)
    tail = (1 - _level(level)) / 2
    misses = looked_at - hits
    low = betaincinv(np.maximum(hits, 1e-300), misses + 1, tail)
    high = betaincinv(hits + 1, np.maximum(misses, 1e-300), 1 - tail)
    return _clipped(low, hits, 0.0, 0.0), _clipped(high, hits, looked_at, 1.0)


def _counts(successes: Quantity, n: float) -> tuple[Quantity, float]:
    looked_at = between("The number looked at", n, 1.0)
    hits = between("The number found", successes, 0.0)
    if np.any(np.asarray(hits) > looked_at):
        raise ValueError("More were found than were looked at.")
    return hits, looked_at


def _level(level: float) -> float:
    return between("The level", level, above=0.0, below=1.0)


def _clipped(bound: npt.ArrayLike, hits: Quantity, end_hits: float, end: float) -> Quantity:
    return in_kind(np.where(np.asarray(hits) == end_hits, end, np.clip(np.asarray(bound), 0.0, 1.0)), hits)


def kernels_to_find(share: float, confidence: float = 0.95) -> int:
    """Find how many kernels to look at, to find at least one of a fault that so many have.

    Args: share: of kernels with the fault, fraction, 0.0001 to below 1; confidence: chance of finding one, 0 to 1,
        both excluded.
    Returns: kernels: ln(1 - confidence) / ln(1 - share), rounded up.
    Source: binomial distribution, none found [D].
    Check: 1 % with 95 %: 299; 5 % with 95 %: 59.
    """
    missed = math.log1p(-_level(confidence))
    return math.ceil(missed / math.log1p(-between("The share", share, 0.0001, below=1.0)) - 1e-9)


def most_when_none_found(n: float, level: float = 0.95) -> float:
    """Tell how large a share of faulty kernels may still be where not one was found.

    Args: n: kernels looked at, at least 1; level: 0 to 1, both excluded.
    Returns: fraction: 1 - (1 - level)^(1/n), the one-sided exact bound.
    Source: binomial distribution, none found [D]; the rule of three, 3/n, is its approximation: Eypasch et al. 1995,
        BMJ 311:619, read at errickson.net [T].
    Check: none of 100: 2.95 %; the rule of three says 3 %.
    """
    return -math.expm1(math.log1p(-_level(level)) / between("The number looked at", n, 1.0))


def binomial_cdf(fraction: float, n: int) -> list[float]:
    """Give the chance of finding at most 0, 1, ... n, when each kernel does with the same chance.

    Args: fraction: the true share, 0 to 1; n: kernels, 1 to 100 000.
    Returns: n + 1 chances, rising to 1.
    Source: binomial distribution [D].
    Check: 1/2 and 2 kernels: 0.25, 0.75, 1.
    """
    share = between("The share", fraction, 0.0, 1.0)
    kernels = _whole("The number of kernels", n, 1, 100_000)
    if share in (0.0, 1.0):
        return [1.0 if share == 0 or found == kernels else 0.0 for found in range(kernels + 1)]
    log_yes, log_no = math.log(share), math.log1p(-share)
    total, chances = 0.0, []
    for found in range(kernels + 1):
        ways = math.lgamma(kernels + 1) - math.lgamma(found + 1) - math.lgamma(kernels - found + 1)
        total += math.exp(ways + found * log_yes + (kernels - found) * log_no)
        chances.append(min(total, 1.0))
    chances[-1] = 1.0
    return chances


def binomial_range(fraction: float, n: int, level: float = 0.95) -> tuple[int, int]:
    """Give the counts that one dish of n may show by chance alone when the lot's true share is known.

    Args: fraction: the true share, 0 to 1; n: kernels in the dish; level: 0 to 1, both excluded.
    Returns: (lowest, highest) count; each tail outside holds at most half of 1 - level.
    Source: binomial distribution, equal tails [D].
    Check: of a lot at 95 %, a dish of 100 shows 90 to 99.
    """
    tail = (1 - _level(level)) / 2
    chances = binomial_cdf(fraction, n)
    lowest = next(found for found, chance in enumerate(chances) if chance > tail)
    return lowest, next(found for found, chance in enumerate(chances) if chance >= 1 - tail)


def separates(n: int, first_fraction: float, second_fraction: float, level: float = 0.95) -> bool:
    """Tell whether one dish of n can tell two qualities of grain apart.

    Args: n: kernels in the dish; first_fraction, second_fraction: true shares, 0 to 1; level: 0 to 1.
    Returns: whether the ranges that chance allows to the two have no count in common.
    Source: binomial distribution [D].
    Check: a dish of 100 cannot separate 95 % from 98 %; one of 1500 can.
    """
    first = binomial_range(first_fraction, n, level)
    second = binomial_range(second_fraction, n, level)
    return first[1] < second[0] or second[1] < first[0]


def prediction_range(successes: int, n: int, next_n: int, level: float = 0.95) -> tuple[int, int]:
    """Give the counts that the next dish may show, knowing only what an earlier one showed.

    Args: successes: found in the first dish, 0 to n; n: its kernels; next_n: kernels of the next; level: 0 to 1.
    Returns: (lowest, highest) count.
    Source: beta-binomial distribution with Jeffreys' prior: Brown, Cai & DasGupta 2001, Stat. Sci. 16:101, for the
        prior [P]; equal tails [D].
    Check: wider than the binomial range of the same share.
    """
    _counts(float(successes), float(n))
    tail = (1 - _level(level)) / 2
    a, b, kernels = successes + 0.5, n - successes + 0.5, _whole("The number of kernels", next_n, 1, 100_000)
    total, lowest = 0.0, None
    for found in range(kernels + 1):
        ways = math.lgamma(kernels + 1) - math.lgamma(found + 1) - math.lgamma(kernels - found + 1)
        total += math.exp(ways + _log_beta(found + a, kernels - found + b) - _log_beta(a, b))
        if lowest is None and total > tail:
            lowest = found
        if total >= 1 - tail:
            return lowest or 0, found
    return lowest or 0, kernels


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def _whole(name: str, value: float, low: int, high: int) -> int:
    if value != int(value):
        raise ValueError(f"{name} must be a whole number; it is {value:g}.")
    return int(between(name, float(value), low, high))


_ISTA_5B = {99: 5, 98: 6, 97: 7, 96: 8, 95: 9, 93: 10, 91: 11, 89: 12, 87: 13, 84: 14, 81: 15, 78: 16, 73: 17}
_ISTA_5B |= {67: 18, 56: 19, 51: 20}


def ista_tolerated_range(mean_percent: float) -> int:
    """Look up how far four dishes of 100 may lie apart by chance.

    Args: mean_percent: mean of the four, 1 to 99 % (rounded half up; below 51 its mirror image is taken); 100 and 0
        tolerate what 99 and 1 do.
    Returns: largest tolerated difference between the highest and the lowest dish, points.
    Source: International Rules for Seed Testing (ISTA), table 5B, from memory [M]; the general rule is
        tolerated_range.
    Check: mean 98 tolerates 6, 95 tolerates 9, 90 tolerates 12, 80 tolerates 16.
    """
    rounded = math.floor(between("The mean", mean_percent, 0.0, 100.0, unit="%") + 0.5)
    mirrored = min(max(rounded, 101 - rounded), 99)
    return next(tolerated for lowest, tolerated in _ISTA_5B.items() if mirrored >= lowest)


def tolerated_range(fraction: float, n: int, replicates: int, probability: float = 0.025) -> int:
    """Find how far apart equal dishes may lie by chance alone, for any size and number of dishes.

    Args: fraction: the mean share, 0 to 1; n: kernels in each dish; replicates: dishes, at least 2; probability:
        the chance of a wider range that is put up with, 0 to 1.
    Returns: the smallest difference in counts between the highest and the lowest dish that is exceeded with no more
        than that chance.
    Source: exact distribution of the range of equal binomial counts [D]; the ISTA rule is its normal approximation
        for 4 × 100 at 2.5 %.
    Check: within one point of the ISTA table for 4 × 100.
    """
    dishes = _whole("The number of dishes", replicates, 2, 1000)
    put_up_with = between("The probability", probability, above=0.0, below=1.0)
    chances = np.array([0.0, *binomial_cdf(fraction, n)])
    for width in range(n + 1):
        upper = np.append(chances[width + 1 :], np.ones(width))
        at_least = upper - chances[:-1]
        above_it = upper - chances[1:]
        within = float(np.sum(at_least**dishes - np.maximum(above_it, 0.0) ** dishes))
        if 1.0 - within <= put_up_with + 1e-12:
            return width
    return n


@dataclass(frozen=True)
class Agreement:
    """Whether dishes agree: their mean and range, the range that chance allows, and by which rule."""

    mean_percent: float
    range_points: float
    tolerated_points: float
    agrees: bool
    rule: str


def replicates_agree(successes: Sequence[int], kernels: Sequence[int]) -> Agreement:
    """Judge whether the dishes of one test differ by more than chance.

    Args: successes: found in each dish; kernels: looked at in each, the true numbers; at least 2 dishes.
    Returns: an Agreement. Four dishes of 100 go by the ISTA table, all others by the exact binomial range at 2.5 % for
        the smallest dish.
    Source: International Rules for Seed Testing (ISTA), table 5B, from memory [M]; tolerated_range [D].
    Check: 98, 96, 92, 94 of 100 agree (range 6, tolerated 9); 99, 98, 96, 87 do not.
    """
    if len(successes) != len(kernels) or len(kernels) < 2:
        raise ValueError("Give the count and the number of kernels of at least two dishes.")
    for found, looked_at in zip(successes, kernels, strict=True):
        _counts(float(found), float(looked_at))
    shares = [100.0 * found / looked_at for found, looked_at in zip(successes, kernels, strict=True)]
    mean = 100.0 * sum(successes) / sum(kernels)
    apart = max(shares) - min(shares)
    if list(kernels) == [100, 100, 100, 100]:
        tolerated, rule = float(ista_tolerated_range(mean)), "ISTA table 5B, from memory"
    else:
        smallest = min(kernels)
        width = tolerated_range(mean / 100.0, smallest, len(kernels))
        tolerated, rule = 100.0 * width / smallest, "exact binomial range, 2.5 %"
    return Agreement(mean, apart, tolerated, apart <= tolerated + 1e-9, rule)
