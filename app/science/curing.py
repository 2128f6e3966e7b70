"""Curing against the forerunner of dimethyl sulphide: so many hours at one heat do what so many do at another.

The forerunner (S-methylmethionine) breaks up as it is heated, by a first-order law. Two sources say how much faster it
goes when hotter; they differ, and every answer here is given from the one to the other.
"""

from __future__ import annotations

import math

from app.science._checks import between
from app.science.enzymes import GAS_CONSTANT_J_PER_MOL_K

_KELVIN = 273.15
COLDEST_C, HOTTEST_C = 75.0, 100.0


def activation_j_per_mol(hours: float, temperature_c: float, other_hours: float, other_c: float) -> float:
    """Find the activation energy by which two curings do the same.

    Args: hours, other_hours: h, above 0; temperature_c, other_c: of the grain, °C, -50 to 300, not the same.
    Returns: J/mol: R ln(t1/t2) / (1/T1 - 1/T2).
    Source: Arrhenius' law solved for the energy [D].
    Check: 5.5 h at 84 °C and 3 h at 90 °C: 108.9 kJ/mol.
    """
    first, second = (
        between("The temperature", each, -50.0, 300.0, unit="°C") + _KELVIN for each in (temperature_c, other_c)
    )
    if first == second:
        raise ValueError("Two different temperatures are needed to tell what heat does.")
    ratio = between("Hours", hours, above=0.0, unit="h") / between("Hours", other_hours, above=0.0, unit="h")
    return GAS_CONSTANT_J_PER_MOL_K * math.log(ratio) / (1.0 / first - 1.0 / second)


BY_CURING_J_PER_MOL = activation_j_per_mol(5.5, 84.0, 3.0, 90.0)
"""A maltster's product sheet says that 5.5 h at 84 °C do what 3 h at 90 °C do [T]; the energy follows [D]."""

BY_BOILING_J_PER_MOL = activation_j_per_mol(2.0, 94.0, 1.0, 100.0)
"""In wort the half-life doubles for each 6 °C below boiling (milkthefunk.com/wiki/Dimethyl_Sulfide [T])."""


def equivalent_hours(hours: float, temperature_c: float, other_c: float) -> tuple[float, float]:
    """Find how long a curing at another heat does the same to the forerunner of dimethyl sulphide.

    Args: hours: h, 0 or more; temperature_c, other_c: of the grain, °C, 75 to 100.
    Returns: (shorter, longer), h: by the activation energy of two curings and by that of boiling wort.
    Source: first-order kinetics by Arrhenius [D], with BY_CURING_J_PER_MOL and BY_BOILING_J_PER_MOL [T].
    Check: 5.5 h at 84 °C: 2.6 to 3.0 h at 90 °C.
    """
    held = between("Hours", hours, 0.0, unit="h")
    kelvins = [
        between("The temperature", each, COLDEST_C, HOTTEST_C, unit="°C") + _KELVIN for each in (temperature_c, other_c)
    ]
    cold = (1.0 / kelvins[1] - 1.0 / kelvins[0]) / GAS_CONSTANT_J_PER_MOL_K
    ends = sorted(held * math.exp(energy * cold) for energy in (BY_CURING_J_PER_MOL, BY_BOILING_J_PER_MOL))
    return ends[0], ends[1]
