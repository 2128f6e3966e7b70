"""What the heat did to the enzymes: wet-mash inactivation, and hours above a ceiling.

The kinetics are those of a *mash*. Constants that depend on moisture, for green malt on a kiln, are published but
could not be had, and wet constants say nothing of dry malt: wet β-amylase at 80 °C halves in half a second, yet
40–60 % of the activity survives normal kilning (Young, Encyclopaedia Britannica [P]). So below 15 % moisture or
above 75 °C these functions answer "outside the range" instead of a number, and the exposure above a ceiling,
which is only arithmetic on the measured temperature, is what a kiln is judged by.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from app.science._checks import Array, Quantity, between, number_or_array, one_of

GAS_CONSTANT_J_PER_MOL_K = 8.314462618
"""CODATA 2018, exact by the SI's definition [P]."""

LOWEST_MOISTURE_WB = 0.15
HIGHEST_TEMPERATURE_C = 75.0
_ABSOLUTE_ZERO_C = -273.15


class Inactivation(NamedTuple):
    """First-order inactivation: rate = rate_constant_per_s * exp(-activation_j_per_mol / (R T))."""

    rate_constant_per_s: float
    activation_j_per_mol: float


ENZYMES = {
    "alpha_amylase": Inactivation(6.9e30, 224.2e3),
    "beta_amylase": Inactivation(7.6e60, 410.7e3),
}
"""Wet (mash) constants, Marc et al. 1983 as used by Brandam et al. 2003, Biochem. Eng. J. 13:43 [M: from memory]."""


class Exposure(NamedTuple):
    """Time spent above a ceiling: `hours`, and `degree_hours` (°C h), the area between the two curves."""

    hours: float
    degree_hours: float


def inactivation_rate_per_s(temperature_c: Quantity, enzyme: str) -> Quantity:
    """Rate of first-order inactivation in a wet mash, k0·exp(−Ea/RT).

    Args:
        temperature_c: temperature of the mash or of wet grain, °C, 0 to 75.
        enzyme: `alpha_amylase` or `beta_amylase`.
    Returns:
        rate, 1/s.
    Source: Marc et al. 1983, as used by Brandam et al. 2003, Biochem. Eng. J. 13:43 [M: constants from memory].
    Check: ln 2 / rate at 65 °C is 72 min for α-amylase and 4.2 min for β-amylase.
    """
    constants = ENZYMES[one_of("enzyme", enzyme, ENZYMES)]
    checked = between("Temperature", temperature_c, 0.0, HIGHEST_TEMPERATURE_C, unit="°C")
    rate: Any = _rate_per_h(np.asarray(checked), constants) / 3600.0
    answer: Quantity = number_or_array("Rate", rate)
    return answer


def half_life_min(temperature_c: Quantity, enzyme: str) -> Quantity:
    """Time in which half of an enzyme's activity is lost in a wet mash.

    Args:
        temperature_c: temperature, °C, 0 to 75.
        enzyme: `alpha_amylase` or `beta_amylase`.
    Returns:
        half-life, min.
    Source: first-order kinetics [D] with the constants of `inactivation_rate_per_s` [M].
    Check: at 65 °C 72 min for α-amylase, 4.2 min for β-amylase (measured in mash: β-amylase about 10 min, Muller
        [P, secondary]).
    """
    return math.log(2.0) / inactivation_rate_per_s(temperature_c, enzyme) / 60.0


def surviving_fraction(
    hours: npt.ArrayLike, temperatures_c: npt.ArrayLike, enzyme: str, moisture_wb: npt.ArrayLike | None = None
) -> float:
    """Share of an enzyme's activity that is left after a run of temperatures, by the wet kinetics.

    The temperature is taken as straight lines between the given points and the rate is integrated along them
    (Gauss–Legendre of order 8 on pieces of at most 4 °C), so that a ramp is not replaced by its mean.

    Args:
        hours: times, h, never falling; two equal times make a jump.
        temperatures_c: temperature at each time, °C, 0 to 75.
        enzyme: `alpha_amylase` or `beta_amylase`.
        moisture_wb: moisture of the grain at each time (or one number), fraction wet basis, 0.15 to 1; left out
            for a mash. Drier grain, like hotter, is outside the range of the kinetics and raises.
    Returns:
        fraction of the starting activity, 0 to 1.
    Source: dA/dt = −k0·exp(−Ea/RT)·A, Marc et al. 1983 as used by Brandam et al. 2003 [M]; quadrature [D].
    Check: one half-life at a steady 65 °C (β-amylase 4.2 min) leaves 0.5.
    """
    return float(surviving_fractions(hours, temperatures_c, enzyme, moisture_wb)[-1])


def surviving_fractions(
    hours: npt.ArrayLike, temperatures_c: npt.ArrayLike, enzyme: str, moisture_wb: npt.ArrayLike | None = None
) -> Array:
    """Share of an enzyme's activity that is left at each of the given times.

    Args: as for `surviving_fraction`.
    Returns:
        fractions of the starting activity, 0 to 1, one for each time; the first is 1.
    Source: as for `surviving_fraction` [M, D].
    Check: the last value equals `surviving_fraction`; the values never rise.
    """
    constants = ENZYMES[one_of("enzyme", enzyme, ENZYMES)]
    times, temperatures = _run(hours, temperatures_c)
    if moisture_wb is not None:
        _refuse_dry(np.broadcast_to(np.asarray(moisture_wb, dtype=np.float64), times.shape))
    _refuse_hot(temperatures)
    exposure = np.concatenate(([0.0], np.cumsum(_segment_integrals(times, temperatures, constants))))
    return np.exp(-exposure)


def hours_and_degree_hours_above(
    hours: npt.ArrayLike, temperatures_c: npt.ArrayLike, ceiling_c: npt.ArrayLike
) -> Exposure:
    """How long, and by how much, a temperature stood above a ceiling; exact for straight lines between the points.

    Args:
        hours: times, h, never falling; two equal times make a jump.
        temperatures_c: temperature at each time, °C.
        ceiling_c: the ceiling, °C: one number; or one for each time (straight lines between them); or one for each
            interval, that is one fewer than the times (steps). Infinity means no ceiling there.
    Returns:
        hours above, and degree-hours above (°C h, the area between the curves).
    Source: area under straight lines [D].
    Check: a rise from 50 to 70 °C in 2 h against a ceiling of 60 °C: 1 h and 5 °C h.
    """
    times, temperatures = _run(hours, temperatures_c)
    ceiling = np.asarray(ceiling_c, dtype=np.float64)
    if np.any(np.isnan(ceiling)) or np.any(ceiling == -np.inf):
        raise ValueError("Ceiling must be a temperature, or infinity for no ceiling.")
    if ceiling.ndim == 0:
        ceiling = np.broadcast_to(ceiling, times.shape)
    if len(ceiling) == len(times):
        before, after = temperatures[:-1] - ceiling[:-1], temperatures[1:] - ceiling[1:]
    elif len(ceiling) == len(times) - 1:
        before, after = temperatures[:-1] - ceiling, temperatures[1:] - ceiling
    else:
        raise ValueError("Ceiling must be one number, one for each time, or one for each interval between the times.")
    first, last = _part_above_zero(before, after)
    above_h = np.diff(times) * np.clip(last - first, 0.0, 1.0)
    mean_excess = (np.maximum(before, 0.0) + np.maximum(after, 0.0)) / 2.0
    return Exposure(float(above_h.sum()), float((above_h * mean_excess).sum()))


def _run(hours: npt.ArrayLike, temperatures_c: npt.ArrayLike) -> tuple[Array, Array]:
    times = np.asarray(number_or_array("Hours", np.asarray(hours, dtype=np.float64)))
    temperatures = np.asarray(number_or_array("Temperatures", np.asarray(temperatures_c, dtype=np.float64)))
    if times.ndim != 1 or temperatures.shape != times.shape or len(times) == 0:
        raise ValueError("Hours and temperatures must be two rows of the same length, at least one long.")
    if np.any(np.diff(times) < 0):
        raise ValueError("Hours must not go backwards.")
    return times, temperatures


def _refuse_dry(moistures: Array) -> None:
    between("Moisture", moistures, 0.0, 1.0)
    if np.any(moistures < LOWEST_MOISTURE_WB):
        raise ValueError(
            f"The wet kinetics say nothing of grain below {LOWEST_MOISTURE_WB:.0%} moisture: {moistures.min():.1%}."
        )


def _refuse_hot(temperatures: Array) -> None:
    between("Temperature", temperatures, low=0.0, unit="°C")
    if np.any(temperatures > HIGHEST_TEMPERATURE_C):
        raise ValueError(
            f"The wet kinetics hold up to {HIGHEST_TEMPERATURE_C:g} °C; the run went to {temperatures.max():g} °C."
        )


def _rate_per_h(temperatures: Array, constants: Inactivation) -> Array:
    kelvin = temperatures - _ABSOLUTE_ZERO_C
    exponent = constants.activation_j_per_mol / (GAS_CONSTANT_J_PER_MOL_K * kelvin)
    # Through the logarithm: 7.6e60 times a number near 1e-64 keeps its digits only if added as exponents.
    return np.asarray(3600.0 * np.exp(math.log(constants.rate_constant_per_s) - exponent))


def _segment_integrals(times: Array, temperatures: Array, constants: Inactivation) -> Array:
    return _integrals(np.diff(times), temperatures[:-1], temperatures[1:], constants)


def _integrals(durations: Array, first: Array, last: Array, constants: Inactivation) -> Array:
    """Integrate the rate along straight lines of temperature, several pieces to a line where it is steep."""
    pieces = np.maximum(1, np.ceil(np.abs(last - first) / 4.0)).astype(int)
    line = np.repeat(np.arange(len(durations)), pieces)
    number = np.arange(len(line)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    position = (number[:, None] + (nodes + 1.0) / 2.0) / pieces[line][:, None]
    along = first[line][:, None] + (last - first)[line][:, None] * position
    mean_rates = _rate_per_h(along, constants) @ (weights / 2.0)
    return np.bincount(line, mean_rates * (durations / pieces)[line], minlength=len(durations)).astype(np.float64)


def _part_above_zero(first: Array, last: Array) -> tuple[Array, Array]:
    """Where along each straight line, from 0 to 1, the value is above zero: start and end of that part."""
    with np.errstate(invalid="ignore", divide="ignore"):
        crossing = np.where(np.isinf(first), 1.0, first / (first - last))
    rises, falls = (first < 0) & (last > 0), (first > 0) & (last < 0)
    none = (first <= 0) & (last <= 0)
    start = np.where(rises, crossing, 0.0)
    end = np.where(falls, crossing, 1.0)
    return start, np.where(none, start, end)
