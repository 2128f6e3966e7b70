"""How grain takes up water: the curves to fit to weighings, and what temperature and air rests do to their clock.

No published constant predicts a batch: k1 differs more than twofold between lots of barley (fitted to the weighings of
Molina-Cano et al. 1995 [D]). The curves are forms to fit, the species' figures only where a fit begins. Moistures here
are *dry basis* (kg water per kg dry matter), where uptake adds up.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from app.science._checks import Array, Quantity, between, number_or_array

ABSOLUTE_ZERO_C = -273.15
_R_J = 8.314462618
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)

WHEAT_ACTIVATION_J_PER_MOL = (29_500.0, 51_500.0)
"""Activation energy of 1/k1 or D for wheat: Yıldırım 29.5–39.9 kJ/mol, Becker 1960 12.3 kcal = 51.5 kJ/mol [P]."""

DEFAULT_ACTIVATION_J_PER_MOL = 40_000.0
"""Editable default, the middle of the published range for wheat [M]: 10 °C warmer is 1.8 times faster."""

DEFAULT_AIR_REST_SHARE = 0.3
"""Editable default: an hour of air rest, with its film of water, counts as this part of an hour immersed [M]."""


def weibull_gain(hours: Quantity, final_gain: float, scale_h: float, shape: float) -> Quantity:
    """Water gained after steeping, a·(1 − exp(−(t/β)^α)), in whatever unit the final gain is in.

    Args:
        hours: (effective) time under water, h, 0 or more.
        final_gain: a, the gain after very long; kg/kg, or % of the initial weight; above 0.
        scale_h: β, the time at which 63 % of it is in, h, above 0.
        shape: α, above 0 to 5; below 1 it starts fast and drags.
    Returns:
        gain, in the unit of `final_gain`.
    Source: the Weibull distribution as an uptake curve, a usual form for soaking grain [C].
    Check: at t = β the gain is 63.212 % of a [D]; fitted to published barley series it leaves at most
        0.3 % of weight (Molina-Cano et al. 1995 [P data, D]).
    """
    time = between("Hours", hours, low=0.0, unit="h")
    limit, scale = between("Final gain", final_gain, above=0.0), between("Scale", scale_h, above=0.0, unit="h")
    power = between("Shape", shape, above=0.0, high=5.0)
    gained: Any = -limit * np.expm1(-((np.asarray(time) / scale) ** power))
    answer: Quantity = number_or_array("Gain", gained)
    return answer


def arrhenius_factor(
    temperature_c: Quantity,
    reference_c: float,
    activation_j_per_mol: float = DEFAULT_ACTIVATION_J_PER_MOL,
) -> Quantity:
    """How many times faster a process runs at a temperature than at the reference, exp(−Ea/R·(1/T − 1/Tref)).

    Args:
        temperature_c: °C, −20 to 120.
        reference_c: °C, −20 to 120.
        activation_j_per_mol: Ea, J/mol, 0 to 500 000; for uptake 30 000–52 000 (`WHEAT_ACTIVATION_J_PER_MOL`).
    Returns:
        factor; 1 at the reference.
    Source: Arrhenius' law [D]; energies of uptake: Becker 1960, Yıldırım [P].
    Check: 51.5 kJ/mol from 10 to 20 °C: 2.1 (Becker 1960 [P]).
    """
    kelvin: Any = np.asarray(between("Temperature", temperature_c, -20.0, 120.0, unit="°C")) - ABSOLUTE_ZERO_C
    reference = between("Reference temperature", reference_c, -20.0, 120.0, unit="°C") - ABSOLUTE_ZERO_C
    energy = between("Activation energy", activation_j_per_mol, 0.0, 500_000.0, unit="J/mol")
    answer: Quantity = number_or_array("Factor", np.exp(energy / _R_J * (1.0 / reference - 1.0 / kelvin)))
    return answer


def effective_wet_time_h(
    hours: npt.ArrayLike,
    temperatures_c: npt.ArrayLike,
    is_immersed: npt.ArrayLike,
    reference_c: float,
    air_rest_share: float = DEFAULT_AIR_REST_SHARE,
    activation_j_per_mol: float = DEFAULT_ACTIVATION_J_PER_MOL,
) -> Array:
    """The clock that uptake runs by: hours under water at the reference temperature that would have done as much.

    An hour immersed counts 1, an hour of air rest `air_rest_share`, each times `arrhenius_factor` of the water's (in
    air rest the grain's) temperature. Temperatures are straight lines between the points, integrated by
    Gauss–Legendre of order 6.

    Args:
        hours: times, h, never falling; split where a stage or a straight line ends.
        temperatures_c: temperature at each time, °C, −20 to 120; two equal times make a jump.
        is_immersed: for each interval, one fewer than the times: True under water, False in air rest.
        reference_c: temperature at which the curve's constants hold, °C.
        air_rest_share: 0 to 1, default 0.3 [M], fitted where the weighings allow.
        activation_j_per_mol: as for `arrhenius_factor`.
    Returns:
        effective hours at each of the times, the first 0; use numpy.interp only between points close together.
    Source: time–temperature equivalence of the Arrhenius law [D]; the share [M].
    Check: 6 h immersed at the reference and 6 h of air rest at it with a share of 0.3: 7.8 h [D].
    """
    times, temperatures = np.asarray(hours, dtype=np.float64), np.asarray(temperatures_c, dtype=np.float64)
    wet = np.asarray(is_immersed, dtype=bool)
    if times.ndim != 1 or temperatures.shape != times.shape or wet.shape != (max(len(times) - 1, 0),):
        raise ValueError("Give as many temperatures as hours, and for each interval between them immersed or not.")
    if np.any(np.diff(number_or_array("Hours", times)) < 0):
        raise ValueError("Hours must not go backwards.")
    share = between("Air rest share", air_rest_share, 0.0, 1.0)
    along = temperatures[:-1, None] + np.diff(temperatures)[:, None] * (_NODES + 1.0) / 2.0
    factors = arrhenius_factor(along, reference_c, activation_j_per_mol) @ (_WEIGHTS / 2.0)
    return np.concatenate(([0.0], np.cumsum(np.diff(times) * factors * np.where(wet, 1.0, share))))
