"""Air for living grain: what carries its heat away, what carbon dioxide it leaves in a room, and what a bed resists.

A room is taken as well mixed. Carbon dioxide is heavier than air: over a bed and in a pit there is more than this says.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from app.science._checks import between
from app.science.enzymes import GAS_CONSTANT_J_PER_MOL_K
from app.science.growth import Respiration, respiration
from app.science.humid_air import (
    STANDARD_PRESSURE_PA,
    enthalpy_kj_per_kg,
    humidity_ratio,
    specific_volume_m3_per_kg,
)
from app.science.left_alone import WATER_KJ_PER_KG_K

OUTSIDE_PPM = 420.0
"""Carbon dioxide of the air outside, from memory."""

_CO2_KG_PER_MOL = 0.0440095
_KELVIN = 273.15


class CoolingAir(NamedTuple):
    """Air that keeps a bed from warming: its flow as it goes in, and the water that it takes out of the bed."""

    air_m3_per_h: float
    water_kg_per_h: float


def breathed_in_an_hour(dry_kg: float, loss_per_day: float) -> Respiration:
    """Find what a bed gives off in an hour.

    Args: dry_kg: dry matter of the bed, kg, at least 0; loss_per_day: of it that is breathed away in a day, fraction,
        0 to 0.1.
    Returns: a Respiration of one hour.
    Source: respiration [D].
    Check: 880 kg at 1.1 % a day: 0.403 kg in an hour, 1.94 kW, 0.657 kg of carbon dioxide.
    """
    burnt = between("The dry matter", dry_kg, 0.0, unit="kg") * between("The loss of a day", loss_per_day, 0.0, 0.1)
    return respiration(burnt / 24.0)


def cooling_air(
    heat_kw: float, air_c: float, humidity: float, bed_c: float, pressure_pa: float = STANDARD_PRESSURE_PA
) -> CoolingAir:
    """Find the air that carries a bed's heat away, when it leaves as warm as the bed and full of water.

    Args: heat_kw: heat of the bed, kW, at least 0; air_c, humidity: of the air blown in, °C, -20 to 60, and fraction,
        0 to 1; bed_c: of the bed where the air leaves it, °C, 0 to 60; pressure_pa: 50 000 to 110 000.
    Returns: CoolingAir. Air that holds more heat than it could leave with cools nothing, and raises.
    Source: energy and water balance of the air: heat = dry air × (h out - h in - heat in the water taken up), with the
        enthalpies of enthalpy_kj_per_kg (ASHRAE Fundamentals 2017) [D].
    Check: 1.94 kW with damp air of 12 °C and a bed of 15 °C: 734 m³/h; the same by CoolProp.
    """
    heat = between("The heat", heat_kw, 0.0, unit="kW")
    blown, bed = (between("The temperature", each, -20.0, 60.0, unit="°C") for each in (air_c, bed_c))
    ratio_in = humidity_ratio(blown, humidity, pressure_pa)
    gain = humidity_ratio(between("The bed", bed, 0.0, unit="°C"), 1.0, pressure_pa) - ratio_in
    carried = enthalpy_kj_per_kg(bed, ratio_in + gain) - enthalpy_kj_per_kg(blown, ratio_in)
    carried -= WATER_KJ_PER_KG_K * bed * gain
    if carried <= 0.0:
        raise ValueError("This air cools no such bed: it must be cooler than the bed, or drier.")
    dry_air_kg_per_h = 3600.0 * heat / carried
    return CoolingAir(
        dry_air_kg_per_h * specific_volume_m3_per_kg(blown, ratio_in, pressure_pa), dry_air_kg_per_h * gain
    )


def carbon_dioxide_m3(mass_kg: float, temperature_c: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> float:
    """Find the room that carbon dioxide takes.

    Args: mass_kg: kg, at least 0; temperature_c: °C, -20 to 60; pressure_pa: 50 000 to 110 000.
    Returns: m³.
    Source: law of ideal gases [D]; 44.0095 g/mol.
    Check: one kilogram at 15 °C: 0.537 m³, as CoolProp says within 1 %.
    """
    kelvin = between("The temperature", temperature_c, -20.0, 60.0, unit="°C") + _KELVIN
    pascals = between("The pressure", pressure_pa, 50_000.0, 110_000.0, unit="Pa")
    moles = between("The mass", mass_kg, 0.0, unit="kg") / _CO2_KG_PER_MOL
    return moles * GAS_CONSTANT_J_PER_MOL_K * kelvin / pascals


def room_ppm(
    gas_m3_per_h: float, room_m3: float, changes_per_h: float, hours: float, outside_ppm: float = OUTSIDE_PPM
) -> float:
    """Find the carbon dioxide of a room after a time, from air as it is outside.

    Args: gas_m3_per_h: given off, m³/h, at least 0; room_m3: m³, above 0; changes_per_h: how often its air is changed,
        1/h, at least 0; hours: h, at least 0, infinite for the end; outside_ppm: ppm, 0 to 1e6.
    Returns: ppm, at most a million.
    Source: balance of a well-mixed room, dc/dt = q/V - n (c - c₀), solved [D].
    Check: 5 m³/h in 500 m³ at one change an hour: 0.006 m³/m³ after an hour (engineeringtoolbox.com, carbon dioxide
        concentration in rooms [P]).
    """
    a_room = between("The room", room_m3, above=0.0, unit="m³")
    fills = between("The gas", gas_m3_per_h, 0.0, unit="m³/h") / a_room
    changes = between("The changes of air", changes_per_h, 0.0)
    start = between("The air outside", outside_ppm, 0.0, 1e6, unit="ppm")
    lasts = math.inf if hours == math.inf else between("Hours", hours, 0.0, unit="h")
    if fills == 0.0:
        return start
    effective = lasts if changes == 0.0 else -math.expm1(-changes * lasts) / changes
    return min(start + 1e6 * fills * effective, 1e6)


def fresh_air_m3_per_h(gas_m3_per_h: float, limit_ppm: float, outside_ppm: float = OUTSIDE_PPM) -> float:
    """Find the fresh air that keeps carbon dioxide under a limit for good.

    Args: gas_m3_per_h: given off, m³/h, at least 0; limit_ppm: ppm, above that of the air outside; outside_ppm: ppm.
    Returns: m³/h.
    Source: room_ppm at the end, solved for the air [D].
    Check: so much air, and the room comes to the limit.
    """
    above = between("The limit", limit_ppm, above=outside_ppm, unit="ppm") - outside_ppm
    return 1e6 * between("The gas", gas_m3_per_h, 0.0, unit="m³/h") / above


def bed_pressure_pa(measured_pa: float, depth_ratio: float, speed_ratio: float) -> tuple[float, float]:
    """Carry the pressure measured under one bed to another of the same grain, deeper or with faster air.

    Args: measured_pa: Pa, at least 0; depth_ratio: new depth over the measured one, above 0; speed_ratio: new air for
        each square metre over the measured one, above 0.
    Returns: (least, most), Pa: in proportion to the depth, and to the air and to its square.
    Source: Ergun 1952 has a term in proportion to the speed and one to its square, and nothing else [T];
        what lies between is unknown without the kernels' shape [D].
    Check: 100 Pa, twice as deep, twice the air: 400 to 800 Pa; Ergun's own law lies between.
    """
    base = between("The pressure", measured_pa, 0.0, unit="Pa") * between("The depth", depth_ratio, above=0.0)
    speed = between("The air", speed_ratio, above=0.0)
    low, high = sorted((base * speed, base * speed**2))
    return low, high
