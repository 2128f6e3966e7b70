"""Units of measure: what people type and read, against the SI values kept inside.

Kept inside: temperature °C, mass kg, volume m³, moisture and humidity as fractions 0–1 (moisture on the wet basis),
length m, air flow m³/s, carbon dioxide ppm, time h; of malt colour EBC, diastatic power °L (Lintner), wort °P, a
falling number s, a conversion test min; what is dissolved in water mg/L, hardness as CaCO₃, nitrate as NO₃. Factors are
exact by definition: the international pound and inch of 1959 and the US gallon of 231 cubic inches, in NIST Special
Publication 811 (2008), appendix B [P].
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from app.science._checks import Quantity, between, number_or_array
from app.science.control_charts import leaves_out_zero
from app.science.malt_analysis import plato_from_sg, sg_from_plato

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")
_GROUPED = re.compile(r"[+-]?\d{1,3}( \d{3})+([.,]\d*)?")
_MOST_DECIMALS = 12
_POUND_KG = 0.45359237
_US_GALLON_M3 = 0.003785411784
_INCH_M = 0.0254
_CUBIC_FOOT_M3 = (12 * _INCH_M) ** 3
_EBC_PER_SRM = 1.97
_DEGREE_OF_HARDNESS_MG_L = 10.0 * 100.087 / 56.077
_GRAIN_PER_GALLON_MG_L = 64.79891 / (1000.0 * _US_GALLON_M3)
_NITRATE_PER_NITROGEN = 62.005 / 14.007
"""1 °dH is 10 mg of CaO in a litre; from molar masses, and the international grain of 64.79891 mg."""

_LOVIBOND = (_EBC_PER_SRM * 1.3546, 0.76 / 1.3546)
"""Colour and diastatic power as in malt_analysis, which says by whom; below its clamps a line goes on straight."""


@dataclass(frozen=True)
class Unit:
    """A unit: SI value = (value - offset) * scale. `decimals` is what a reading of ordinary size is shown with."""

    key: str
    symbol: str
    dimension: str
    scale: float
    offset: float = 0.0
    decimals: int = 1


UNITS: Mapping[str, Unit] = {
    unit.key: unit
    for unit in (
        Unit("c", "°C", "temperature", 1.0),
        Unit("f", "°F", "temperature", 5 / 9, 32.0),
        Unit("kg", "kg", "mass", 1.0, decimals=3),
        Unit("g", "g", "mass", 0.001),
        Unit("lb", "lb", "mass", _POUND_KG, decimals=3),
        Unit("oz", "oz", "mass", _POUND_KG / 16, decimals=2),
        Unit("m3", "m³", "volume", 1.0, decimals=3),
        Unit("l", "L", "volume", 0.001, decimals=2),
        Unit("ml", "mL", "volume", 1e-6, decimals=0),
        Unit("gal", "gal", "volume", _US_GALLON_M3, decimals=2),
        Unit("qt", "qt", "volume", _US_GALLON_M3 / 4, decimals=2),
        Unit("percent", "%", "fraction", 0.01),
        Unit("fraction", "", "fraction", 1.0, decimals=3),
        Unit("percent_db", "% db", "moisture_db", 0.01),
        Unit("m", "m", "length", 1.0, decimals=2),
        Unit("cm", "cm", "length", 0.01),
        Unit("mm", "mm", "length", 0.001),
        Unit("in", "in", "length", _INCH_M),
        Unit("m3_s", "m³/s", "air_flow", 1.0, decimals=3),
        Unit("m3_h", "m³/h", "air_flow", 1 / 3600, decimals=0),
        Unit("cfm", "cfm", "air_flow", _CUBIC_FOOT_M3 / 60, decimals=0),
        Unit("l_s", "L/s", "air_flow", 0.001, decimals=1),
        Unit("ppm", "ppm", "co2", 1.0, decimals=0),
        Unit("percent_co2", "%", "co2", 1e4, decimals=2),
        Unit("ph", "", "ph", 1.0, decimals=2),
        Unit("h", "h", "duration", 1.0),
        Unit("min", "min", "duration", 1 / 60, decimals=0),
        Unit("d", "d", "duration", 24.0),
        Unit("s", "s", "duration", 1 / 3600, decimals=0),
        Unit("ebc", "EBC", "colour", 1.0),
        Unit("lovibond", "°L", "colour", *_LOVIBOND),
        Unit("srm", "SRM", "colour", _EBC_PER_SRM),
        Unit("lintner", "°L", "diastatic_power", 1.0, decimals=0),
        Unit("wk", "°WK", "diastatic_power", 1 / 3.5, -16.0, decimals=0),
        Unit("plato", "°P", "wort", 1.0, decimals=2),
        Unit("sg", "SG", "wort", 1.0, decimals=4),
        Unit("fn_s", "s", "falling_number", 1.0, decimals=0),
        Unit("conversion_min", "min", "conversion_time", 1.0, decimals=0),
        Unit("mg_l", "mg/L", "dissolved", 1.0, decimals=2),
        Unit("ug_l", "µg/L", "dissolved", 0.001, decimals=0),
        Unit("mg_l_no3", "mg/L NO₃", "nitrate", 1.0),
        Unit("mg_l_n", "mg/L N", "nitrate", _NITRATE_PER_NITROGEN),
        Unit("mg_l_caco3", "mg/L CaCO₃", "hardness", 1.0, decimals=0),
        Unit("dh", "°dH", "hardness", _DEGREE_OF_HARDNESS_MG_L),
        Unit("gpg", "grain/gal", "hardness", _GRAIN_PER_GALLON_MG_L),
        Unit("number", "", "number", 1.0),
    )
}

_ALSO_MEASURED_IN: Mapping[str, tuple[str, ...]] = {
    "moisture": ("percent", "fraction", "percent_db"),
    "humidity": ("percent", "fraction"),
}

_EVERYWHERE = {"fraction": "percent", "moisture": "percent", "moisture_db": "percent_db", "humidity": "percent"}
_EVERYWHERE |= {"co2": "ppm", "ph": "ph", "duration": "h", "wort": "plato", "number": "number"}
_EVERYWHERE |= {"dissolved": "mg_l", "hardness": "mg_l_caco3"}
_EVERYWHERE |= {"falling_number": "fn_s", "conversion_time": "conversion_min"}
_METRIC = {"temperature": "c", "mass": "kg", "volume": "l", "length": "cm", "air_flow": "m3_h"}
_US = {"temperature": "f", "mass": "lb", "volume": "gal", "length": "in", "air_flow": "cfm"}
DEFAULT_UNITS: Mapping[str, Mapping[str, str]] = {
    "metric": {**_METRIC, **_EVERYWHERE, "nitrate": "mg_l_no3", "colour": "ebc", "diastatic_power": "wk"},
    "us": {**_US, **_EVERYWHERE, "nitrate": "mg_l_n", "colour": "lovibond", "diastatic_power": "lintner"},
}

_SMALL_MASS: Mapping[str, tuple[float, str, str]] = {
    "metric": (5.0, "g", "kg"),
    "us": (2 * _POUND_KG, "oz", "lb"),
}


def parse_number(text: str) -> float:
    """Read a number as people type it, with a decimal comma or a decimal point.

    Args: text: digits with at most one comma or point, which is always the decimal mark; blanks around it, or
        between groups of three digits, are allowed.
    Returns: the number. Text with both marks, or one twice, is refused: "1,234.5" could be meant in two ways.
    Source: SI Brochure, 9th edition (2019), section 5.4.4: either mark, and spaces between groups of three [P].
    Check: "1,5" and "1.5" are both 1.5; "1 842" is 1842.
    """
    tidy = " ".join(text.replace("\u2212", "-").split())
    if not tidy:
        raise ValueError("Please give a number.")
    if sum(tidy.count(mark) for mark in ",.'\u2019") > 1:
        raise ValueError(f"“{tidy}” can be read in two ways: write it without thousands marks, such as 1234.5.")
    if _NUMBER.fullmatch(tidy) or _GROUPED.fullmatch(tidy):
        number = float(tidy.replace(" ", "").replace(",", "."))
        if math.isfinite(number):
            return number
    raise ValueError(f"“{tidy}” is not a number: write digits, such as 12 or 12.5.")


def unit(unit_key: str) -> Unit:
    """Find a unit by its key.

    Args: unit_key: one of UNITS.
    Returns: the Unit; an unknown key is refused.
    Source: the registry above [D].
    Check: "f" has the symbol °F.
    """
    if unit_key not in UNITS:
        raise ValueError(f"“{unit_key}” is not a unit that is known here.")
    return UNITS[unit_key]


def units_of(dimension: str) -> tuple[Unit, ...]:
    """List the units in which a quantity may be given.

    Args: dimension: temperature, mass, volume, fraction, moisture, moisture_db, humidity, length, air_flow, co2, ph,
        duration, colour, diastatic_power, wort, falling_number, conversion_time, dissolved, nitrate, hardness or
        number.
    Returns: its units, the plainest first.
    Source: the registry above [D].
    Check: temperature has c and f.
    """
    keys = _ALSO_MEASURED_IN.get(dimension) or tuple(u.key for u in UNITS.values() if u.dimension == dimension)
    if not keys:
        raise ValueError(f"“{dimension}” is not a quantity that is known here.")
    return tuple(UNITS[key] for key in keys)


def to_si(value: Quantity, unit_key: str) -> Quantity:
    """Convert what was typed to what is kept.

    Args: value: finite, in the unit; unit_key: one of UNITS.
    Returns: the value in the unit kept inside; percent dry basis becomes a fraction on the wet basis, db/(1+db).
    Source: NIST SP 811 (2008), appendix B.8 [P]; the dry basis is an identity [D].
    Check: 212 °F is 100 °C; 1 lb is 0.45359237 kg; 100 % db is 0.5.
    """
    spec = unit(unit_key)
    if unit_key == "sg":
        return plato_from_sg(value)
    si = (number_or_array("The value", value) - spec.offset) * spec.scale
    if spec.dimension == "moisture_db":
        dry_basis = between("Moisture on the dry basis", si, 0.0)
        return dry_basis / (1.0 + dry_basis)
    return si


def from_si(value_si: Quantity, unit_key: str) -> Quantity:
    """Convert what is kept to what is shown: the inverse of to_si.

    Args: value_si: finite, in the unit kept inside; unit_key: one of UNITS.
    Returns: the value in the unit.
    Source: NIST SP 811 (2008), appendix B.8 [P].
    Check: 100 °C is 212 °F; 0.5 wet basis is 100 % db.
    """
    spec = unit(unit_key)
    if unit_key == "sg":
        return sg_from_plato(value_si)
    si = number_or_array("The value", value_si)
    if spec.dimension == "moisture_db":
        wet_basis = between("Moisture on the wet basis", si, 0.0, below=1.0)
        si = wet_basis / (1.0 - wet_basis)
    return si / spec.scale + spec.offset


def difference_to_si(difference: Quantity, unit_key: str) -> Quantity:
    """Convert a difference, spread or error to the unit kept inside: no zero point comes in.

    Args: difference: finite, in the unit; unit_key: one of UNITS except percent_db and sg, whose steps are not equal.
    Returns: the difference in the unit kept inside.
    Source: NIST SP 811 (2008), section 8.5: temperature intervals [P].
    Check: a spread of 9 °F is 5 °C.
    """
    return number_or_array("The difference", difference) * _scale_of_equal_steps(unit_key)


def difference_from_si(difference_si: Quantity, unit_key: str) -> Quantity:
    """Convert a difference, spread or error to a unit that is shown: the inverse of difference_to_si.

    Args: difference_si: finite; unit_key: one of UNITS except percent_db.
    Returns: the difference in the unit.
    Source: NIST SP 811 (2008), section 8.5: temperature intervals [P].
    Check: a spread of 5 °C is 9 °F.
    """
    return number_or_array("The difference", difference_si) / _scale_of_equal_steps(unit_key)


def _scale_of_equal_steps(unit_key: str) -> float:
    spec = unit(unit_key)
    if spec.dimension == "moisture_db":
        raise ValueError("A difference in moisture can only be converted on the wet basis.")
    if unit_key == "sg":
        raise ValueError("A difference in the extract of wort can only be converted in °P.")
    return spec.scale


def preferred_mass_unit(mass_kg: float, system: str) -> str:
    """Choose the unit a scale of the fitting size would show.

    Args: mass_kg: the mass; system: metric or us.
    Returns: g below 5 kg and kg above, or oz below 2 lb and lb above.
    Source: common practice of kitchen scales [C].
    Check: 1.842 kg is shown in g, 24 kg in kg.
    """
    if system not in _SMALL_MASS:
        raise ValueError(f"“{system}” is not a system of units that is known here: metric or us.")
    limit_kg, small, large = _SMALL_MASS[system]
    return small if abs(mass_kg) < limit_kg else large


def format_quantity(
    value_si: float, unit_key: str, half_width_si: float | None = None, decimals: int | None = None
) -> str:
    """Write a quantity with its unit, and with its 95 % half-width where there is one.

    Args: value_si: in the unit kept inside; half_width_si: half of the 95 % interval, at least 0, same unit;
        decimals: to overrule the number chosen.
    Returns: such as "44.6 ± 0.7 %": the half-width to two significant digits up to 35 and one above, the value to the
        same place; without a half-width, the unit's own decimals and at most about five digits.
    Source: Particle Data Group, Review of Particle Physics, introduction, on rounding, from memory [M].
    Check: 0.4461 ± 0.0068 in percent is "44.6 ± 0.7 %".
    """
    value = from_si(value_si, unit_key)
    width = 0.0 if half_width_si is None else between("The half-width", half_width_si, 0.0)
    width = _width_in_unit(value_si, width, unit_key)
    place = decimals if decimals is not None else _decimals(value, width, unit(unit_key))
    text = _rounded(value, place)
    if half_width_si is not None and width > 0:
        text = f"{text} ± {_rounded_width(width, place)}"
    return f"{text} {unit(unit_key).symbol}".rstrip()


def format_difference(
    difference_si: float, unit_key: str, ends_si: tuple[float, float] | None = None, decimals: int | None = None
) -> str:
    """Write a difference of two quantities with its unit, and with its 95 % interval where there is one.

    Args: difference_si, ends_si: of the interval, in the unit kept inside; decimals: to overrule the number chosen.
    Returns: such as "0.9 ± 0.7 %", or "9 % (2 to 15 %)" where the arms differ, rounded as a quantity is; but with as
        many digits more as it takes to show whether the interval holds 0. A unit's zero point has no part in it.
    Source: the rounding of format_quantity [M]; NIST SP 811 (2008), section 8.5: temperature intervals [P].
    Check: 4 to 6 °C about 5 is "9.0 ± 1.8 °F"; 0.08 to 2 °C about 1.04 is "1.04 ± 0.96 °C", not "1.0 ± 1.0 °C".
    """
    apart = difference_from_si(difference_si, unit_key)
    low, high = (difference_from_si(each, unit_key) for each in ends_si or (difference_si, difference_si))
    symbol = unit(unit_key).symbol
    width, is_even = (high - low) / 2.0, math.isclose(high - apart, apart - low, rel_tol=1e-6)
    place = decimals if decimals is not None else _decimals(apart, width, unit(unit_key))
    if width <= 0.0:
        return f"{_rounded(apart, place)} {symbol}".rstrip()
    seems_clear = _seems_clear if is_even else _seem_clear
    while place < _MOST_DECIMALS and seems_clear(low, high, place) is not leaves_out_zero(low, high):
        place += 1
    if is_even:
        return f"{_rounded(apart, place)} ± {_rounded_width(width, place)} {symbol}".rstrip()
    ends = f"({_rounded(low, place)} to {_rounded(high, place)} {symbol}".rstrip()
    return f"{_rounded(apart, place)} {symbol}".rstrip() + f" {ends})"


def _seems_clear(low: float, high: float, place: int) -> bool:
    return abs(float(_rounded((low + high) / 2.0, place))) > float(_rounded_width((high - low) / 2.0, place))


def _seem_clear(low: float, high: float, place: int) -> bool:
    return float(_rounded(low, place)) > 0.0 or float(_rounded(high, place)) < 0.0


def _width_in_unit(value_si: float, width_si: float, unit_key: str) -> float:
    if unit(unit_key).dimension == "moisture_db":
        return 100.0 * width_si / (1.0 - value_si) ** 2
    return difference_from_si(width_si, unit_key)


def _decimals(value: float, width: float, spec: Unit) -> int:
    if width > 0:
        exponent = math.floor(math.log10(width))
        leading = round(width / 10.0**exponent, 9)
        # No finer than a good scale or thermometer shows: a tighter half-width says more than anybody measured.
        finest = spec.decimals + (1 if spec.decimals < 3 else 0)
        return min((1 if leading < 3.55 else 0) - exponent, finest)
    digits_before = len(str(int(abs(value)))) if abs(value) >= 1 else 0
    return max(0, min(spec.decimals, 4 - digits_before))


def _rounded(value: float, place: int) -> str:
    rounded = round(value, place) + 0.0
    return f"{rounded:.{max(place, 0)}f}"


def _rounded_width(width: float, place: int) -> str:
    return _rounded(max(width, 10.0**-place), place)
