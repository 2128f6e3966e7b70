"""Units: exact factors, round trips, and the third-party package pint as an independent oracle."""

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science import malt_analysis, units

PINT = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
PINT_NAMES = {
    "c": ("degC", "degC"),
    "f": ("degF", "degC"),
    "kg": ("kg", "kg"),
    "g": ("g", "kg"),
    "lb": ("lb", "kg"),
    "oz": ("oz", "kg"),
    "m3": ("m**3", "m**3"),
    "l": ("l", "m**3"),
    "ml": ("ml", "m**3"),
    "gal": ("US_liquid_gallon", "m**3"),
    "qt": ("US_liquid_quart", "m**3"),
    "m": ("m", "m"),
    "cm": ("cm", "m"),
    "mm": ("mm", "m"),
    "in": ("inch", "m"),
    "m3_s": ("m**3/s", "m**3/s"),
    "m3_h": ("m**3/h", "m**3/s"),
    "cfm": ("ft**3/min", "m**3/s"),
    "l_s": ("l/s", "m**3/s"),
    "h": ("h", "h"),
    "min": ("min", "h"),
    "d": ("day", "h"),
    "s": ("s", "h"),
    "mg_l": ("mg/l", "mg/l"),
    "ug_l": ("ug/l", "mg/l"),
}
EQUAL_STEPS = sorted(key for key in units.UNITS if key not in ("percent_db", "sg"))


@pytest.mark.parametrize("key", sorted(PINT_NAMES))
@pytest.mark.parametrize("value", [-40.0, 0.0, 1.0, 149.0, 1234.5])
def test_every_physical_unit_agrees_with_pint(key: str, value: float) -> None:
    theirs, inside = PINT_NAMES[key]
    expected = PINT.Quantity(value, theirs).to(inside).magnitude
    assert units.to_si(value, key) == pytest.approx(expected, rel=1e-12, abs=1e-11)


def test_every_unit_that_pint_can_know_is_compared_with_it() -> None:
    ratios = {"percent", "fraction", "percent_db", "ppm", "percent_co2", "ph", "number"}
    of_water = {"mg_l_no3", "mg_l_n", "mg_l_caco3", "dh", "gpg"}
    of_malt = {"ebc", "lovibond", "srm", "lintner", "wk", "plato", "sg", "fn_s", "conversion_min"}
    assert set(units.UNITS) == set(PINT_NAMES) | ratios | of_malt | of_water


def test_units_of_malt_are_those_of_malt_analysis() -> None:
    for value in (1.0, 10.0, 500.0):
        assert units.to_si(value, "lovibond") == pytest.approx(malt_analysis.ebc_from_lovibond(value), rel=1e-12)
        assert units.to_si(value, "srm") == pytest.approx(malt_analysis.ebc_from_srm(value), rel=1e-12)
        assert units.to_si(value, "wk") == pytest.approx(malt_analysis.lintner_from_windisch_kolbach(value), rel=1e-12)
    # EBC = 1.97·SRM (EBC, ASBC), SRM = 1.3546·°L - 0.76 (from memory); °WK = 3.5·°L - 16; 1.040 is 9.994 °P (ASBC, from
    # memory).
    assert units.to_si(10.0, "lovibond") == pytest.approx(25.2, abs=0.05)
    assert units.to_si(250.0, "wk") == pytest.approx(76.0, abs=0.01)
    assert units.to_si(1.040, "sg") == pytest.approx(9.994, abs=0.001)
    assert units.from_si(units.to_si(1.0801, "sg"), "sg") == pytest.approx(1.0801, abs=1e-9)
    with pytest.raises(ValueError, match="°P"):
        units.difference_to_si(0.001, "sg")
    with pytest.raises(ValueError, match="specific gravity"):
        units.to_si(12.0, "sg")


def test_units_of_water_follow_from_molar_masses() -> None:
    """1 °dH is 10 mg of CaO in a litre; nitrate is NO₃ by so much more than N as it weighs more: from molar masses."""
    per_mole = {"Ca": 40.078, "C": 12.011, "O": 15.999, "N": 14.007}
    lime = per_mole["Ca"] + per_mole["O"]
    chalk = lime + per_mole["C"] + 2.0 * per_mole["O"]
    assert units.to_si(1.0, "dh") == pytest.approx(10.0 * chalk / lime, rel=1e-4)
    assert units.to_si(1.0, "gpg") == pytest.approx(PINT.Quantity(1.0, "grain/gallon").to("mg/l").magnitude, rel=1e-9)
    nitrate = per_mole["N"] + 3.0 * per_mole["O"]
    assert units.to_si(10.0, "mg_l_n") == pytest.approx(10.0 * nitrate / per_mole["N"], rel=1e-4)


@given(st.sampled_from(EQUAL_STEPS), st.floats(-1e6, 1e6))
def test_there_and_back_gives_the_same_value(key: str, value: float) -> None:
    assert units.from_si(units.to_si(value, key), key) == pytest.approx(value, rel=1e-12, abs=1e-9)
    assert units.difference_from_si(units.difference_to_si(value, key), key) == pytest.approx(value, rel=1e-12)


@given(st.floats(0, 1e4))
def test_dry_basis_there_and_back_gives_the_same_value(percent_db: float) -> None:
    wet_basis = units.to_si(percent_db, "percent_db")
    assert 0 <= wet_basis < 1
    assert units.from_si(wet_basis, "percent_db") == pytest.approx(percent_db, rel=1e-9, abs=1e-9)


@given(st.sampled_from(EQUAL_STEPS), st.floats(-1e3, 1e3), st.floats(-1e3, 1e3))
def test_a_difference_is_the_difference_of_two_readings(key: str, first: float, second: float) -> None:
    apart = units.to_si(first, key) - units.to_si(second, key)
    assert units.difference_to_si(first - second, key) == pytest.approx(apart, rel=1e-9, abs=1e-6)


def test_definitions_are_exact() -> None:
    # International yard and pound agreement of 1959; US gallon of 231 cubic inches.
    assert units.to_si(1.0, "lb") == 0.45359237
    assert units.to_si(16.0, "oz") == 0.45359237
    assert units.to_si(1.0, "gal") == pytest.approx(231 * 0.0254**3, rel=1e-15)
    assert units.to_si(180.0, "f") == pytest.approx(82.2222222, abs=1e-7)
    assert units.difference_to_si(9.0, "f") == pytest.approx(5.0)
    assert units.to_si(0.5, "percent_co2") == 5000.0
    assert units.to_si(100.0, "percent_db") == 0.5


def test_arrays_are_converted_and_a_float_stays_a_float() -> None:
    assert units.to_si(np.array([32.0, 212.0]), "f") == pytest.approx(np.array([0.0, 100.0]))
    assert type(units.to_si(np.float64(32.0), "f")) is float
    assert type(units.to_si(32, "f")) is float


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("1,5", 1.5),
        ("1.5", 1.5),
        (" 1.5 ", 1.5),
        ("-3", -3.0),
        ("\u22123", -3.0),
        ("+4,25", 4.25),
        (".5", 0.5),
        (",5", 0.5),
        ("5.", 5.0),
        ("1 842", 1842.0),
        ("1\u202f842,5", 1842.5),
        ("007", 7.0),
    ],
)
def test_a_number_is_read_with_comma_or_point(text: str, number: float) -> None:
    assert units.parse_number(text) == number


@pytest.mark.parametrize(
    "text",
    [
        *("", "  ", "1,234.5", "1.234,5", "1,234,567", "1'234.5", "12 5", "1 23"),
        *("nan", "inf", "-inf", "Infinity", "1e3", "0x1f", "1_000", "9" * 400),
        *("twelve", "--3", "3-", "12 kg", ".", ",", "-"),
    ],
)
def test_what_is_no_plain_number_is_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(ValueError, match=r"^(Please|“).*\.$"):
        units.parse_number(text)


@given(st.floats(-1e9, 1e9), st.sampled_from(".,"))
def test_any_written_decimal_is_read_back(number: float, mark: str) -> None:
    assert units.parse_number(f"{number:.6f}".replace(".", mark)) == pytest.approx(number, abs=1e-6)


@pytest.mark.parametrize(
    ("value", "key", "width", "text"),
    [
        (0.4461, "percent", 0.0068, "44.6 ± 0.7 %"),
        (0.4461, "percent", 0.0123, "44.6 ± 1.2 %"),
        (18.04, "c", 0.5, "18.0 ± 0.5 °C"),
        (18.0, "f", 5.0, "64 ± 9 °F"),
        (1496.04, "kg", 123.0, "1500 ± 120 kg"),
        (0.44, "percent", 0.0096, "44.0 ± 1.0 %"),
        (17.25, "c", None, "17.2 °C"),
        (0.01234, "kg", None, "0.012 kg"),
        (829.31, "kg", None, "829.3 kg"),
        (1.842, "g", None, "1842 g"),
        (5000.0, "ppm", None, "5000 ppm"),
        (6.4, "ph", None, "6.40"),
        (0.45, "percent", 0.0, "45.0 %"),
        (-0.01, "c", None, "0.0 °C"),
        (0.5, "percent_db", 0.01, "100 ± 4 % db"),
    ],
)
def test_a_quantity_is_written_to_the_place_of_its_half_width(
    value: float, key: str, width: float | None, text: str
) -> None:
    assert units.format_quantity(value, key, width) == text


@pytest.mark.parametrize(
    ("difference", "ends", "unit_key", "text"),
    [
        (5.0, (4.0, 6.0), "f", "9.0 ± 1.8 °F"),
        (1.04, (0.08, 2.0), "c", "1.04 ± 0.96 °C"),
        (0.96, (-0.08, 2.0), "c", "1.0 ± 1.0 °C"),
        (-0.0104, (-0.02, -0.0008), "percent", "-1.04 ± 0.96 %"),
        (0.09, (0.004, 0.153), "percent", "9.0 % (0.4 to 15.3 %)"),
        (0.09, (-0.004, 0.153), "percent", "9 % (0 to 15 %)"),
        (5.0, None, "f", "9.0 °F"),
    ],
)
def test_a_difference_is_written_so_that_one_sees_whether_its_interval_holds_nought(
    difference: float, ends: tuple[float, float] | None, unit_key: str, text: str
) -> None:
    assert units.format_difference(difference, unit_key, ends) == text


def test_the_number_of_decimals_can_be_overruled() -> None:
    assert units.format_quantity(0.446123, "percent", 0.0068, decimals=2) == "44.61 ± 0.68 %"


def test_units_are_listed_by_quantity_and_defaults_are_among_them() -> None:
    assert [unit.symbol for unit in units.units_of("temperature")] == ["°C", "°F"]
    assert {unit.key for unit in units.units_of("moisture")} == {"percent", "fraction", "percent_db"}
    for chosen in units.DEFAULT_UNITS.values():
        for dimension, key in chosen.items():
            assert units.UNITS[key] in units.units_of(dimension)


def test_a_small_mass_is_shown_in_the_small_unit() -> None:
    assert units.preferred_mass_unit(1.842, "metric") == "g"
    assert units.preferred_mass_unit(24.0, "metric") == "kg"
    assert units.preferred_mass_unit(0.4, "us") == "oz"
    assert units.preferred_mass_unit(10.0, "us") == "lb"


def test_what_is_unknown_or_impossible_is_refused() -> None:
    with pytest.raises(ValueError, match="not a unit"):
        units.to_si(1.0, "stone")
    with pytest.raises(ValueError, match="not a quantity"):
        units.units_of("beauty")
    with pytest.raises(ValueError, match="not a system"):
        units.preferred_mass_unit(1.0, "troy")
    with pytest.raises(ValueError, match="must be a number"):
        units.to_si(float("nan"), "c")
    with pytest.raises(ValueError, match="wet basis"):
        units.difference_to_si(1.0, "percent_db")
    with pytest.raises(ValueError, match="less than 1"):
        units.from_si(1.0, "percent_db")
    with pytest.raises(ValueError, match="at least 0"):
        units.format_quantity(1.0, "kg", -0.1)
