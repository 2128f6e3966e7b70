"""Drying against printed values: where it ends, how fast a layer goes, and the two regimes of a bed."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from app.science import drying, humid_air

GRAINS = ("barley", "wheat", "soft_wheat", "durum", "maize", "rye", "oats", "malt")

grains = st.sampled_from(GRAINS)
storage_c = st.floats(0, 50)
storage_rh = st.floats(0.15, 0.95)


@pytest.mark.parametrize(("temperature_c", "percent"), [(1.7, 8.3), (10, 8.0), (21.1, 7.7), (37.8, 7.2)])
def test_durum_comes_to_the_printed_moisture_at_25_percent_humidity(temperature_c, percent):
    # Published durum table at RH 25 %, printed to 0.1 point.
    assert 100 * drying.equilibrium_moisture_wb("durum", temperature_c, 0.25) == pytest.approx(percent, abs=0.06)


def test_soft_wheat_comes_to_the_printed_moisture():
    # Published for soft red winter wheat, 90 °F (32.2 °C) and 50 %: 10.8 % wb.
    assert 100 * drying.equilibrium_moisture_wb("soft_wheat", 32.2, 0.50) == pytest.approx(10.8, abs=0.05)


@pytest.mark.parametrize(("relative_humidity", "percent"), [(0.30, 6.8), (0.50, 9.3), (0.65, 12.2), (0.70, 13.6)])
def test_malt_follows_its_isotherm_at_20_degrees(relative_humidity, percent):
    # López et al. 1997, Drying Technol. 15:1499, worked out from the constants as read at second hand.
    assert 100 * drying.equilibrium_moisture_wb("malt", 20.0, relative_humidity) == pytest.approx(percent, abs=0.05)


@pytest.mark.parametrize(
    ("grain", "a", "b", "c"),
    [
        ("barley", 475.12, 0.14843, 71.996),
        ("wheat", 610.34, 0.15526, 93.213),
        ("maize", 374.34, 0.18662, 31.696),
        ("rye", 461.023, 0.184, 38.741),
        ("oats", 433.157, 0.21581, 41.439),
    ],
)
def test_the_chung_pfost_grains_hold_their_published_constants(grain, a, b, c):
    # ASAE D245.5/.6; Storage of Cereal Grains, 5th ed.: M_db% = -ln(-(T+C) ln(RH)/A)/B, worked by hand at 25 °C, 70 %.
    percent_db = -math.log(-(25 + c) * math.log(0.70) / a) / b
    expected = percent_db / (100 + percent_db)
    assert drying.equilibrium_moisture_wb(grain, 25.0, 0.70) == pytest.approx(expected, rel=1e-12)


def test_all_grains_lie_within_a_few_points_of_each_other_so_no_unit_has_slipped():
    # Cereals at 25 °C and 70 % are commonly said to hold 12 to 15 %; a factor of 100 in B would be far outside.
    for grain in GRAINS:
        assert 0.115 < drying.equilibrium_moisture_wb(grain, 25.0, 0.70) < 0.152


@given(grains, storage_c, storage_rh)
def test_equilibrium_moisture_and_humidity_are_inverses(grain, temperature_c, relative_humidity):
    moisture = drying.equilibrium_moisture_wb(grain, temperature_c, relative_humidity)
    back = drying.equilibrium_relative_humidity(grain, temperature_c, moisture)
    assert back == pytest.approx(relative_humidity, rel=1e-9)


@given(grains, storage_c, st.floats(0.15, 0.90), st.floats(0.001, 0.05))
def test_damper_air_leaves_grain_damper(grain, temperature_c, relative_humidity, damper_by):
    drier = drying.equilibrium_moisture_wb(grain, temperature_c, relative_humidity)
    damper = drying.equilibrium_moisture_wb(grain, temperature_c, relative_humidity + damper_by)
    assert 0 < drier < damper < 1


@given(grains, st.floats(0, 45), storage_rh)
def test_warmer_air_of_the_same_humidity_leaves_grain_drier(grain, temperature_c, relative_humidity):
    cold = drying.equilibrium_moisture_wb(grain, temperature_c, relative_humidity)
    assert drying.equilibrium_moisture_wb(grain, temperature_c + 5, relative_humidity) < cold


def test_the_lewis_rate_of_barley_is_that_of_o_callaghan():
    # O'Callaghan et al. 1971: 1.559e-4 1/s at 50 °C; half the water of a thin layer gone in 74 min.
    assert drying.lewis_rate_per_s(50.0) == pytest.approx(1.559e-4, rel=5e-4)
    assert drying.lewis_moisture_ratio(74 / 60, 3600 * drying.lewis_rate_per_s(50.0)) == pytest.approx(0.5, abs=0.002)


@pytest.mark.parametrize(("initial_db_percent", "depression_c"), [(30, 19.2), (70, 15.2)])
def test_five_percent_of_germination_is_lost_at_the_printed_pairs(initial_db_percent, depression_c):
    # Sasaki & Kanzaki 1972, printed check.
    assert drying.germination_loss_percent(depression_c, initial_db_percent) == pytest.approx(5, abs=0.05)


def test_the_falling_rate_stands_in_its_printed_form():
    # Sasaki & Kanzaki 1972: loss and rate share their exponential, 0.063 to 0.0727.
    loss, rate = drying.germination_loss_percent(22.0, 40.0), drying.falling_rate_per_h(22.0, 40.0)
    assert loss / 40 + 0.085 == pytest.approx(rate * 0.063 / 0.0727)
    assert drying.falling_rate_per_h(0.0, 100.0) == pytest.approx(0.0727 * math.exp(-0.417))
    assert drying.falling_equilibrium_db_percent(20.0) == pytest.approx(7.91)


@given(st.floats(0, 55), st.floats(10, 120))
def test_germination_loss_is_a_percentage(depression_c, initial):
    assert 0 <= drying.germination_loss_percent(depression_c, initial) <= 100


@given(st.floats(0.001, 1), st.floats(0.1, 3), st.floats(0.3, 2))
def test_page_and_its_time_are_inverses(ratio, rate, power):
    hours = drying.page_time_h(ratio, rate, power)
    assert drying.page_moisture_ratio(hours, rate, power) == pytest.approx(ratio, rel=1e-9)


def test_page_with_power_one_is_lewis():
    hours = np.linspace(0, 8, 5)
    assert drying.page_moisture_ratio(hours, 0.5, 1.0) == pytest.approx(drying.lewis_moisture_ratio(hours, 0.5))


def test_a_rate_fitted_at_50_degrees_is_carried_to_65():
    carried = drying.rate_at_temperature(drying.lewis_rate_per_s(50.0), 50.0, 65.0)
    assert carried == pytest.approx(drying.lewis_rate_per_s(65.0), rel=1e-12)


def test_24_kg_of_barley_on_100_cubic_metres_an_hour_need_12_hours_or_more():
    # Derived: 24 kg at 12 %, green at 45 %, dried to 4.5 %, with air of 15 °C, 70 % heated to 55 °C.
    dry_kg = 24 * 0.88
    duty = humid_air.drying_duty(15.0, 0.70, 55.0)
    need = drying.charge_duty(dry_kg / 0.55, 0.45, 0.045, duty)
    assert need.water_kg == pytest.approx(dry_kg * (0.45 / 0.55 - 0.045 / 0.955))
    outside = humid_air.humidity_ratio(15.0, 0.70)
    volume = humid_air.specific_volume_m3_per_kg(55.0, outside)
    carried = drying.evaporation_kg_per_h(100 / 3600, duty.humidity_gain_g_per_kg / 1000, volume)
    assert carried == pytest.approx(100 / duty.air_m3_per_kg)
    assert 12 <= need.water_kg / carried <= 13


REGIMES = {"initial_db": 0.8, "constant_rate": 0.06, "falling_rate": 0.3, "equilibrium_db": 0.05}


def test_a_bed_falls_straight_to_its_break_point_and_then_bends():
    # By hand: break at 0.05 + 0.06/0.3 = 0.25 after (0.80 - 0.25)/0.06 h; ln 2 / 0.3 h later half of 0.20 is left.
    assert drying.break_point_db(0.06, 0.3, 0.05) == pytest.approx(0.25)
    turn_h = 0.55 / 0.06
    assert drying.moisture_after_db(turn_h / 2, **REGIMES) == pytest.approx(0.80 - 0.275)
    assert drying.moisture_after_db(turn_h, **REGIMES) == pytest.approx(0.25)
    assert drying.moisture_after_db(turn_h + math.log(2) / 0.3, **REGIMES) == pytest.approx(0.15)


def test_the_closed_form_agrees_with_stepping_through_the_rates():
    # Oracle: scipy's integration of dM/dt = -min(r, k(M - Me)).
    hours = np.linspace(0, 30, 31)
    stepped = solve_ivp(
        lambda _, m: -np.minimum(0.06, 0.3 * (m - 0.05)),
        (0, 30),
        [0.8],
        t_eval=hours,
        rtol=1e-9,
        atol=1e-12,
        max_step=0.1,
    )
    assert drying.moisture_after_db(hours, **REGIMES) == pytest.approx(stepped.y[0], abs=1e-5)


def test_a_thin_layer_in_plenty_of_air_follows_lewis():
    left = drying.moisture_after_db(3.0, 0.8, math.inf, 0.3, 0.05)
    assert (left - 0.05) / 0.75 == pytest.approx(drying.lewis_moisture_ratio(3.0, 0.3))


@given(st.floats(0.051, 0.8), st.floats(0.005, 0.5), st.floats(0.05, 2))
def test_drying_time_and_moisture_after_it_are_inverses(target, constant, falling):
    hours = drying.drying_time_h(target, 0.8, constant, falling, 0.05)
    assert hours >= 0
    assert drying.moisture_after_db(hours, 0.8, constant, falling, 0.05) == pytest.approx(target, rel=1e-9)


@given(st.floats(0, 48), st.floats(0.01, 10), st.floats(0.005, 0.5), st.floats(0.05, 2))
def test_a_bed_never_gains_water_and_never_passes_its_equilibrium(hours, longer_by, constant, falling):
    before = drying.moisture_after_db(hours, 0.8, constant, falling, 0.05)
    after = drying.moisture_after_db(hours + longer_by, 0.8, constant, falling, 0.05)
    assert 0.05 <= after <= before <= 0.8


def test_a_bed_already_below_its_break_point_has_no_straight_part():
    assert drying.drying_time_h(0.10, 0.20, 0.06, 0.3, 0.05) == pytest.approx(math.log(0.15 / 0.05) / 0.3)


def test_wet_grain_sits_at_the_wet_bulb_and_dry_grain_at_air_on():
    wet_bulb = humid_air.wet_bulb_c(55.0, 0.07)
    assert drying.grain_temperature_c(55.0, 0.07, 1.0) == pytest.approx(wet_bulb)
    assert drying.grain_temperature_c(55.0, 0.07, 0.0) == 55
    assert wet_bulb < drying.grain_temperature_c(55.0, 0.07, 0.5) < 55


def test_the_rate_by_the_air_is_what_it_lost_of_what_a_wet_bed_takes():
    wet_bulb = humid_air.wet_bulb_c(55.0, 0.07)
    assert drying.rate_share_by_air(55.0, 40.0, 25.0) == pytest.approx(0.5)
    assert drying.rate_share_by_air(55.0, wet_bulb - 1.0, wet_bulb) == 1.0
    assert drying.rate_share_by_air(55.0, 56.0, wet_bulb) == 0.0
    for share in (0.0, 0.3, 1.0):
        layer_c = drying.grain_temperature_c(55.0, 0.07, share)
        assert drying.rate_share_by_air(55.0, layer_c, wet_bulb) == pytest.approx(share)


@pytest.mark.parametrize("drag", [0.0, 0.5, 1.0])
def test_what_is_left_by_the_rate_is_where_the_falling_rate_comes_to_it(drag):
    # dM/dt = -k(M - Me)^(1 + d), with k such that the rate is 0.06 at the break, 0.2 above equilibrium.
    left = drying.left_by_rate_share(0.25, drag)
    assert (left * 0.2) ** (1.0 + drag) * 0.06 / 0.2 ** (1.0 + drag) == pytest.approx(0.25 * 0.06)
    assert drying.left_by_rate_share(1.0, drag) == 1.0


def test_floats_give_floats_and_arrays_keep_their_shape():
    assert type(drying.equilibrium_moisture_wb("barley", 20.0, 0.6)) is float
    assert type(drying.equilibrium_relative_humidity("malt", 20.0, 0.05)) is float
    assert type(drying.lewis_rate_per_s(50.0)) is float
    assert type(drying.moisture_after_db(1.0, **REGIMES)) is float
    grid = drying.equilibrium_moisture_wb("malt", np.array([[10.0], [20.0]]), np.array([[0.3, 0.5]]))
    assert grid.shape == (2, 2)
    assert grid[1, 1] == drying.equilibrium_moisture_wb("malt", 20.0, 0.5)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: drying.equilibrium_moisture_wb("spelt", 20.0, 0.5), "grain must be one of"),
        (lambda: drying.equilibrium_moisture_wb("barley", 20.0, 0.0), "more than 0"),
        (lambda: drying.equilibrium_moisture_wb("barley", 20.0, 1.0), "less than 1"),
        (lambda: drying.equilibrium_moisture_wb("barley", 20.0, 65.0), "less than 1"),
        (lambda: drying.equilibrium_moisture_wb("barley", 200.0, 0.5), "at most 110"),
        (lambda: drying.equilibrium_moisture_wb("barley", 90.0, 0.02), "too dry for this grain's equation"),
        (lambda: drying.equilibrium_relative_humidity("barley", 20.0, 14.0), "at most 0.6"),
        (lambda: drying.equilibrium_relative_humidity("malt", 20.0, 0.45), "wetter than saturated air"),
        (lambda: drying.lewis_rate_per_s(-5.0), "at least 0"),
        (lambda: drying.falling_rate_per_h(-1.0, 40.0), "at least 0"),
        (lambda: drying.falling_rate_per_h(20.0, 0.4), "at least 10"),
        (lambda: drying.germination_loss_percent(60.0, 40.0), "at most 55"),
        (lambda: drying.page_time_h(0.0, 0.3, 1.0), "more than 0"),
        (lambda: drying.rate_at_temperature(0.3, 50.0, 200.0), "at most 120"),
        (lambda: drying.evaporation_kg_per_h(1.0, 0.01, 0.0), "more than 0"),
        (lambda: drying.moisture_after_db(1.0, 0.8, 0.0, 0.3, 0.05), "Constant rate must be more than 0"),
        (lambda: drying.moisture_after_db(1.0, 0.04, 0.1, 0.3, 0.05), "more than 0.05"),
        (lambda: drying.drying_time_h(0.05, 0.8, 0.1, 0.3, 0.05), "never gets that dry"),
        (lambda: drying.drying_time_h(0.9, 0.8, 0.1, 0.3, 0.05), "at most 0.8"),
        (lambda: drying.grain_temperature_c(55.0, 0.07, 1.5), "at most 1"),
        (lambda: drying.rate_share_by_air(25.0, 25.0, 25.0), "dries nothing"),
        (lambda: drying.left_by_rate_share(1.2, 0.0), "at most 1"),
        (lambda: drying.charge_duty(10.0, 0.04, 0.05, humid_air.drying_duty(15.0, 0.7, 55.0)), "at least 0.05"),
    ],
)
def test_outside_its_range_a_function_says_so(call, said):
    with pytest.raises(ValueError, match=said):
        call()
