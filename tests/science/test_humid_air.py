"""Moist air against the ASHRAE handbook and against CoolProp, an independent equation of state."""

import math

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from hypothesis import given
from hypothesis import strategies as st

from app.science import humid_air

SEA_LEVEL_PA = 101325.0
GRID = [(t, rh, p) for p in (SEA_LEVEL_PA, 90000.0) for t in range(-10, 91, 5) for rh in (0.05, 0.3, 0.6, 0.9)]
ZERO_C = 273.15

temperatures = st.floats(-10, 90)
humidities = st.floats(0.02, 1.0)


def coolprop(quantity, temperature_c, relative_humidity, pressure_pa):
    return HAPropsSI(quantity, "T", temperature_c + ZERO_C, "P", pressure_pa, "R", relative_humidity)


@pytest.mark.parametrize(("temperature_c", "pascal"), [(25, 3169.7), (50, 12351.3)])
def test_saturation_pressure_is_that_of_the_handbook(temperature_c, pascal):
    # ASHRAE Fundamentals 2017, chapter 1, table 3; the handbook gives its own eq. 6 as within 300 ppm of the table.
    assert humid_air.saturation_pressure_pa(float(temperature_c)) == pytest.approx(pascal, rel=3e-4)


def test_example_1_of_the_handbook_comes_out_as_printed():
    # ASHRAE Fundamentals 2017, chapter 1, example 1 (40 °C dry, 20 °C wet); the printed values are read from the chart.
    # Volume and dew point: from memory of the same example.
    ratio = humid_air.humidity_ratio_from_wet_bulb(40.0, 20.0)
    assert ratio == pytest.approx(0.0065, abs=1e-4)
    assert humid_air.relative_humidity(40.0, ratio) == pytest.approx(0.14, abs=0.005)
    assert humid_air.enthalpy_kj_per_kg(40.0, ratio) == pytest.approx(56.7, abs=0.05)
    assert humid_air.specific_volume_m3_per_kg(40.0, ratio) == pytest.approx(0.896, abs=0.001)
    assert humid_air.dew_point_c(40.0, humid_air.relative_humidity(40.0, ratio)) == pytest.approx(7, abs=0.5)


@pytest.mark.parametrize(("metres", "pascal"), [(0, 101325), (500, 95461), (1000, 89875)])
def test_standard_atmosphere_is_that_of_the_handbook(metres, pascal):
    # ASHRAE Fundamentals 2017, chapter 1, table 1 (500 m; sea level and 1000 m from memory of the same table).
    assert humid_air.standard_pressure_pa(float(metres)) == pytest.approx(pascal, abs=1)


def test_the_drying_duty_of_a_warm_kiln_is_as_derived():
    # Derived: 15 °C, 70 % heated to 55 °C, leaving at 95 %, wet bulb unchanged.
    duty = humid_air.drying_duty(15.0, 0.70, 55.0, 0.95)
    assert duty.humidity_gain_g_per_kg == pytest.approx(12.29, abs=0.005)
    assert duty.heat_mj_per_kg == pytest.approx(3.32, abs=0.005)
    assert duty.air_m3_per_kg == pytest.approx(76.6, abs=0.05)


def test_saturation_pressure_over_water_agrees_with_coolprop_up_to_90_degrees():
    # CoolProp's pure water is IAPWS-95; the handbook gives its own eq. 6 as within 300 ppm.
    for temperature_c in range(1, 91):
        theirs = PropsSI("P", "T", temperature_c + ZERO_C, "Q", 0, "Water")
        assert humid_air.saturation_pressure_pa(float(temperature_c)) == pytest.approx(theirs, rel=3e-4)


def test_saturation_pressure_over_ice_agrees_with_coolprop_down_to_minus_10_degrees():
    # CoolProp gives it for saturated air, which lifts the vapour pressure by some 0.4 %; eq. 5 leaves that out.
    for temperature_c in range(-10, 0):
        theirs = coolprop("P_w", temperature_c, 1.0, SEA_LEVEL_PA) / 1.004
        assert humid_air.saturation_pressure_pa(float(temperature_c)) == pytest.approx(theirs, rel=1e-3)


@pytest.mark.parametrize(("temperature_c", "relative_humidity", "pressure_pa"), GRID)
def test_moist_air_agrees_with_coolprop(temperature_c, relative_humidity, pressure_pa):
    ratio = humid_air.humidity_ratio(float(temperature_c), relative_humidity, pressure_pa)
    state = (temperature_c, relative_humidity, pressure_pa)
    assert ratio == pytest.approx(coolprop("W", *state), rel=0.013)
    volume = humid_air.specific_volume_m3_per_kg(float(temperature_c), ratio, pressure_pa)
    assert volume == pytest.approx(coolprop("V", *state), rel=0.0015)
    joules = coolprop("H", *state)
    assert humid_air.enthalpy_kj_per_kg(float(temperature_c), ratio) == pytest.approx(joules / 1000, rel=0.01, abs=0.2)
    assert humid_air.dew_point_c(float(temperature_c), relative_humidity) == pytest.approx(
        coolprop("D", *state) - ZERO_C, abs=0.1
    )


@pytest.mark.parametrize(("temperature_c", "relative_humidity", "pressure_pa"), GRID)
def test_wet_bulb_agrees_with_coolprop(temperature_c, relative_humidity, pressure_pa):
    theirs = coolprop("B", temperature_c, relative_humidity, pressure_pa) - ZERO_C
    ours = humid_air.wet_bulb_c(float(temperature_c), relative_humidity, pressure_pa)
    # Within a degree of freezing a wick has two true answers, one wet and one iced.
    allowed = 1.0 if abs(theirs) < 1 else 0.1
    assert ours == pytest.approx(theirs, abs=allowed)


@given(temperatures, humidities)
def test_humidity_ratio_and_relative_humidity_are_inverses(temperature_c, relative_humidity):
    ratio = humid_air.humidity_ratio(temperature_c, relative_humidity)
    # PsychroLib holds every ratio at 1e-7 or more, which at -10 °C is 0.006 % of saturation.
    assert humid_air.relative_humidity(temperature_c, ratio) == pytest.approx(relative_humidity, rel=1e-9)


@given(st.floats(5, 90), st.floats(0.2, 1.0))
def test_wet_bulb_and_humidity_ratio_are_inverses(temperature_c, relative_humidity):
    wet_bulb = humid_air.wet_bulb_c(temperature_c, relative_humidity)
    if abs(wet_bulb) > 1:
        ratio = humid_air.humidity_ratio_from_wet_bulb(temperature_c, wet_bulb)
        # A wet bulb found to 0.001 °C is worth about 1e-6 of ratio, some 6e-5 of the ratio itself near saturation.
        assert ratio == pytest.approx(humid_air.humidity_ratio(temperature_c, relative_humidity), rel=2e-3, abs=2e-6)


@given(temperatures, humidities)
def test_dew_point_wet_bulb_and_dry_bulb_stand_in_their_order(temperature_c, relative_humidity):
    dew_point = humid_air.dew_point_c(temperature_c, relative_humidity)
    wet_bulb = humid_air.wet_bulb_c(temperature_c, relative_humidity)
    assert dew_point <= wet_bulb + 1e-3
    assert wet_bulb <= temperature_c + 1e-3


@given(temperatures, st.floats(0.02, 0.9), st.floats(0.01, 0.1))
def test_wetter_air_has_a_higher_wet_bulb(temperature_c, relative_humidity, wetter_by):
    wetter = humid_air.wet_bulb_c(temperature_c, relative_humidity + wetter_by)
    drier = humid_air.wet_bulb_c(temperature_c, relative_humidity)
    if min(abs(wetter), abs(drier)) > 1:
        assert wetter > drier - 2e-3


@given(st.floats(-5, 30), st.floats(0.2, 0.9), st.floats(10, 60))
def test_a_hotter_kiln_carries_more_water_on_less_air(ambient_c, relative_humidity, rise):
    cool = humid_air.drying_duty(ambient_c, relative_humidity, ambient_c + rise)
    hot = humid_air.drying_duty(ambient_c, relative_humidity, ambient_c + rise + 5)
    assert hot.humidity_gain_g_per_kg > cool.humidity_gain_g_per_kg
    assert hot.air_m3_per_kg < cool.air_m3_per_kg


@given(st.floats(20, 90), st.floats(0.03, 0.8))
def test_air_behind_the_bed_has_the_wet_bulb_it_came_with_and_the_humidity_asked_for(air_on_c, relative_humidity):
    behind = humid_air.air_off(air_on_c, relative_humidity, 0.95)
    assert humid_air.relative_humidity(behind.temperature_c, behind.humidity_ratio_kg_per_kg) == pytest.approx(0.95)
    before = humid_air.wet_bulb_c(air_on_c, relative_humidity)
    assert humid_air.wet_bulb_c(behind.temperature_c, 0.95) == pytest.approx(before, abs=0.003)


def test_density_and_volume_tell_the_same_story():
    # Identity: (1 + W) kg of moist air fill the volume that belongs to 1 kg of dry air.
    ratio = humid_air.humidity_ratio(55.0, 0.3)
    density = humid_air.density_kg_per_m3(55.0, ratio)
    assert density * humid_air.specific_volume_m3_per_kg(55.0, ratio) == pytest.approx(1 + ratio)


def test_another_use_of_psychrolib_in_inch_pounds_does_not_reach_us():
    before = humid_air.saturation_pressure_pa(25.0)
    psychrolib.SetUnitSystem(psychrolib.IP)
    try:
        assert humid_air.saturation_pressure_pa(25.0) == before
    finally:
        psychrolib.SetUnitSystem(psychrolib.SI)


def test_floats_give_floats_and_arrays_keep_their_shape():
    assert type(humid_air.wet_bulb_c(20.0, 0.5)) is float
    grid = humid_air.humidity_ratio(np.array([[10.0, 20.0], [30.0, 40.0]]), np.full((2, 2), 0.5))
    assert grid.shape == (2, 2)
    assert grid[1, 0] == humid_air.humidity_ratio(30.0, 0.5)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: humid_air.saturation_pressure_pa(-60.0), "at least -40"),
        (lambda: humid_air.saturation_pressure_pa(math.nan), "must be a number"),
        (lambda: humid_air.humidity_ratio(20.0, 1.2), "at most 1"),
        (lambda: humid_air.humidity_ratio(20.0, 0.5, 10.0), "Pressure must be at least"),
        (lambda: humid_air.humidity_ratio(101.0, 1.0), "steam, not air"),
        (lambda: humid_air.humidity_ratio_from_wet_bulb(20.0, 25.0), "not be above the dry bulb"),
        (lambda: humid_air.humidity_ratio_from_wet_bulb(40.0, 5.0), "one of the two thermometers"),
        (lambda: humid_air.relative_humidity(20.0, 0.05), "fog"),
        (lambda: humid_air.enthalpy_kj_per_kg(20.0, -0.001), "at least 0"),
        (lambda: humid_air.standard_pressure_pa(20000.0), "at most 11000"),
        (lambda: humid_air.drying_duty(20.0, 0.98, 20.0), "cannot pick up water"),
        (lambda: humid_air.drying_duty(20.0, 0.5, 15.0), "at least 20"),
        (lambda: humid_air.dew_point_c(20.0, 0.0), "at least 0.005"),
    ],
)
def test_outside_its_range_a_function_says_so(call, said):
    with pytest.raises(ValueError, match=said):
        call()


def driest_wet_bulb(dry_bulb_c: float) -> float:
    """The wet bulb at which ASHRAE's equation 33 leaves no water in the air, by bisection."""
    low, high = 0.0, dry_bulb_c
    for _ in range(60):
        middle = (low + high) / 2
        saturated = psychrolib.GetSatHumRatio(middle, SEA_LEVEL_PA)
        rest = (2501.0 - 2.326 * middle) * saturated - 1.006 * (dry_bulb_c - middle)
        low, high = (middle, high) if rest < 0.0 else (low, middle)
    return high


@pytest.mark.parametrize("dry_bulb_c", [30.0, 50.0, 80.0])
def test_a_wet_bulb_below_that_of_bone_dry_air_is_refused_but_for_a_hundredth_of_a_degree(dry_bulb_c):
    driest = driest_wet_bulb(dry_bulb_c)
    assert humid_air.humidity_ratio_from_wet_bulb(dry_bulb_c, driest - 0.005) < 1e-4
    with pytest.raises(ValueError, match="bone-dry"):
        humid_air.humidity_ratio_from_wet_bulb(dry_bulb_c, driest - 0.05)
