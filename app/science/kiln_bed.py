"""A bed on the kiln dries in two regimes.

Until the break point it gives off what the air can carry away and its weighings fall on a straight line; after it,
each kernel gives off what it can (the falling rate). A thin-layer law alone says that half of the water is gone in
74 min at 50 °C, where 24 kg of barley on 100 m³/h need 12 h: fit the rates of both regimes from the tray weighings.
Moistures with `_db` are kg water per kg dry matter, where drying adds up.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from app.science._checks import Quantity, between, number_or_array
from app.science.humid_air import DryingDuty, wet_bulb_c


class ChargeDuty(NamedTuple):
    """What drying a charge asks for at the least."""

    water_kg: float
    heat_mj: float
    air_m3: float


def evaporation_kg_per_h(
    air_flow_m3_per_s: Quantity, humidity_gain_kg_per_kg: Quantity, specific_volume_m3_per_kg: Quantity
) -> Quantity:
    """Water that an air flow carries out of a wet bed: the most that can go, however hot the grain.

    Args:
        air_flow_m3_per_s: m³/s, 0 or more, at the state of the specific volume.
        humidity_gain_kg_per_kg: ΔW, kg water per kg dry air, 0 or more (`humid_air.drying_duty` gives g).
        specific_volume_m3_per_kg: m³ per kg dry air where the flow is measured, above 0.
    Returns:
        evaporation, kg/h.
    Source: mass balance of the air [D].
    Check: 100 m³/h at 55 °C with ΔW 12.29 g/kg (15 °C, 70 % outside): 1.31 kg/h, that is 12.5 h for the 16.3 kg of
        water in 24 kg of barley at 45 % [D].
    """
    flow = between("Air flow", air_flow_m3_per_s, low=0.0, unit="m³/s")
    gain = between("Humidity gain", humidity_gain_kg_per_kg, low=0.0)
    answer: Quantity = flow * 3600.0 * gain / between("Specific volume", specific_volume_m3_per_kg, above=0.0)
    return answer


def constant_rate_db_per_h(evaporation_kg_h: Quantity, dry_mass_kg: Quantity) -> Quantity:
    """Fall of a bed's moisture while the air carries all it can.

    Args:
        evaporation_kg_h: kg water per h, 0 or more.
        dry_mass_kg: dry matter of the bed, kg, above 0.
    Returns:
        rate, kg/kg dry basis per h.
    Source: mass balance [D].
    Check: 1.31 kg/h from 21.12 kg dry matter: 0.062 per h [D].
    """
    mass = between("Dry mass", dry_mass_kg, above=0.0, unit="kg")
    answer: Quantity = between("Evaporation", evaporation_kg_h, low=0.0) / mass
    return answer


def break_point_db(constant_rate: Quantity, falling_rate: float, equilibrium_db: float) -> Quantity:
    """Moisture at which the kernels begin to give less than the air could carry, Me + r/k.

    Args:
        constant_rate: r, kg/kg dry basis per h, 0 or more.
        falling_rate: k, 1/h, above 0.
        equilibrium_db: Me, kg/kg dry basis, 0 or more.
    Returns:
        moisture, kg/kg dry basis.
    Source: where r = k(M − Me) [D].
    Check: r 0.06, k 0.3, Me 0.05: 0.25 [D].
    """
    k, end = between("Falling rate", falling_rate, above=0.0), between("Equilibrium", equilibrium_db, low=0.0)
    answer: Quantity = end + between("Constant rate", constant_rate, low=0.0) / k
    return answer


def moisture_after_db(
    hours: Quantity, initial_db: float, constant_rate: float, falling_rate: float, equilibrium_db: float
) -> Quantity:
    """Moisture of a bed after a time in both regimes, dM/dt = −min(r, k(M − Me)).

    Args:
        hours: time from the start, h, 0 or more.
        initial_db: M0, kg/kg dry basis, from Me to 3.
        constant_rate: r, kg/kg dry basis per h, above 0; infinity for a thin layer in plenty of air.
        falling_rate: k, 1/h, above 0.
        equilibrium_db: Me, kg/kg dry basis, 0 or more.
    Returns:
        moisture, kg/kg dry basis.
    Source: two-regime drying [C]; solution in closed form [D].
    Check: with r infinite it is the Lewis law; r 0.06, k 0.3, Me 0.05 from 0.80: 0.25 after 55/6 h [D].
    """
    start, rate, k, end = _regimes(initial_db, constant_rate, falling_rate, equilibrium_db)
    time: Any = np.asarray(between("Hours", hours, low=0.0, unit="h"))
    turn = min(start, end + rate / k)
    turn_h = (start - turn) / rate
    falling = end + (turn - end) * np.exp(-k * np.maximum(time - turn_h, 0.0))
    straight = start - (rate if math.isfinite(rate) else 0.0) * np.minimum(time, turn_h)
    answer: Quantity = number_or_array("Moisture", np.where(time < turn_h, straight, falling))
    return answer


def drying_time_h(
    target_db: Quantity, initial_db: float, constant_rate: float, falling_rate: float, equilibrium_db: float
) -> Quantity:
    """Time until a bed is down to a moisture; the inverse of `moisture_after_db`.

    Args:
        target_db: kg/kg dry basis, above Me, to M0. At or below Me it raises: it will never get that dry.
        initial_db, constant_rate, falling_rate, equilibrium_db: as for `moisture_after_db`.
    Returns:
        time, h.
    Source: `moisture_after_db` solved for t [D].
    Check: round trip; r 0.06, k 0.3, Me 0.05 from 0.80 to 0.25: 55/6 h [D].
    """
    start, rate, k, end = _regimes(initial_db, constant_rate, falling_rate, equilibrium_db)
    if np.any(np.asarray(target_db) <= end):
        raise ValueError("In this air the grain never gets that dry: the target is not above its equilibrium moisture.")
    target: Any = np.asarray(between("Target", target_db, high=start, unit="kg/kg dry basis"))
    turn = min(start, end + rate / k)
    straight = (start - np.maximum(target, turn)) / rate
    answer: Quantity = number_or_array("Time", straight + np.log((turn - end) / (np.minimum(target, turn) - end)) / k)
    return answer


def _regimes(initial: float, constant: float, falling: float, equilibrium: float) -> tuple[float, float, float, float]:
    end = between("Equilibrium", equilibrium, low=0.0)
    start = between("Initial moisture", initial, above=end, high=3.0, unit="kg/kg dry basis")
    if not constant > 0.0:
        raise ValueError(f"Constant rate must be more than 0; it is {constant:g}.")
    return start, float(constant), between("Falling rate", falling, above=0.0), end


def grain_temperature_c(
    air_on_temperature_c: Quantity, air_on_relative_humidity: Quantity, rate_share: Quantity
) -> Quantity:
    """Estimate of the temperature of drying grain: the wet bulb while it is wet, nearing air-on as drying slows.

    Args:
        air_on_temperature_c: °C, 0 to 99.
        air_on_relative_humidity: fraction, 0 to 1.
        rate_share: present drying rate as a share of the constant rate, 0 (dry) to 1 (before the break point).
    Returns:
        temperature, °C; an estimate for a layer in that air, always second to a probe in the grain.
    Source: heat balance of the kernel, heat drawn in proportion to evaporation [D].
    Check: share 1 gives `humid_air.wet_bulb_c`, share 0 air-on [D].
    """
    air_on = between("Air-on temperature", air_on_temperature_c, 0.0, 99.0, unit="°C")
    share = between("Rate share", rate_share, 0.0, 1.0)
    answer: Quantity = air_on - share * (air_on - wet_bulb_c(air_on, air_on_relative_humidity))
    return answer


def rate_share_by_air(air_on_c: Quantity, air_off_c: Quantity, wet_bulb_c: Quantity) -> Quantity:
    """Drying rate of a bed, or of all of it up to a layer, as a share of what the air could carry.

    Args:
        air_on_c: air into the bed, °C.
        air_off_c: air out of it, or the grain of the layer, °C.
        wet_bulb_c: wet bulb of the air-on air, °C, below air-on.
    Returns:
        (air-on − air-off)/(air-on − wet bulb), 0 to 1: 1 while the air leaves full, 0 from dry grain.
    Source: heat balance of the air, all heat that it loses spent on water [D].
    Check: 55 °C air with a wet bulb of 25 °C that leaves at 40 °C: 0.5; the inverse of `grain_temperature_c` [D].
    """
    heat: Any = np.asarray(air_on_c) - between("Wet bulb", wet_bulb_c, 0.0, unit="°C")
    if np.any(heat <= 0.0):
        raise ValueError("Air that is no warmer than its wet bulb dries nothing.")
    lost: Any = np.asarray(air_on_c) - np.asarray(air_off_c)
    answer: Quantity = number_or_array("Rate share", np.clip(lost / heat, 0.0, 1.0))
    return answer


def left_by_rate_share(rate_share: Quantity, drag: float) -> Quantity:
    """Water above equilibrium that is left of what there was at the break point, by the rate that is left.

    Args:
        rate_share: present rate as a share of the constant rate, 0 to 1, as of `rate_share_by_air`.
        drag: d of dM/dt = −k(M − Me)^(1 + d), 0 or more; 0 is the Lewis law.
    Returns:
        (M − Me)/(Mbreak − Me), 0 to 1.
    Source: the falling rate solved for M [D].
    Check: without drag it is the rate share itself; share 0.25 with drag 1: 0.5 [D].
    """
    share: Any = np.asarray(between("Rate share", rate_share, 0.0, 1.0))
    answer: Quantity = number_or_array("Share left", share ** (1.0 / (1.0 + between("Drag", drag, low=0.0))))
    return answer


def charge_duty(mass_kg: float, moisture_wb: float, target_moisture_wb: float, duty: DryingDuty) -> ChargeDuty:
    """Water still to go from a charge, and the heat and air that takes at the least.

    Args:
        mass_kg: mass now, kg, 0 or more.
        moisture_wb: moisture now, fraction wet basis, from the target to below 1.
        target_moisture_wb: fraction wet basis, 0 or more.
        duty: what a kilogram of water takes, from `humid_air.drying_duty`.
    Returns:
        water (kg), heat (MJ), air (m³ at air-on). Beyond the break point the air leaves drier and both are more.
    Source: mass balance [D].
    Check: 38.4 kg at 45 % to 4.5 %: 16.285 kg water; at 76.6 m³/kg 1247 m³ [D].
    """
    target = between("Target moisture", target_moisture_wb, 0.0, below=1.0)
    moisture = between("Moisture", moisture_wb, target, below=1.0)
    water = between("Mass", mass_kg, low=0.0, unit="kg") * (moisture - target) / (1.0 - target)
    return ChargeDuty(water, water * duty.heat_mj_per_kg, water * duty.air_m3_per_kg)
