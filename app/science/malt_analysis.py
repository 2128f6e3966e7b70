"""Malt in the hand: colour, extract, protein and diastatic power, and what a grist made of it can do.

Percentages here are per cent, as the names say: the trade's tables are written so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from app.science._checks import Quantity, between

GRIST_NEEDS_LINTNER = 35.0
"""About 30 to 40 °L let a grist convert itself (common practice [C]): an editable default."""

WORT_CORRECTION_FACTOR = 1.04
"""Refractometer reading over °Plato of unfermented wort, from memory [M]: an editable default of the instrument."""

PROTEIN_FACTORS: Mapping[str, float] = {"barley": 6.25, "malt": 6.25, "wheat": 5.7, "rye": 6.25, "oats": 6.25}
"""Nitrogen to protein: 6.25 for barley and malt; 5.7 for wheat from memory [M]: a setting."""

_PLATO_CUBIC = (135.997, -630.272, 1111.14, -616.868)
_LOWEST_SG, _HIGHEST_SG = 0.999, 1.179
_LOWEST_PLATO, _HIGHEST_PLATO = -0.3, 40.0


def windisch_kolbach_from_lintner(lintner: Quantity) -> Quantity:
    """Convert diastatic power from degrees Lintner to Windisch-Kolbach units.

    Args: lintner: °L (diastatic), at least 0.
    Returns: °WK = 3.5·°L - 16, not below 0.
    Source: EBC Analytica and ASBC, the common conversion, from memory [M].
    Check: 76 °L is 250 °WK.
    """
    power = between("The diastatic power", lintner, 0.0, unit="°L")
    return _not_below_zero(3.5 * power - 16.0)


def lintner_from_windisch_kolbach(windisch_kolbach: Quantity) -> Quantity:
    """Convert diastatic power from Windisch-Kolbach units to degrees Lintner.

    Args: windisch_kolbach: °WK, at least 0.
    Returns: °L = (°WK + 16)/3.5. 0 °WK stands for anything up to 4.6 °L.
    Source: EBC Analytica and ASBC, the common conversion, from memory [M].
    Check: 250 °WK is 76.0 °L.
    """
    return (between("The diastatic power", windisch_kolbach, 0.0, unit="°WK") + 16.0) / 3.5


def blended(values: Sequence[float], masses: Sequence[float]) -> float:
    """Find what a grist has of a property that mixes by mass, such as diastatic power, extract or protein.

    Args: values: of each part, any unit; masses: of each, at least 0 and not all 0, any one unit.
    Returns: the mean weighted by mass, same unit as the values.
    Source: identity [D].
    Check: 60 % at 100 °L and 40 % at 0 °L is 60 °L.
    """
    worth = between("A value", np.asarray(values, dtype=np.float64))
    weights = between("A mass", np.asarray(masses, dtype=np.float64), 0.0)
    if worth.shape != weights.shape or worth.ndim != 1 or weights.sum() <= 0:
        raise ValueError("Give one mass for each value, and at least one mass above 0.")
    return float(worth @ weights / weights.sum())


def largest_unmalted_share(malt_lintner: Quantity, needed_lintner: float = GRIST_NEEDS_LINTNER) -> Quantity:
    """Find how much of a grist may be unmalted grain, which brings no diastatic power of its own.

    Args: malt_lintner: measured diastatic power of the malt, °L, above 0; needed_lintner: what the grist must have,
        °L, at least 0 (both in °WK do as well).
    Returns: fraction of the grist, 1 - needed/malt; 0 where the malt has no power to spare.
    Source: identity [D]; 30 to 40 °L for a grist to convert itself, common practice [C].
    Check: malt of 140 °L, 35 °L needed: 0.75.
    """
    power = between("The malt's diastatic power", malt_lintner, above=0.0, unit="°L")
    return _not_below_zero(1.0 - between("The power needed", needed_lintner, 0.0, unit="°L") / power)


def ebc_from_lovibond(lovibond: Quantity) -> Quantity:
    """Convert malt colour from degrees Lovibond to EBC units.

    Args: lovibond: °L (colour), at least 0.
    Returns: EBC = 1.97 × (1.3546·°L - 0.76), not below 0.
    Source: EBC = 1.97·SRM, EBC and ASBC, from memory [M]; SRM = 1.3546·°L - 0.76, from memory [M].
    Check: 10 °L is 25.2 EBC.
    """
    return ebc_from_srm(srm_from_lovibond(lovibond))


def lovibond_from_ebc(ebc: Quantity) -> Quantity:
    """Convert malt colour from EBC units to degrees Lovibond: the inverse of ebc_from_lovibond.

    Args: ebc: EBC units, at least 0.
    Returns: °L (colour). 0 EBC stands for anything up to 0.56 °L.
    Source: as ebc_from_lovibond [P, M].
    Check: 25.19 EBC is 10 °L.
    """
    return (srm_from_ebc(ebc) + 0.76) / 1.3546


def srm_from_lovibond(lovibond: Quantity) -> Quantity:
    """Convert colour from degrees Lovibond to SRM.

    Args: lovibond: °L (colour), at least 0.
    Returns: SRM = 1.3546·°L - 0.76, not below 0.
    Source: from memory [M].
    Check: 10 °L is 12.786 SRM.
    """
    return _not_below_zero(1.3546 * between("The colour", lovibond, 0.0, unit="°L") - 0.76)


def ebc_from_srm(srm: Quantity) -> Quantity:
    """Convert colour from SRM to EBC units.

    Args: srm: SRM, at least 0.
    Returns: EBC = 1.97·SRM.
    Source: EBC and ASBC, from memory [M].
    Check: 10 SRM is 19.7 EBC.
    """
    return 1.97 * between("The colour", srm, 0.0, unit="SRM")


def srm_from_ebc(ebc: Quantity) -> Quantity:
    """Convert colour from EBC units to SRM.

    Args: ebc: EBC units, at least 0.
    Returns: SRM = EBC/1.97.
    Source: EBC and ASBC, from memory [M].
    Check: 19.7 EBC is 10 SRM.
    """
    return between("The colour", ebc, 0.0, unit="EBC") / 1.97


def extract_as_is_percent(
    plato: Quantity, malt_moisture_percent: float, malt_g: float = 50.0, water_g: float = 400.0
) -> Quantity:
    """Find the extract that a mash of any ratio got out of the malt as it is.

    Args: plato: of the wort, °P, 0 to under 100; malt_moisture_percent: 0 to under 100; malt_g: malt mashed, g, above
        0; water_g: all water at the end, g, above 0 (a mash made up to 450 g of 50 g malt has 400 g).
    Returns: per cent of the malt: P(M + 100·water/malt)/(100 - P), which is P(M + 800)/(100 - P) for the defaults.
    Source: EBC Analytica 4.5.1; ASBC Malt-4: the formula from the definition [D].
    Check: 8.60 °P and 4.5 %: 75.70; 50 g in 250 g, 14.0 °P and 5 %: 82.2.
    """
    wort = between("The wort's extract", plato, 0.0, below=100.0, unit="°P")
    moisture = between("The malt's moisture", malt_moisture_percent, 0.0, below=100.0, unit="%")
    malt = between("The malt mashed", malt_g, above=0.0, unit="g")
    ratio = between("The water", water_g, above=0.0, unit="g") / malt
    extract = wort * (moisture + 100.0 * ratio) / (100.0 - wort)
    return between("The extract (more than the malt's dry matter?)", extract, 0.0, 100.0 - moisture, unit="%")


def extract_dry_percent(
    plato: Quantity, malt_moisture_percent: float, malt_g: float = 50.0, water_g: float = 400.0
) -> Quantity:
    """Find the extract on the malt's dry matter.

    Args: as extract_as_is_percent.
    Returns: per cent of the dry matter: 100·E/(100 - M).
    Source: EBC Analytica 4.5.1; ASBC Malt-4: the formula from the definition [D].
    Check: 8.60 °P and 4.5 %: 79.26; 50 g in 250 g, 14.0 °P and 5 %: 86.5.
    """
    as_is = extract_as_is_percent(plato, malt_moisture_percent, malt_g, water_g)
    return 100.0 * as_is / (100.0 - malt_moisture_percent)


def plato_from_sg(specific_gravity: Quantity) -> Quantity:
    """Convert the specific gravity of wort to degrees Plato.

    Args: specific_gravity: 20/20 °C, 0.999 to 1.179.
    Returns: °P: 135.997·S³ - 630.272·S² + 1111.14·S - 616.868.
    Source: ASBC, polynomial fitted to the Plato tables, from memory [M].
    Check: 1.040 is 9.994 °P, 1.080 is 19.331 °P.
    """
    gravity = between("The specific gravity", specific_gravity, _LOWEST_SG, _HIGHEST_SG)
    return _plato(gravity)


def sg_from_plato(plato: Quantity) -> Quantity:
    """Convert degrees Plato to specific gravity: the inverse of plato_from_sg.

    Args: plato: °P, -0.3 to 40.
    Returns: specific gravity, 20/20 °C.
    Source: the ASBC polynomial solved by Newton's method, which converges since the polynomial only rises [D].
    Check: 9.994 °P is 1.040, 19.331 °P is 1.080.
    """
    target = between("The extract", plato, _LOWEST_PLATO, _HIGHEST_PLATO, unit="°P")
    a, b, c, _ = _PLATO_CUBIC
    gravity = 1.0 + 0.004 * target
    for _step in range(8):
        gravity = gravity - (_plato(gravity) - target) / (3 * a * gravity**2 + 2 * b * gravity + c)
    return gravity


def _plato(gravity: Quantity) -> Quantity:
    a, b, c, d = _PLATO_CUBIC
    return ((a * gravity + b) * gravity + c) * gravity + d


def plato_from_refractometer(reading_brix: Quantity, correction_factor: float = WORT_CORRECTION_FACTOR) -> Quantity:
    """Correct a refractometer, which is made for sugar, for unfermented wort.

    Args: reading_brix: °Bx, 0 to 40; correction_factor: of this instrument, 0.9 to 1.2, found beside a hydrometer.
    Returns: °P: reading / factor. Not for anything that has begun to ferment.
    Source: common practice; the default factor from memory [M].
    Check: 10.4 °Bx with 1.04 is 10.0 °P.
    """
    reading = between("The reading", reading_brix, 0.0, 40.0, unit="°Bx")
    return reading / between("The correction factor", correction_factor, 0.9, 1.2)


def kolbach_index(soluble_nitrogen: Quantity, total_nitrogen: float) -> Quantity:
    """Find the Kolbach index: how much of the malt's protein went into solution.

    Args: soluble_nitrogen: of the congress wort, on the malt's basis, at least 0; total_nitrogen: of the malt, same
        unit and basis, no less.
    Returns: per cent.
    Source: EBC Analytica 4.9.1; MEBAK: definition [D].
    Check: 0.70 of 1.75 % is 40.
    """
    total = between("The total nitrogen", total_nitrogen, above=0.0)
    return 100.0 * between("The soluble nitrogen", soluble_nitrogen, 0.0, total) / total


def protein_percent(nitrogen_percent: Quantity, factor: float = 6.25) -> Quantity:
    """Find the protein from the nitrogen.

    Args: nitrogen_percent: 0 to 15 %; factor: 5 to 7: 6.25 for barley and malt, others in PROTEIN_FACTORS.
    Returns: per cent, on the same basis.
    Source: EBC Analytica 3.3 and 4.3: 6.25, from memory [M].
    Check: 1.76 % nitrogen is 11.0 % protein.
    """
    nitrogen = between("The nitrogen", nitrogen_percent, 0.0, 15.0, unit="%")
    return nitrogen * between("The factor", factor, 5.0, 7.0)


def conversion_against_reference(minutes_to_no_blue: Quantity, reference_minutes: float) -> Quantity:
    """Compare a malt with a reference malt in the kitchen test of starch conversion.

    Args: minutes_to_no_blue: until a drop of iodine stays brown, min, above 0; reference_minutes: of the reference
        malt tested beside it on the same gel, min, above 0.
    Returns: power relative to the reference: 1 is alike, 2 is twice as fast. The house's own scale, no diastatic power.
    Source: identity [D].
    Check: 10 min against 20 min is 2.
    """
    taken = between("The time", minutes_to_no_blue, above=0.0, unit="min")
    return between("The reference's time", reference_minutes, above=0.0, unit="min") / taken


def _not_below_zero(value: Quantity) -> Quantity:
    return np.maximum(value, 0.0) if isinstance(value, np.ndarray) else max(value, 0.0)
