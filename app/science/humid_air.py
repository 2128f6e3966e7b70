"""Moist air: what it holds, how warm wet grain is in it, and what drying with it costs.

Thin functions around PsychroLib 2.5 (D. Meyer and D. Thevenard 2019, JOSS 4:1137), which follows the ASHRAE Handbook
of Fundamentals 2017, chapter 1. Pressures are those of the air, 50 000 to 110 000 Pa; use `standard_pressure_pa` for
a malthouse in the hills.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from app.science._checks import Quantity, between, number_or_array
from app.science._moist_air import PSYCHRO, each, humidity, pressure, refuse_boiling, temperature

STANDARD_PRESSURE_PA = 101325.0
"""The standard atmosphere at sea level, ASHRAE Fundamentals 2017, chapter 1, eq. 3 [P]."""


class AirOff(NamedTuple):
    """Air that has passed a wet bed."""

    temperature_c: float
    humidity_ratio_kg_per_kg: float


class DryingDuty(NamedTuple):
    """What one kilogram of evaporated water asks of the air that carries it away."""

    humidity_gain_g_per_kg: float
    heat_mj_per_kg: float
    air_m3_per_kg: float
    air_off_temperature_c: float


def saturation_pressure_pa(temperature_c: Quantity) -> Quantity:
    """Pressure of water vapour in saturated air, over ice below the triple point.

    Args:
        temperature_c: dry-bulb temperature, °C, −40 to 150.
    Returns:
        pressure, Pa.
    Source: ASHRAE Fundamentals 2017, chapter 1, eq. 5 and 6, through PsychroLib [P].
    Check: 25 °C 3169.7 Pa, 50 °C 12351.3 Pa (ASHRAE Fundamentals 2017, chapter 1, table 3 [P]).
    """
    return each(PSYCHRO.GetSatVapPres, temperature(temperature_c))


def humidity_ratio(
    temperature_c: Quantity, relative_humidity: Quantity, pressure_pa: float = STANDARD_PRESSURE_PA
) -> Quantity:
    """Water carried by each kilogram of dry air.

    Args:
        temperature_c: dry-bulb temperature, °C, −40 to 150, and below boiling at that pressure.
        relative_humidity: fraction, 0 to 1.
        pressure_pa: pressure of the air, Pa, 50 000 to 110 000.
    Returns:
        humidity ratio, kg water per kg dry air.
    Source: ASHRAE Fundamentals 2017, chapter 1, eq. 20 and 22, through PsychroLib [P].
    Check: 40 °C and 14 %: 0.0065, as read from the chart to the last digit (ASHRAE Fundamentals 2017, chapter 1,
        example 1 [P]).
    """
    dry_bulb, fraction = temperature(temperature_c), humidity(relative_humidity)
    refuse_boiling(dry_bulb, fraction, pressure(pressure_pa))
    return each(PSYCHRO.GetHumRatioFromRelHum, dry_bulb, fraction, pressure_pa)


def humidity_ratio_from_wet_bulb(
    temperature_c: Quantity, wet_bulb_c: Quantity, pressure_pa: float = STANDARD_PRESSURE_PA
) -> Quantity:
    """Water carried by each kilogram of dry air, from a dry- and a wet-bulb thermometer.

    Args:
        temperature_c: dry-bulb temperature, °C, −40 to 99.
        wet_bulb_c: wet-bulb temperature, °C, not above the dry bulb and not below what bone-dry air would show.
        pressure_pa: pressure of the air, Pa, 50 000 to 110 000.
    Returns:
        humidity ratio, kg water per kg dry air.
    Source: ASHRAE Fundamentals 2017, chapter 1, eq. 33 and 35, through PsychroLib [P].
    Check: 40 °C dry, 20 °C wet: 0.0065, as read from the chart to the last digit; eq. 33 gives 0.00640 (ASHRAE
        Fundamentals 2017, chapter 1, example 1 [P]).
    """
    dry_bulb, wet_bulb = temperature(temperature_c), temperature(wet_bulb_c, "Wet bulb")
    if np.any(np.asarray(wet_bulb) > np.asarray(dry_bulb)):
        raise ValueError("Wet bulb must not be above the dry bulb.")
    refuse_boiling(wet_bulb, 1.0, pressure(pressure_pa))
    # A hundredth of a degree in hand: a wet bulb found to 0.001 °C may come out under that of bone-dry air.
    with_margin = np.minimum(np.asarray(wet_bulb) + 0.01, dry_bulb)
    if np.any(
        each(PSYCHRO.GetHumRatioFromTWetBulb, np.asarray(dry_bulb), with_margin, pressure_pa) <= PSYCHRO.MIN_HUM_RATIO
    ):
        raise ValueError("Wet bulb is lower than even bone-dry air would show: one of the two thermometers is wrong.")
    return each(PSYCHRO.GetHumRatioFromTWetBulb, dry_bulb, wet_bulb, pressure_pa)


def relative_humidity(
    temperature_c: Quantity, humidity_ratio_kg_per_kg: Quantity, pressure_pa: float = STANDARD_PRESSURE_PA
) -> Quantity:
    """Relative humidity of air that carries a known amount of water; more than 1 would be fog, and raises.

    Args:
        temperature_c: dry-bulb temperature, °C, −40 to 150.
        humidity_ratio_kg_per_kg: kg water per kg dry air, 0 to saturation.
        pressure_pa: pressure of the air, Pa, 50 000 to 110 000.
    Returns:
        fraction, 0 to 1.
    Source: ASHRAE Fundamentals 2017, chapter 1, eq. 20 and 22, through PsychroLib [P].
    Check: 40 °C with a wet bulb of 20 °C: 14 % (ASHRAE Fundamentals 2017, chapter 1, example 1 [P]).
    """
    ratio = between("Humidity ratio", humidity_ratio_kg_per_kg, low=0.0)
    found: Any = each(PSYCHRO.GetRelHumFromHumRatio, temperature(temperature_c), ratio, pressure(pressure_pa))
    if np.any(np.asarray(found) > 1.0 + 1e-9):
        raise ValueError("Air at that temperature cannot hold that much water: it would be fog.")
    answer: Quantity = number_or_array("Relative humidity", np.minimum(found, 1.0))
    return answer


def wet_bulb_c(
    temperature_c: Quantity, relative_humidity: Quantity, pressure_pa: float = STANDARD_PRESSURE_PA
) -> Quantity:
    """Wet-bulb temperature: near enough the temperature of wet grain that is drying in the air.

    Args:
        temperature_c: dry-bulb temperature, °C, −40 to 99.
        relative_humidity: fraction, 0 to 1.
        pressure_pa: pressure of the air, Pa, 50 000 to 110 000.
    Returns:
        wet-bulb temperature, °C, found to 0.001 °C.
    Source: ASHRAE Fundamentals 2017, chapter 1, eq. 33 and 35, through PsychroLib [P].
    Check: 40 °C at the humidity ratio of example 1 (RH 14 %): 20 °C (ASHRAE Fundamentals 2017, chapter 1 [P]).
    """
    dry_bulb, fraction = between("Temperature", temperature_c, -40.0, 99.0, unit="°C"), humidity(relative_humidity)
    refuse_boiling(dry_bulb, 1.0, pressure(pressure_pa))
    return each(PSYCHRO.GetTWetBulbFromRelHum, dry_bulb, fraction, pressure_pa)


def dew_point_c(temperature_c: Quantity, relative_humidity: Quantity) -> Quantity:
    """Temperature at which the water in the air begins to settle on a wall.

    Args:
        temperature_c: dry-bulb temperature, °C, −40 to 150.
        relative_humidity: fraction, above 0 (at least 0.005) to 1.
    Returns:
        dew point (frost point below freezing), °C.
    Source: inverse of ASHRAE Fundamentals 2017, chapter 1, eq. 5 and 6, through PsychroLib [P].
    Check: at RH 1 it is the dry-bulb temperature; 40 °C and RH 14 %: 7 °C (ASHRAE 2017, example 1 [M]).
    """
    humidity = between("Relative humidity", relative_humidity, 0.005, 1.0)
    return each(PSYCHRO.GetTDewPointFromRelHum, temperature(temperature_c), humidity)


def enthalpy_kj_per_kg(temperature_c: Quantity, humidity_ratio_kg_per_kg: Quantity) -> Quantity:
    """Heat content of moist air, counted from dry air and liquid water at 0 °C.

    Args:
        temperature_c: dry-bulb temperature, °C, −40 to 150.
        humidity_ratio_kg_per_kg: kg water per kg dry air, 0 or more.
    Returns:
        enthalpy, kJ per kg dry air.
    Source: ASHRAE Fundamentals 2017, chapter 1, eq. 30, through PsychroLib [P].
    Check: 40 °C and a wet bulb of 20 °C: 56.7 kJ/kg (ASHRAE Fundamentals 2017, chapter 1, example 1 [P]).
    """
    ratio = between("Humidity ratio", humidity_ratio_kg_per_kg, low=0.0)
    return each(PSYCHRO.GetMoistAirEnthalpy, temperature(temperature_c), ratio) / 1000.0


def specific_volume_m3_per_kg(
    temperature_c: Quantity, humidity_ratio_kg_per_kg: Quantity, pressure_pa: float = STANDARD_PRESSURE_PA
) -> Quantity:
    """Volume of moist air to each kilogram of *dry* air: what turns m³/s of a fan into kg/s of dry air.

    Args:
        temperature_c: dry-bulb temperature, °C, −40 to 150.
        humidity_ratio_kg_per_kg: kg water per kg dry air, 0 or more.
        pressure_pa: pressure of the air, Pa, 50 000 to 110 000.
    Returns:
        volume, m³ per kg dry air.
    Source: ASHRAE Fundamentals 2017, chapter 1, eq. 26, through PsychroLib [P].
    Check: 40 °C and a wet bulb of 20 °C: 0.896 m³/kg (ASHRAE Fundamentals 2017, chapter 1, example 1 [M]).
    """
    ratio = between("Humidity ratio", humidity_ratio_kg_per_kg, low=0.0)
    return each(PSYCHRO.GetMoistAirVolume, temperature(temperature_c), ratio, pressure(pressure_pa))


def density_kg_per_m3(
    temperature_c: Quantity, humidity_ratio_kg_per_kg: Quantity, pressure_pa: float = STANDARD_PRESSURE_PA
) -> Quantity:
    """Density of moist air, water included.

    Args: as for `specific_volume_m3_per_kg`.
    Returns:
        density, kg moist air per m³.
    Source: ASHRAE Fundamentals 2017, chapter 1, eq. 11, through PsychroLib [P].
    Check: (1 + W) / specific volume [D].
    """
    ratio = between("Humidity ratio", humidity_ratio_kg_per_kg, low=0.0)
    return each(PSYCHRO.GetMoistAirDensity, temperature(temperature_c), ratio, pressure(pressure_pa))


def standard_pressure_pa(altitude_m: Quantity) -> Quantity:
    """Pressure of the standard atmosphere at a height above the sea.

    Args:
        altitude_m: height, m, −500 to 11 000.
    Returns:
        pressure, Pa.
    Source: ASHRAE Fundamentals 2017, chapter 1, eq. 3, through PsychroLib [P].
    Check: 500 m 95461 Pa (ASHRAE Fundamentals 2017, chapter 1, table 1 [P]).
    """
    return each(PSYCHRO.GetStandardAtmPressure, between("Altitude", altitude_m, -500.0, 11000.0, unit="m"))


def drying_duty(
    ambient_temperature_c: float,
    ambient_relative_humidity: float,
    air_on_temperature_c: float,
    air_off_relative_humidity: float = 0.95,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> DryingDuty:
    """Adiabatic drying: fresh air is heated, and leaves the bed at a given humidity with its wet bulb unchanged.

    Args:
        ambient_temperature_c: fresh air, °C, −40 to 60.
        ambient_relative_humidity: fraction, 0 to 1.
        air_on_temperature_c: air entering the grain, °C, from the fresh air's to 99.
        air_off_relative_humidity: fraction, above that of the air-on air, to 1; 0.95 is what a bed gives off while
            it still has free water [C].
        pressure_pa: pressure of the air, Pa, 50 000 to 110 000.
    Returns:
        humidity gained (g per kg dry air), heat (MJ) and volume at air-on (m³) per kg of water, and the air-off
        temperature (°C). Heat lost through walls and heat in the grain are not in it.
    Source: constant wet bulb, with ASHRAE Fundamentals 2017, chapter 1 [D].
    Check: 15 °C, 70 % heated to 55 °C, leaving at 95 %: 12.29 g/kg, 3.32 MJ and 76.6 m³ per kg water [D].
    """
    ambient = between("Fresh air temperature", ambient_temperature_c, -40.0, 60.0, unit="°C")
    air_on = between("Air-on temperature", air_on_temperature_c, ambient, 99.0, unit="°C")
    ratio = humidity_ratio(ambient, ambient_relative_humidity, pressure_pa)
    off = air_off(air_on, relative_humidity(air_on, ratio, pressure_pa), air_off_relative_humidity, pressure_pa)
    gain = off.humidity_ratio_kg_per_kg - ratio
    heat = enthalpy_kj_per_kg(air_on, ratio) - enthalpy_kj_per_kg(ambient, ratio)
    volume = specific_volume_m3_per_kg(air_on, ratio, pressure_pa)
    return DryingDuty(gain * 1000.0, heat / 1000.0 / gain, volume / gain, off.temperature_c)


def air_off(
    air_on_temperature_c: float,
    air_on_relative_humidity: float,
    air_off_relative_humidity: float = 0.95,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> AirOff:
    """State of the air behind a wet bed: the wet bulb of the air-on air, at the air-off humidity.

    Args:
        air_on_temperature_c: °C, −40 to 99.
        air_on_relative_humidity: fraction, 0 to 1.
        air_off_relative_humidity: fraction, from that of the air-on air to 1.
        pressure_pa: pressure of the air, Pa, 50 000 to 110 000.
    Returns:
        temperature (°C) and humidity ratio (kg/kg) behind the bed.
    Source: constant wet bulb, ASHRAE Fundamentals 2017, chapter 1, eq. 33 [D].
    Check: 55 °C air of `drying_duty`'s example leaves at 25.6 °C and 0.0197 kg/kg [D].
    """
    wet = wet_bulb_c(air_on_temperature_c, air_on_relative_humidity, pressure_pa)
    target = between("Air-off humidity", air_off_relative_humidity, 0.0, 1.0)
    if target <= air_on_relative_humidity:
        raise ValueError("The air enters no drier than it leaves: it cannot pick up water.")
    low, high = wet, air_on_temperature_c
    # On a line of constant wet bulb the humidity falls steadily as the temperature rises, so halving always finds it.
    while high - low > 1e-9 * max(1.0, abs(high)):
        middle = (low + high) / 2.0
        too_humid = PSYCHRO.GetRelHumFromTWetBulb(middle, wet, pressure_pa) > target
        low, high = (middle, high) if too_humid else (low, middle)
    found = (low + high) / 2.0
    return AirOff(found, float(PSYCHRO.GetHumRatioFromTWetBulb(found, wet, pressure_pa)))
