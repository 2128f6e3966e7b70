"""Groups side by side: what sets them apart once what else differed is taken out.

One variance is shared by all groups, and each pair of them is judged by the interval of its own difference.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from app.science._checks import Array, between

_NEARLY_NONE = 1e-9


@dataclass(frozen=True)
class Apart:
    """First group less second with its interval. ends: None where no scatter is left to reckon one from.

    sd: standard error of the difference, None as well then.
    """

    first: Hashable
    second: Hashable
    difference: float
    sd: float | None
    ends: tuple[float, float] | None


@dataclass(frozen=True)
class Fit:
    """Groups fitted with what else may differ. sd: residual, one for all groups; None with no freedom left.

    apart: of the pairs whose difference the values tell; alone: those pairs of which they tell none, since what else
    differs goes along with the group.
    """

    freedom: int
    sd: float | None
    apart: tuple[Apart, ...]
    alone: tuple[tuple[Hashable, Hashable], ...]


def groups_apart(
    values: Sequence[float] | Array,
    groups: Sequence[Hashable],
    *others: Sequence[Hashable],
    level: float = 0.95,
) -> Fit:
    """Fit value = group + everything else + chance, and give the difference of each pair of groups with its interval.

    Args: values: at least 2, any unit; groups: the group of each value; others: for each thing else that may differ,
        such as programme and season, what it was for each value; level: of all intervals together, 0 to 1, both
        excluded.
    Returns: a Fit in the same unit, its pairs in the order in which groups first come. Least squares with fixed
        effects; the standard error by one pooled variance with n less the rank as degrees of freedom; each interval
        is the difference ± its standard error times the studentized range for so many groups, over √2.
    Source: least squares [D]; Tukey's method, NIST/SEMATECH e-Handbook, 7.4.7.1 [P]; for groups of different size
        from memory (Kramer) [M].
    Check: AtmWtAg of NIST's Statistical Reference Datasets: residual standard deviation 1.51048314446410E-05 with 46
        degrees of freedom, F 15.9467335677930; as scipy's tukey_hsd and f_oneway.
    """
    row = between("A value", np.asarray(values, dtype=np.float64))
    if row.ndim != 1 or row.size < 2 or any(len(each) != row.size for each in (groups, *others)):
        raise ValueError("Give at least two values, in one row, each with its group and all else that is given.")
    names = list(dict.fromkeys(groups))
    design = np.hstack([np.ones((row.size, 1)), _marks(groups), *map(_marks, others)])
    # From the middle: values that share many leading digits lose none to them.
    middle = float(row.mean())
    inverse = np.linalg.pinv(design)
    effects = inverse @ (row - middle)
    freedom = row.size - int(np.linalg.matrix_rank(design))
    left = row - middle - design @ effects
    sd = math.sqrt(float(left @ left) / freedom) if freedom > 0 else None
    reach = _studentized_range(level, len(names), freedom) / math.sqrt(2.0) if freedom > 0 and len(names) > 1 else 0.0
    apart, alone = [], []
    for (place, first), (other, second) in combinations(enumerate(names), 2):
        contrast = np.zeros(design.shape[1])
        contrast[1 + place], contrast[1 + other] = 1.0, -1.0
        if np.max(np.abs(contrast @ inverse @ design - contrast)) > _NEARLY_NONE:
            alone.append((first, second))
            continue
        difference = float(contrast @ effects)
        error = sd * float(np.linalg.norm(contrast @ inverse)) if sd is not None else None
        ends = (difference - reach * error, difference + reach * error) if error is not None else None
        apart.append(Apart(first, second, difference, error, ends))
    return Fit(freedom, sd, tuple(apart), tuple(alone))


def _marks(names: Sequence[Hashable]) -> Array:
    """A column for each name, 1 where it is that one."""
    known = {name: place for place, name in enumerate(dict.fromkeys(names))}
    marks = np.zeros((len(names), len(known)))
    marks[np.arange(len(names)), [known[name] for name in names]] = 1.0
    return marks


def _studentized_range(level: float, groups: int, freedom: int) -> float:
    from scipy.stats import studentized_range

    return float(studentized_range.ppf(between("The level", level, above=0.0, below=1.0), groups, freedom))
