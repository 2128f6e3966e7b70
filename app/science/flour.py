"""In the bakery: falling numbers do not mix, their liquefaction numbers do.

The falling number (FN, s) is how long a plunger takes to sink through a heated slurry of flour; the more enzyme, the
shorter.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from app.science._checks import Quantity, between

FLOOR_S = 62.0
"""The plunger takes about this long through water alone: at or below it the instrument tells nothing more."""

HIGHEST_US_FLOUR_SHARE = 0.0075
"""Malted barley in a product sold as flour in the United States: 21 CFR 137.105 [P]. No limit on a baker's dose."""


def liquefaction_number(falling_number_s: Quantity) -> Quantity:
    """Turn a falling number into the liquefaction number, which mixes in proportion.

    Args: falling_number_s: s, above 62, the instrument's floor.
    Returns: LN = 6000/(FN - 50).
    Source: Perten, falling number method; Hagberg 1961, Cereal Chem. 38:202, from memory for the citation [M].
    Check: 400 s is 17.14, 220 s is 35.29.
    """
    measured = between("The falling number (the instrument's floor)", falling_number_s, above=FLOOR_S, unit="s")
    return 6000.0 / (measured - 50.0)


def falling_number_s(liquefaction: Quantity) -> Quantity:
    """Turn a liquefaction number back into a falling number.

    Args: liquefaction: above 0.
    Returns: s: 6000/LN + 50.
    Source: as liquefaction_number [D].
    Check: 26.218 is 278.8 s.
    """
    return 6000.0 / between("The liquefaction number", liquefaction, above=0.0) + 50.0


def blend_falling_number_s(falling_numbers_s: Sequence[float], shares: Sequence[float]) -> float:
    """Find the falling number of a blend of flours.

    Args: falling_numbers_s: of each, s, above 62; shares: of each by mass, at least 0, in any unit.
    Returns: s.
    Source: liquefaction numbers mix in proportion: as liquefaction_number, and as much from memory [M].
    Check: 400 and 220 s half and half is 278.8 s, not 310.
    """
    numbers = liquefaction_number(np.asarray(falling_numbers_s, dtype=np.float64))
    weights = between("A share", np.asarray(shares, dtype=np.float64), 0.0)
    if numbers.shape != weights.shape or numbers.ndim != 1 or weights.sum() <= 0:
        raise ValueError("Give one share for each falling number, and at least one share above 0.")
    return falling_number_s(float(numbers @ weights / weights.sum()))


def share_for_target(flour_fn_s: float, malt_fn_s: float, target_fn_s: float) -> float:
    """Find the share of malt flour that brings a flour to a falling number.

    Args: flour_fn_s, malt_fn_s: of the two, s, above 62; target_fn_s: s, between the two.
    Returns: fraction of the blend that is malt flour, 0 to 1. Malt flour mostly reads the instrument's floor: then take
        malt_liquefaction_from_trial and share_for_liquefaction.
    Source: liquefaction numbers mix in proportion: as liquefaction_number [D].
    Check: flour 400 s, malt 220 s: half brings 278.8 s.
    """
    return share_for_liquefaction(flour_fn_s, liquefaction_number(malt_fn_s), target_fn_s)


def share_for_liquefaction(flour_fn_s: float, malt_liquefaction: float, target_fn_s: float) -> float:
    """Find the share of malt flour for a target from the malt's liquefaction number.

    Args: flour_fn_s, target_fn_s: s, above 62; malt_liquefaction: above that of the flour, as a trial blend gave it.
    Returns: fraction of the blend that is malt flour, 0 to 1.
    Source: liquefaction numbers mix in proportion [D].
    Check: gives back the share of the trial blend for the trial blend's own falling number.
    """
    flour = liquefaction_number(flour_fn_s)
    target = liquefaction_number(target_fn_s)
    malt = between("The malt's liquefaction number", malt_liquefaction, above=0.0)
    if malt == flour:
        raise ValueError("Malt and flour have the same falling number: no share of one changes the other.")
    share = (target - flour) / (malt - flour)
    if not -1e-12 <= share <= 1.0 + 1e-12:
        raise ValueError("The target lies outside what this flour and this malt can make together.")
    return min(max(share, 0.0), 1.0)


def malt_liquefaction_from_trial(flour_fn_s: float, trial_fn_s: float, malt_share: float) -> float:
    """Find the liquefaction number of malt flour from a trial blend, since alone it reads the instrument's floor.

    Args: flour_fn_s: of the flour alone, s; trial_fn_s: of the trial blend, s, above 62 and below the flour's;
        malt_share: malt flour in the trial blend by mass, above 0 to 1.
    Returns: the malt's liquefaction number.
    Source: liquefaction numbers mix in proportion [D].
    Check: flour 400 s; 0.2 % malt that brings 300 s acts with 3446.
    """
    flour, trial = liquefaction_number(flour_fn_s), liquefaction_number(trial_fn_s)
    if trial <= flour:
        raise ValueError("The trial blend must have a lower falling number than the flour alone.")
    return flour + (trial - flour) / between("The share of malt", malt_share, 0.0, 1.0, above=0.0)
