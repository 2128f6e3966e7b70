"""Malt in its sack: how long the liner keeps it below a moisture in the air of the store."""

from __future__ import annotations

import numpy as np

from app.science._checks import Array, between, one_of
from app.science.humid_air import saturation_pressure_pa
from app.science.sorption import equilibrium_relative_humidity

TEST_C, TEST_HUMIDITY = 38.0, 0.90
"""The air in which the makers of films measure what goes through (Biosystems Engineering, table 11.2 [P]), with dry air
on the other side [C]."""


_FILMS = {"polyethylene": (1.0, 2.0), "dense_polyethylene": (0.3, 0.6), "polypropylene": (0.2, 0.5)}
"""Least and most water, g through a thousandth of an inch of film on 100 square inches in a day, in that test: low-
and high-density polyethylene and oriented polypropylene (Biosystems Engineering, table 11.2 [P])."""

_MIL_M, _HUNDRED_SQUARE_INCHES_M2 = 25.4e-6, 0.064516


def film_transmission(film: str, thickness_m: float) -> tuple[float, float]:
    """Find what a liner lets through in its maker's test.

    Args: film: polyethylene, dense_polyethylene or polypropylene; thickness_m: m, 5e-6 to 0.002.
    Returns: (least, most), g/(m²·d) at 38 °C and 90 %.
    Source: Biosystems Engineering, table 11.2, p. 345, digilib.universitaspertamina.ac.id [P]; in proportion to the
        thickness [D].
    Check: polyethylene of 0.1 mm: 3.9 to 7.9 g/(m²·d).
    """
    thick = between("The thickness", thickness_m, 5e-6, 0.002, unit="m")
    per_mil = _FILMS[one_of("The film", film, _FILMS)]
    least, most = (each / _HUNDRED_SQUARE_INCHES_M2 * _MIL_M / thick for each in per_mil)
    return least, most


def permeance_kg_per_m2_d_pa(transmission_g_per_m2_d: float) -> float:
    """Turn what a film lets through in its maker's test into what it lets through for each pascal.

    Args: transmission_g_per_m2_d: water, g/(m²·d), at 38 °C with 90 % on one side and dry air on the other, above 0.
    Returns: kg/(m²·d·Pa). Cooler films let less through, so that a cool store keeps malt longer than this says.
    Source: definition [D].
    Check: 5 g/(m²·d) over 0.90 × 6633 Pa: 8.38e-7.
    """
    through = between("What the liner lets through", transmission_g_per_m2_d, above=0.0, unit="g/(m²·d)")
    return through / 1000.0 / (TEST_HUMIDITY * float(saturation_pressure_pa(TEST_C)))


def sack_life_days(
    malt_kg: float,
    moisture_wb: float,
    limit_wb: float,
    area_m2: float,
    transmission_g_per_m2_d: float,
    temperature_c: float,
    humidity: float,
) -> float:
    """Find how long malt in a closed liner stays below a moisture.

    Args: malt_kg: as packed, kg, above 0; moisture_wb: as packed, above 0 and under 0.2; limit_wb: at least that, to
        0.2; area_m2: of the liner, m², above 0; transmission_g_per_m2_d: as permeance_kg_per_m2_d_pa;
        temperature_c: of the store, °C, 0 to 40; humidity: of its air, fraction, above 0 and below 1.
    Returns: d; infinite where the air is too dry ever to bring malt there.
    Source: water through the film = permeance × area × (humidity outside - humidity over the malt) × saturation
        pressure, integrated over the moisture by Gauss and Legendre's rule [D]; humidity over the malt as
        equilibrium_relative_humidity of malt: López et al. 1997 [T].
    Check: scipy's solve_ivp on the same balance, with the pressure of CoolProp, comes to the limit in the same time.
    """
    first = between("The moisture", moisture_wb, above=0.0, below=0.2)
    last = between("The limit", limit_wb, 0.0, 0.2)
    if last < first:
        raise ValueError("The malt is moister than the limit already.")
    outside = between("The humidity of the store", humidity, above=0.0, below=1.0)
    if equilibrium_relative_humidity("malt", temperature_c, last) >= outside:
        return float("inf")
    warm = between("The store", temperature_c, 0.0, 40.0, unit="°C")
    dry_kg = between("The malt", malt_kg, above=0.0, unit="kg") * (1.0 - first)
    through = permeance_kg_per_m2_d_pa(transmission_g_per_m2_d) * between("The liner", area_m2, above=0.0, unit="m²")
    start, end = first / (1.0 - first), last / (1.0 - last)
    nodes, weights = np.polynomial.legendre.leggauss(48)
    moisture_db: Array = start + (end - start) * (nodes + 1.0) / 2.0
    inside = equilibrium_relative_humidity("malt", np.full_like(moisture_db, warm), moisture_db / (1.0 + moisture_db))
    integral = float(weights @ (1.0 / (outside - inside))) * (end - start) / 2.0
    return dry_kg * integral / (through * float(saturation_pressure_pa(warm)))
