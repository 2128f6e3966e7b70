"""The moisture at which grain and air leave each other alone: "it will never get drier than this".

Published sets of constants for one grain differ by 1–2 points of moisture and invented ones circulate, so show every
answer as ± 1 point (`HALF_WIDTH_WB`). B is published for moisture in % and as a decimal, a factor of 100 apart: the
table keeps the unit beside the constant.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from app.science._checks import Quantity, between, number_or_array, one_of

HALF_WIDTH_WB = 0.01
"""Show equilibrium moisture ± this: published sets for one grain lie 1–2 points apart [P]."""

_TABLE = Path(__file__).parent / "tables" / "equilibrium_moisture.csv"
_TEMPERATURE_C = (-10.0, 110.0)
_ABSOLUTE_ZERO_C = -273.15


class _Row(NamedTuple):
    """Constants of one grain, and what turns a dry-basis fraction into the unit that they are for."""

    equation: str
    a: float
    b: float
    c: float
    per_fraction_db: float


def equilibrium_moisture_wb(grain: str, temperature_c: Quantity, relative_humidity: Quantity) -> Quantity:
    """Moisture that grain comes to in air of a temperature and humidity, in the end.

    Modified Chung–Pfost M = −ln(−(T+C)·ln RH/A)/B for barley, wheat (hard red spring), maize, rye and oats; modified
    Henderson M = (−ln(1−RH)/(A(T+C)))^(1/B) for soft wheat; modified Oswin M = (A+BT)(RH/(1−RH))^(1/C) for durum; GAB
    M = A·B·C·aw/((1−C·aw)(1+(B−1)C·aw)) for malt; M dry basis.

    Args:
        grain: barley, wheat, soft_wheat, durum, maize, rye, oats or malt.
        temperature_c: of grain and air, °C, −10 to 110. The raw-grain sets were measured near 0–50 °C: above it is
            extrapolation, and the kiln page's reason to use `malt`.
        relative_humidity: fraction, above 0 and below 1; where Chung–Pfost would give less than no water (about 4 %
            at kiln heat) it is refused.
    Returns:
        moisture, fraction wet basis; good to ± 1 point.
    Source: ASAE D245.5/.6; Storage of Cereal Grains and Their Products, 5th ed. [T]; soft wheat and durum [M]; malt:
        López et al. 1997, Drying Technol. 15:1499 [T].
    Check: durum at 25 % RH and 1.7/10/21.1/37.8 °C: 8.3/8.0/7.7/7.2 % [P]; soft wheat 32.2 °C, 50 %: 10.8 % [P];
        malt 20 °C, 30/50/65/70 %: 6.8/9.3/12.2/13.6 % [D].
    """
    row = _constants()[one_of("grain", grain, _constants())]
    temperature: Any = np.asarray(between("Temperature", temperature_c, *_TEMPERATURE_C, unit="°C"))
    humidity: Any = np.asarray(between("Relative humidity", relative_humidity, above=0.0, below=1.0))
    moisture_db = _MOISTURE[row.equation](row, temperature, humidity) / row.per_fraction_db
    if np.any(moisture_db < 0.0):
        raise ValueError("The air is too dry for this grain's equation: it would give less than no water.")
    answer: Quantity = number_or_array("Moisture", moisture_db / (1.0 + moisture_db))
    return answer


def equilibrium_relative_humidity(grain: str, temperature_c: Quantity, moisture_wb: Quantity) -> Quantity:
    """Humidity of the air between grains in a closed jar; the inverse of `equilibrium_moisture_wb`.

    Args:
        grain, temperature_c: as for `equilibrium_moisture_wb`.
        moisture_wb: fraction wet basis, above 0 to 0.6; malt also no wetter than saturated air would make it (about
            0.38 at 20 °C).
    Returns:
        relative humidity (water activity), fraction 0 to 1.
    Source: the equations of `equilibrium_moisture_wb`, solved for RH [D].
    Check: round trip; durum of 8.0 % at 10 °C: 25 % [P].
    """
    row = _constants()[one_of("grain", grain, _constants())]
    temperature: Any = np.asarray(between("Temperature", temperature_c, *_TEMPERATURE_C, unit="°C"))
    moisture: Any = np.asarray(between("Moisture", moisture_wb, above=0.0, high=0.6))
    humidity = _HUMIDITY[row.equation](row, temperature, moisture / (1.0 - moisture) * row.per_fraction_db)
    if np.any(humidity > 1.0 + 1e-12):
        raise ValueError("The grain is wetter than saturated air would make it: no humidity is in balance with it.")
    answer: Quantity = number_or_array("Relative humidity", np.minimum(humidity, 1.0))
    return answer


@cache
def _constants() -> dict[str, _Row]:
    with _TABLE.open(encoding="utf-8", newline="") as lines:
        next(lines)
        return {
            row["grain"]: _Row(
                row["equation"],
                float(row["a"]),
                float(row["b"] or "nan"),
                float(row["c"] or "nan"),
                100.0 if row["moisture_unit"] == "percent_db" else 1.0,
            )
            for row in csv.DictReader(lines)
        }


def _chung_pfost_moisture(row: _Row, temperature: Any, humidity: Any) -> Any:
    return -np.log(-(temperature + row.c) * np.log(humidity) / row.a) / row.b


def _chung_pfost_humidity(row: _Row, temperature: Any, moisture: Any) -> Any:
    return np.exp(-row.a / (temperature + row.c) * np.exp(-row.b * moisture))


def _henderson_moisture(row: _Row, temperature: Any, humidity: Any) -> Any:
    return (-np.log1p(-humidity) / (row.a * (temperature + row.c))) ** (1.0 / row.b)


def _henderson_humidity(row: _Row, temperature: Any, moisture: Any) -> Any:
    return -np.expm1(-row.a * (temperature + row.c) * moisture**row.b)


def _oswin_moisture(row: _Row, temperature: Any, humidity: Any) -> Any:
    return (row.a + row.b * temperature) * (humidity / (1.0 - humidity)) ** (1.0 / row.c)


def _oswin_humidity(row: _Row, temperature: Any, moisture: Any) -> Any:
    odds = (moisture / (row.a + row.b * temperature)) ** row.c
    return odds / (1.0 + odds)


def _gab_constants(row: _Row, temperature: Any) -> tuple[Any, Any, Any]:
    kelvin = temperature - _ABSOLUTE_ZERO_C
    return row.a * np.exp(469.017 / kelvin), np.exp(943.854 / kelvin), np.exp(-28.639 / kelvin)


def _gab_moisture(row: _Row, temperature: Any, humidity: Any) -> Any:
    a, b, c = _gab_constants(row, temperature)
    scaled = c * humidity
    return a * b * scaled / ((1.0 - scaled) * (1.0 + (b - 1.0) * scaled))


def _gab_humidity(row: _Row, temperature: Any, moisture: Any) -> Any:
    a, b, c = _gab_constants(row, temperature)
    # The equation is a quadratic in C·aw; written with the root below the line, it loses no digits at low moisture.
    middle = a * b - moisture * (b - 2.0)
    return 2.0 * moisture / (middle + np.sqrt(middle**2 + 4.0 * moisture**2 * (b - 1.0))) / c


_Equation = Callable[[_Row, Any, Any], Any]
_MOISTURE: dict[str, _Equation] = {
    "chung_pfost": _chung_pfost_moisture,
    "henderson": _henderson_moisture,
    "oswin": _oswin_moisture,
    "gab": _gab_moisture,
}
_HUMIDITY: dict[str, _Equation] = {
    "chung_pfost": _chung_pfost_humidity,
    "henderson": _henderson_humidity,
    "oswin": _oswin_humidity,
    "gab": _gab_humidity,
}
