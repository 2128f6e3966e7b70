"""Growth of the acrospire, the warmth it took, and what the living grain burns."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.science._checks import Array, between
from app.science.proportions import wilson_interval

CLASSES = ("to_quarter", "quarter_to_half", "half_to_three_quarters", "three_quarters_to_full", "over")
"""Classes of acrospire length against the kernel's, shortest first (EBC; ASBC Malt-2B)."""

NOT_MEASURED = ("broken", "mouldy", "not_sure")
"""Kernels looked at and set apart: they have no length and stay out of the mean."""

BARLEY_BASE_C = -1.7
"""Barley germination between 1 and 25 °C: the base, refitted to the nine temperatures of the data published with
drcSeedGerm (Onofri) [D]. A published base of 15 °C is only the lowest temperature of its own test."""

_HALF_CLASS = 0.125
_LOWER_EDGES = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
_UPPER_EDGES = np.array([0.25, 0.5, 0.75, 1.0, 1.25])

ClassCounts = Mapping[str, float] | Sequence[float]


def mean_acrospire(class_counts: ClassCounts, overgrown_as: float = 1.125) -> float:
    """Find the mean acrospire length from a growth count.

    Args: class_counts: kernels (or per cent) in the five classes 0–¼, ¼–½, ½–¾, ¾–1 and over 1, in this order or by
        name; overgrown_as: length that an overgrown one counts as, 1 to 2 kernel lengths, a convention to be printed.
    Returns: kernel lengths: the sum of class midpoint × share.
    Source: EBC and ASBC Malt-2B classes, from memory [M]; grouped mean [D].
    Check: 2/3/15/75/5 % is 0.81375 with overgrown as 1.0 and 0.8200 with 1.125.
    """
    shares = class_shares(class_counts)
    return float(shares @ _midpoints(overgrown_as))


def acrospire_sd(class_counts: ClassCounts, overgrown_as: float = 1.125) -> float:
    """Find the spread of acrospire length among kernels: how even the growth is.

    Args: as mean_acrospire; at least 2 kernels.
    Returns: standard deviation in kernel lengths, from class midpoints, with n - 1.
    Source: grouped standard deviation [D].
    Check: all in one class gives 0.
    """
    counts = _counts(class_counts)
    if counts.sum() < 2:
        raise ValueError("At least two kernels are needed to tell a spread.")
    middles = _midpoints(overgrown_as)
    squares = counts @ (middles - counts @ middles / counts.sum()) ** 2
    return math.sqrt(float(squares) / (float(counts.sum()) - 1))


def mean_acrospire_with_sd(class_counts: ClassCounts, overgrown_as: float = 1.125) -> tuple[float, float]:
    """Find the mean acrospire length with its standard uncertainty.

    Args: as mean_acrospire, but true counts, at least 2, and no percentages: their number sets the uncertainty.
    Returns: (mean, standard uncertainty of the mean), kernel lengths. Where all kernels fell in one class, half a
        class width over √3 stands in for the spread that the classes hide.
    Source: standard error of a grouped mean [D].
    Check: four times the kernels, half the uncertainty.
    """
    counts = _counts(class_counts)
    hidden = _HALF_CLASS / math.sqrt(3.0)
    spread = max(acrospire_sd(class_counts, overgrown_as), hidden)
    return mean_acrospire(class_counts, overgrown_as), spread / math.sqrt(float(counts.sum()))


def acrospire_bounds(class_counts: ClassCounts) -> tuple[float, float]:
    """Find how low and how high the mean can truly be, since classes hide where in them the kernels lie.

    Args: class_counts: as mean_acrospire.
    Returns: (lowest, highest) mean, kernel lengths; overgrown ones are taken as 1 to 1.25.
    Source: class edges [D].
    Check: 2/3/15/75/5 % lies between 0.695 and 0.945.
    """
    shares = class_shares(class_counts)
    return float(shares @ _LOWER_EDGES), float(shares @ _UPPER_EDGES)


def hidden_by_classes(class_counts: ClassCounts) -> float:
    """Find how far the mean by class midpoints may lie from the true one, since classes hide an advance within them.

    Args: class_counts: as mean_acrospire.
    Returns: kernel lengths: half a class width for each kernel in the shortest class and over 1, whose lengths pile up
        at one end; and for those between, half a class width × |p - q| × (1 - 10 r), at least 0, with p and q the
        shares in the two neighbouring classes that hold most and r that in the third: where all lie in two, they may
        crowd at the edge between them; where a tenth lies elsewhere, they are spread and the midpoints are fair.
    Source: class edges [D].
    Check: 100 in one class hide 0.125, 50 and 50 in two none, 80 and 20 0.075; of normal lengths of any mean and
        spread the mean by midpoints is no farther off.
    """
    shares = class_shares(class_counts)
    first, middle, last = (float(share) for share in shares[1:-1])
    most, other, rest = (first, middle, last) if first >= last else (last, middle, first)
    crowded = abs(most - other) * max(1.0 - 10.0 * rest, 0.0)
    return _HALF_CLASS * (float(shares[0] + shares[-1]) + crowded)


def class_shares(class_counts: ClassCounts) -> Array:
    """Turn a growth count into shares.

    Args: class_counts: as mean_acrospire.
    Returns: five fractions that sum to 1, shortest class first.
    Source: definition [D].
    Check: 2, 3, 15, 75 and 5 kernels are 0.02, 0.03, 0.15, 0.75 and 0.05.
    """
    counts = _counts(class_counts)
    return counts / float(counts.sum())


@dataclass(frozen=True)
class Share:
    """A share with its 95 % Wilson interval, all fractions."""

    share: float
    low: float
    high: float


def overgrown_share(class_counts: ClassCounts, level: float = 0.95) -> Share:
    """Find the share of kernels whose acrospire is longer than the kernel.

    Args: class_counts: true counts, as mean_acrospire; level: of the interval, 0 to 1.
    Returns: a Share.
    Source: definition [D]; interval: Wilson 1927 [P].
    Check: 5 of 100 is 0.05, from 0.0215 to 0.1118.
    """
    return _share(_counts(class_counts), 4, level)


def ungrown_share(class_counts: ClassCounts, level: float = 0.95) -> Share:
    """Find the share of kernels whose acrospire is under a quarter of the kernel: laggards and dead corns.

    Args: class_counts: true counts, as mean_acrospire; level: of the interval, 0 to 1.
    Returns: a Share.
    Source: definition [D]; interval: Wilson 1927 [P].
    Check: 2 of 100 is 0.02, from 0.0055 to 0.0700.
    """
    return _share(_counts(class_counts), 0, level)


def _share(counts: Array, index: int, level: float) -> Share:
    found, looked_at = float(counts[index]), float(counts.sum())
    low, high = wilson_interval(found, max(looked_at, 1.0), level)
    return Share(found / looked_at, low, high)


def evenness_share(class_counts: ClassCounts, neighbours: int = 2) -> float:
    """Find the largest share of kernels that lie in one class, or in two neighbouring ones.

    Args: class_counts: as mean_acrospire; neighbours: 1 or 2 classes.
    Returns: fraction, 0 to 1: near 1 where growth is even.
    Source: common practice [C].
    Check: 2/3/15/75/5 % is 0.75 in one class and 0.90 in two.
    """
    if neighbours not in (1, 2):
        raise ValueError("Evenness is told from one class or from two neighbouring ones.")
    shares = class_shares(class_counts)
    return float(max(shares[i : i + neighbours].sum() for i in range(6 - neighbours)))


def _midpoints(overgrown_as: float) -> Array:
    return np.array([0.125, 0.375, 0.625, 0.875, between("What an overgrown one counts as", overgrown_as, 1.0, 2.0)])


def _counts(class_counts: ClassCounts) -> Array:
    if isinstance(class_counts, Mapping):
        unknown = set(class_counts) - set(CLASSES) - set(NOT_MEASURED)
        if unknown:
            raise ValueError(f"Not classes of a growth count: {', '.join(sorted(unknown))}.")
        class_counts = [class_counts.get(name, 0.0) for name in CLASSES]
    counts = between("A count", np.asarray(class_counts, dtype=np.float64), 0.0)
    if counts.shape != (5,):
        raise ValueError("A growth count has five classes: 0–¼, ¼–½, ½–¾, ¾–1 and over 1.")
    if counts.sum() <= 0:
        raise ValueError("No kernel with a measured acrospire was counted.")
    return counts


def thermal_time_c_d(
    temperatures_c: float | Sequence[float] | Array, hours: float | Sequence[float] | Array, base_c: float
) -> float:
    """Add up the warmth above a base temperature.

    Args: temperatures_c: °C, -40 to 100; hours: how long each temperature was held, h; or, where they begin at 0 and
        rise, the hours at which they were read, with the temperature taken as straight between readings;
        base_c: °C, below which nothing moves.
    Returns: °C·d, the sum of max(0, T - base) × time.
    Source: thermal time, as in Garcia-Huidobro, Monteith & Squire 1982, J. Exp. Bot. 33:288 [P].
    Check: onion, base 2.5 °C: 4 d at 22.5 °C and 16 d at 7.5 °C are both 80 °C·d.
    """
    excess = np.atleast_1d(between("A temperature", np.asarray(temperatures_c, dtype=float), -40.0, 100.0, unit="°C"))
    excess = excess - between("The base temperature", base_c, -40.0, 100.0, unit="°C")
    times = np.atleast_1d(between("Hours", np.asarray(hours, dtype=float), 0.0, unit="h"))
    if excess.shape != times.shape:
        raise ValueError("Give one time for each temperature.")
    if times.size > 1 and times[0] == 0 and np.all(np.diff(times) > 0):
        return float(_area_above_zero(times, excess)) / 24.0
    return float(np.maximum(excess, 0.0) @ times) / 24.0


def _area_above_zero(times: Array, excess: Array) -> float:
    first, last, width = excess[:-1], excess[1:], np.diff(times)
    rise = np.maximum(first, 0.0) + np.maximum(last, 0.0)
    crosses = first * last < 0
    above = np.where(crosses, rise / np.maximum(np.abs(last - first), 1e-300), 1.0)
    return float(np.sum(rise / 2.0 * width * above))


@dataclass(frozen=True)
class Respiration:
    """What burning dry matter gives off and takes up."""

    heat_kj: float
    heat_kwh: float
    carbon_dioxide_kg: float
    oxygen_kg: float
    water_kg: float


def respiration(dry_matter_burnt_kg: float) -> Respiration:
    """Find the heat and the carbon dioxide of the dry matter that grain respires, taken as starch.

    Args: dry_matter_burnt_kg: kg, at least 0.
    Returns: a Respiration: 17.29 kJ, 1.629 g carbon dioxide, 1.184 g oxygen and 0.556 g water for each g.
    Source: C6H10O5 + 6 O2 = 6 CO2 + 5 H2O and the heat of combustion of starch [D].
    Check: 5 % of the dry matter of 1 t of barley at 12 % gives 211 kWh.
    """
    burnt = between("The dry matter burnt", dry_matter_burnt_kg, 0.0, unit="kg")
    heat_kj = 17290.0 * burnt
    return Respiration(heat_kj, heat_kj / 3600.0, 1.629 * burnt, 1.184 * burnt, 0.556 * burnt)
