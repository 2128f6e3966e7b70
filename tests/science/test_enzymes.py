"""What the heat did to the enzymes: the wet kinetics, and the exact time above a ceiling."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from app.science.enzymes import (
    ENZYMES,
    half_life_min,
    hours_and_degree_hours_above,
    inactivation_rate_per_s,
    surviving_fraction,
    surviving_fractions,
)

ENZYME_NAMES = sorted(ENZYMES)
INSIDE_C = st.floats(0, 75)


@pytest.mark.parametrize(("enzyme", "minutes"), [("alpha_amylase", 72), ("beta_amylase", 4.2)])
def test_half_lives_at_65_degrees_are_those_of_the_mash_constants(enzyme, minutes):
    # Marc et al. 1983 as used by Brandam et al. 2003, from memory: half-lives to two figures.
    assert half_life_min(65.0, enzyme) == pytest.approx(minutes, rel=0.005)


def test_wet_beta_amylase_at_80_degrees_would_halve_in_half_a_second_which_is_why_the_range_ends_before():
    # The extrapolation by hand from the constants; the function itself refuses it.
    k = 7.6e60 * math.exp(-410.7e3 / (8.314462618 * 353.15))
    assert math.log(2) / k == pytest.approx(0.5, rel=0.05)
    with pytest.raises(ValueError, match="at most 75"):
        half_life_min(80.0, "beta_amylase")


@pytest.mark.parametrize("enzyme", ENZYME_NAMES)
def test_one_half_life_at_a_steady_temperature_leaves_half(enzyme):
    hours = half_life_min(65.0, enzyme) / 60
    assert surviving_fraction([0, hours], [65, 65], enzyme) == pytest.approx(0.5, rel=1e-12)


@pytest.mark.parametrize("enzyme", ENZYME_NAMES)
@pytest.mark.parametrize(("first", "last", "hours"), [(20, 70, 1.0), (70, 20, 1.0), (64, 66, 0.1), (65, 65.001, 0.2)])
def test_a_ramp_agrees_with_adaptive_quadrature(enzyme, first, last, hours):
    # Oracle: scipy's adaptive quadrature of the rate along the line.
    def rate_per_h(t):
        return 3600 * inactivation_rate_per_s(first + (last - first) * t / hours, enzyme)

    expected, _ = quad(rate_per_h, 0, hours, epsabs=0, epsrel=1e-12, limit=500)
    assert -math.log(surviving_fraction([0, hours], [first, last], enzyme)) == pytest.approx(expected, rel=1e-9)


def test_a_hot_half_and_a_cool_half_lose_more_than_their_mean_temperature_would():
    swung = surviving_fraction([0, 1, 1, 2], [55, 55, 65, 65], "alpha_amylase")
    assert swung < surviving_fraction([0, 2], [60, 60], "alpha_amylase")


@given(st.lists(INSIDE_C, min_size=2, max_size=12), st.sampled_from(ENZYME_NAMES))
def test_what_survives_is_a_fraction_that_never_rises(temperatures, enzyme):
    left = surviving_fractions(np.arange(len(temperatures)) * 0.05, temperatures, enzyme)
    assert left[0] == 1
    assert np.all((left >= 0) & (left <= 1))
    assert np.all(np.diff(left) <= 0)


@given(st.lists(INSIDE_C, min_size=3, max_size=8), st.sampled_from(ENZYME_NAMES), st.floats(0.1, 0.9))
def test_a_point_added_on_the_line_changes_nothing(temperatures, enzyme, where):
    hours = list(np.arange(len(temperatures)) * 0.02)
    between = temperatures[0] + where * (temperatures[1] - temperatures[0])
    finer = surviving_fraction(
        [hours[0], where * hours[1], *hours[1:]], [temperatures[0], between, *temperatures[1:]], enzyme
    )
    assert finer == pytest.approx(surviving_fraction(hours, temperatures, enzyme), rel=1e-9, abs=1e-300)


@given(st.lists(st.floats(0, 70), min_size=2, max_size=8), st.floats(0.1, 5))
def test_a_hotter_run_never_leaves_more(temperatures, warmer_by):
    hours = np.arange(len(temperatures)) * 0.1
    hotter = np.array(temperatures) + warmer_by
    assert surviving_fraction(hours, hotter, "alpha_amylase") <= surviving_fraction(
        hours, temperatures, "alpha_amylase"
    )


def test_hotter_than_75_or_drier_than_15_percent_is_outside_the_range():
    with pytest.raises(ValueError, match="hold up to 75"):
        surviving_fraction([0, 1], [70, 80], "alpha_amylase")
    with pytest.raises(ValueError, match="below 15% moisture"):
        surviving_fraction([0, 1], [50, 60], "alpha_amylase", moisture_wb=[0.2, 0.1])
    assert 0 < surviving_fraction([0, 1], [50, 60], "alpha_amylase", moisture_wb=0.44) < 1


def test_a_wrong_enzyme_a_short_row_and_a_backward_clock_are_refused():
    with pytest.raises(ValueError, match="enzyme must be one of"):
        surviving_fraction([0, 1], [50, 60], "lipase")
    with pytest.raises(ValueError, match="same length"):
        surviving_fraction([0, 1], [50, 60, 70], "alpha_amylase")
    with pytest.raises(ValueError, match="backwards"):
        surviving_fraction([1, 0], [50, 60], "alpha_amylase")


def test_a_float_gives_a_float_and_an_array_an_array():
    assert type(half_life_min(60.0, "alpha_amylase")) is float
    several = half_life_min(np.array([60.0, 65.0]), "alpha_amylase")
    assert several.shape == (2,)
    assert several[0] > several[1]


def test_a_rise_through_a_ceiling_counts_a_triangle():
    # Half of 2 h above, triangle of 1 h by 10 °C.
    assert hours_and_degree_hours_above([0, 2], [50, 70], 60) == pytest.approx((1.0, 5.0))


def test_a_ceiling_may_run_in_steps_or_in_lines():
    # Steps: only the second hour is over its ceiling, by 5 °C all along.
    assert hours_and_degree_hours_above([0, 1, 2], [55, 55, 55], [60, 50]) == pytest.approx((1.0, 5.0))
    # Lines: ceiling 50 → 70 under a steady 60 crosses half way; triangle of 1 h by 10 °C.
    assert hours_and_degree_hours_above([0, 2], [60, 60], [50, 70]) == pytest.approx((1.0, 5.0))


def test_no_ceiling_means_nothing_above_it():
    assert hours_and_degree_hours_above([0, 1, 2], [80, 90, 100], math.inf) == (0.0, 0.0)
    assert hours_and_degree_hours_above([0, 1, 2], [80, 90, 90], [math.inf, 80]) == pytest.approx((1.0, 10.0))


def test_exactly_at_the_ceiling_is_not_above_it():
    assert hours_and_degree_hours_above([0, 5], [60, 60], 60) == (0.0, 0.0)


def test_a_jump_takes_no_time():
    assert hours_and_degree_hours_above([0, 1, 1, 2], [50, 50, 70, 70], 60) == pytest.approx((1.0, 10.0))


@given(st.lists(st.floats(0, 120), min_size=2, max_size=10), st.floats(20, 100))
def test_time_above_agrees_with_a_fine_count(temperatures, ceiling):
    hours = np.arange(len(temperatures), dtype=float)
    # Midpoints of 20 000 slices: a slice is right or wrong as a whole, at most one crossing to each line.
    fine = (np.arange(20_000) + 0.5) / 20_000 * hours[-1]
    excess = np.interp(fine, hours, temperatures) - ceiling
    found = hours_and_degree_hours_above(hours, temperatures, ceiling)
    assert found.hours == pytest.approx(np.mean(excess > 0) * hours[-1], abs=1e-3 * hours[-1])
    assert found.degree_hours == pytest.approx(np.mean(np.maximum(excess, 0)) * hours[-1], abs=1e-3 * hours[-1])


@given(st.lists(st.floats(0, 120), min_size=2, max_size=10), st.floats(20, 90), st.floats(0.1, 10))
def test_a_higher_ceiling_never_gives_more(temperatures, ceiling, higher_by):
    hours = np.arange(len(temperatures))
    lower, higher = (hours_and_degree_hours_above(hours, temperatures, c) for c in (ceiling, ceiling + higher_by))
    assert higher.hours <= lower.hours + 1e-12
    assert higher.degree_hours <= lower.degree_hours + 1e-12


def test_a_ceiling_of_the_wrong_length_is_refused():
    with pytest.raises(ValueError, match="one for each interval"):
        hours_and_degree_hours_above([0, 1, 2], [50, 60, 70], [60])
    with pytest.raises(ValueError, match="infinity for no ceiling"):
        hours_and_degree_hours_above([0, 1], [50, 60], math.nan)
