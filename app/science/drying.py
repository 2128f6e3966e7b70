"""Drying on the kiln: where it ends (`sorption`), how fast a thin layer goes (here), and how a bed goes (`kiln_bed`).

All of the chapter's functions are to be had by this name. Moistures with `_db` are on the dry basis, where drying
adds up.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from app.science._checks import Quantity, between, number_or_array
from app.science.kiln_bed import (
    ChargeDuty,
    break_point_db,
    charge_duty,
    constant_rate_db_per_h,
    drying_time_h,
    evaporation_kg_per_h,
    grain_temperature_c,
    left_by_rate_share,
    moisture_after_db,
    rate_share_by_air,
)
from app.science.sorption import HALF_WIDTH_WB, equilibrium_moisture_wb, equilibrium_relative_humidity

__all__ = [
    "HALF_WIDTH_WB",
    "ChargeDuty",
    "break_point_db",
    "charge_duty",
    "constant_rate_db_per_h",
    "drying_time_h",
    "equilibrium_moisture_wb",
    "equilibrium_relative_humidity",
    "evaporation_kg_per_h",
    "falling_equilibrium_db_percent",
    "falling_rate_per_h",
    "germination_loss_percent",
    "grain_temperature_c",
    "left_by_rate_share",
    "lewis_moisture_ratio",
    "lewis_rate_per_s",
    "moisture_after_db",
    "page_moisture_ratio",
    "page_time_h",
    "rate_at_temperature",
    "rate_share_by_air",
]

O_CALLAGHAN_KELVIN = 4426.0
"""Activation temperature Ea/R of barley's drying rate, O'Callaghan et al. 1971 [T]; 36.8 kJ/mol."""


def lewis_rate_per_s(temperature_c: Quantity) -> Quantity:
    """Drying rate of a thin layer of barley, k = 139.3·exp(−4426/(T+273)).

    Args:
        temperature_c: temperature of the air, °C, 0 to 120.
    Returns:
        k of `lewis_moisture_ratio`, 1/s.
    Source: O'Callaghan, Menzies & Bailey 1971 [T], with 273 as printed, not 273.15.
    Check: 50 °C: 1.559e-4 1/s [D].
    """
    temperature: Any = np.asarray(between("Temperature", temperature_c, 0.0, 120.0, unit="°C"))
    answer: Quantity = number_or_array("Rate", 139.3 * np.exp(-O_CALLAGHAN_KELVIN / (temperature + 273.0)))
    return answer


def lewis_moisture_ratio(hours: Quantity, rate_per_h: float) -> Quantity:
    """Share of the removable water that is left in a thin layer, (M − Me)/(M0 − Me) = exp(−kt).

    Args:
        hours: time, h, 0 or more.
        rate_per_h: k, 1/h, 0 or more (3600 times a rate in 1/s).
    Returns:
        moisture ratio, 0 to 1.
    Source: Lewis 1921 [D from first order].
    Check: at 50 °C (k of `lewis_rate_per_s`) half is gone in 74 min [D].
    """
    return page_moisture_ratio(hours, rate_per_h, 1.0)


def page_moisture_ratio(hours: Quantity, rate: float, power: float) -> Quantity:
    """Share of the removable water that is left in a thin layer, exp(−k·tⁿ).

    Args:
        hours: time, h, 0 or more.
        rate: k, 1/hⁿ, 0 or more.
        power: n, above 0 to 3; 1 makes it the Lewis law.
    Returns:
        moisture ratio, 0 to 1.
    Source: Page 1949 [C].
    Check: n = 1 is `lewis_moisture_ratio`; at t = k^(−1/n) 36.79 % is left [D].
    """
    time: Any = np.asarray(between("Hours", hours, low=0.0, unit="h"))
    k, n = between("Rate", rate, low=0.0), between("Power", power, above=0.0, high=3.0)
    answer: Quantity = number_or_array("Moisture ratio", np.exp(-k * time**n))
    return answer


def page_time_h(moisture_ratio: Quantity, rate: float, power: float) -> Quantity:
    """Time until a share of the removable water is left; the inverse of `page_moisture_ratio`.

    Args:
        moisture_ratio: above 0 to 1.
        rate: k, 1/hⁿ, above 0.
        power: n, above 0 to 3.
    Returns:
        time, h.
    Source: Page's law solved for t [D].
    Check: round trip with `page_moisture_ratio`.
    """
    ratio: Any = np.asarray(between("Moisture ratio", moisture_ratio, above=0.0, high=1.0))
    k, n = between("Rate", rate, above=0.0), between("Power", power, above=0.0, high=3.0)
    answer: Quantity = number_or_array("Time", (np.abs(np.log(ratio)) / k) ** (1.0 / n))
    return answer


def falling_rate_per_h(wet_bulb_depression_c: Quantity, initial_moisture_db_percent: Quantity) -> Quantity:
    """Falling drying rate of barley, k = 0.0727·exp(0.0788·ΔT − 0.00417·M0).

    Args:
        wet_bulb_depression_c: ΔT, dry bulb minus wet bulb of the air, °C, 0 to 55.
        initial_moisture_db_percent: M0, % dry basis, 10 to 120.
    Returns:
        k, 1/h.
    Source: Sasaki & Kanzaki 1972 [P].
    Check: the printed pairs of `germination_loss_percent`.
    """
    answer: Quantity = number_or_array("Rate", 0.0727 * _sasaki(wet_bulb_depression_c, initial_moisture_db_percent))
    return answer


def falling_equilibrium_db_percent(wet_bulb_depression_c: Quantity) -> Quantity:
    """Moisture that barley's falling rate leads to, Me = 12.39 − 0.224·ΔT.

    Args:
        wet_bulb_depression_c: ΔT, dry bulb minus wet bulb of the air, °C, 0 to 55.
    Returns:
        moisture, % dry basis.
    Source: Sasaki & Kanzaki 1972 [P].
    Check: ΔT 20 °C: 7.91 % [D].
    """
    answer: Quantity = 12.39 - 0.224 * between("Wet-bulb depression", wet_bulb_depression_c, 0.0, 55.0, unit="°C")
    return answer


def germination_loss_percent(wet_bulb_depression_c: Quantity, initial_moisture_db_percent: Quantity) -> Quantity:
    """Germination lost by drying barley too hard, M0·(0.063·exp(0.0788·ΔT − 0.00417·M0) − 0.085).

    Where the formula goes below 0 or above 100 the answer is held at 0 or 100.

    Args: as for `falling_rate_per_h`.
    Returns:
        points of germination lost, %, 0 to 100.
    Source: Sasaki & Kanzaki 1972 [P].
    Check: 5 % at M0 30, ΔT 19.2 and at M0 70, ΔT 15.2, as printed [P].
    """
    initial: Any = np.asarray(initial_moisture_db_percent)
    loss = initial * (0.063 * _sasaki(wet_bulb_depression_c, initial_moisture_db_percent) - 0.085)
    answer: Quantity = number_or_array("Loss", np.clip(loss, 0.0, 100.0))
    return answer


def _sasaki(wet_bulb_depression_c: Quantity, initial_moisture_db_percent: Quantity) -> Any:
    depression: Any = np.asarray(between("Wet-bulb depression", wet_bulb_depression_c, 0.0, 55.0, unit="°C"))
    initial: Any = np.asarray(between("Initial moisture", initial_moisture_db_percent, 10.0, 120.0, unit="% dry basis"))
    return np.exp(0.0788 * depression - 0.00417 * initial)


def rate_at_temperature(
    rate: Quantity, from_temperature_c: float, to_temperature_c: float, activation_k: float = O_CALLAGHAN_KELVIN
) -> Quantity:
    """A drying rate fitted at one air temperature, carried to another by the Arrhenius form.

    Args:
        rate: in any unit, 0 or more.
        from_temperature_c, to_temperature_c: °C, 0 to 120.
        activation_k: Ea/R, K, 0 to 15 000.
    Returns:
        rate at the other temperature, in its unit.
    Source: Arrhenius form of O'Callaghan et al. 1971 [T].
    Check: `lewis_rate_per_s` at 50 °C carried to 65 °C is `lewis_rate_per_s` at 65 °C [D].
    """
    start = between("From temperature", from_temperature_c, 0.0, 120.0, unit="°C") + 273.0
    end = between("To temperature", to_temperature_c, 0.0, 120.0, unit="°C") + 273.0
    activation = between("Activation temperature", activation_k, 0.0, 15000.0, unit="K")
    answer: Quantity = between("Rate", rate, low=0.0) * math.exp(activation * (1.0 / start - 1.0 / end))
    return answer
