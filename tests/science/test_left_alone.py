"""What grain does while nobody looks: warming lines against a reference, the way to a limit, what a day takes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from app.science import growth
from app.science.left_alone import (
    dry_matter_lost_kg_with_sd,
    hours_to_limit,
    overgrown_after,
    overgrown_lengths_after,
    warming,
    warming_without_loss_c_per_h,
)

rates = st.floats(0.01, 3.0)
rises = st.floats(0.01, 40.0)


def test_three_readings_on_a_line_give_its_rate_and_the_uncertainty_of_the_thermometer() -> None:
    # Derived: the spread of 0, 2, 4 h is 8 h², so the rate is known to 0.3/√8.
    found = warming([0.0, 2.0, 4.0], [14.0, 15.0, 16.0])
    assert found.per_h == pytest.approx(0.5)
    assert found.per_h_sd == pytest.approx(0.3 / math.sqrt(8.0))
    assert found.level_c == pytest.approx(16.0)


def test_scattered_readings_widen_the_rate_as_the_reference_library_says() -> None:
    rng = np.random.default_rng(4)
    hours = np.arange(12.0)
    read = 14.0 + 0.3 * hours + rng.normal(0.0, 1.5, 12)
    found, reference = warming(list(hours), list(read)), linregress(hours, read)
    assert found.per_h == pytest.approx(reference.slope)
    assert found.per_h_sd == pytest.approx(reference.stderr)
    assert found.level_sd > 0.3 / math.sqrt(12)


def test_one_moment_tells_no_warming() -> None:
    with pytest.raises(ValueError, match="two times"):
        warming([3.0, 3.0], [14.0, 15.0])


def test_five_degrees_take_ten_hours_straight_and_less_where_warmth_makes_warmth() -> None:
    # Derived: the integral of dT/(r·2^(T/10)) from 0 to 5.
    assert hours_to_limit(15.0, 20.0, 0.5) == pytest.approx(10.0)
    assert hours_to_limit(15.0, 20.0, 0.5, 2.0) == pytest.approx(20.0 / math.log(2.0) * (1.0 - 2.0**-0.5))


@given(rates, rises, st.floats(1.01, 5.0))
def test_a_bed_that_quickens_is_never_later_than_one_on_a_straight_line(rate: float, rise: float, q10: float) -> None:
    straight, quick = hours_to_limit(10.0, 10.0 + rise, rate), hours_to_limit(10.0, 10.0 + rise, rate, q10)
    assert straight is not None
    assert quick is not None
    assert 0.0 < quick <= straight * (1.0 + 1e-9)


@given(rates, rises, st.floats(1.0, 5.0))
def test_the_way_to_the_limit_is_that_of_small_steps(rate: float, rise: float, q10: float) -> None:
    found = hours_to_limit(10.0, 10.0 + rise, rate, q10)
    temperatures = np.linspace(10.0, 10.0 + rise, 4001)
    slowness = 1.0 / (rate * q10 ** ((temperatures - 10.0) / 10.0))
    assert found == pytest.approx(float(np.trapezoid(slowness, temperatures)), rel=1e-4)


def test_a_bed_that_cools_never_comes_to_a_limit_above_it_and_one_past_it_is_there() -> None:
    assert hours_to_limit(15.0, 20.0, -0.2, 2.0) is None
    assert hours_to_limit(21.0, 20.0, -0.2) == 0.0


def test_all_the_heat_of_a_per_cent_a_day_warms_green_malt_by_a_degree_and_a_half_an_hour() -> None:
    # Derived from 17.29 kJ/g, 1.55 and 4.19 kJ/(kg K).
    assert warming_without_loss_c_per_h(0.01 / 24.0, 0.44) == pytest.approx(1.488, abs=5e-4)


@given(st.floats(0.0, 0.01), st.floats(0.0, 0.9))
def test_wetter_grain_warms_more_slowly(loss: float, moisture_wb: float) -> None:
    assert warming_without_loss_c_per_h(loss, moisture_wb + 0.05) <= warming_without_loss_c_per_h(loss, moisture_wb)


def test_what_breath_and_rootlets_take_adds_up_and_so_does_its_uncertainty() -> None:
    kg, sd = dry_matter_lost_kg_with_sd(22.0, {"breath": 0.011, "rootlets": 0.007}, {"breath": 0.25, "rootlets": 0.25})
    assert kg == pytest.approx(0.396)
    assert sd == pytest.approx(0.099)


def test_a_count_moved_along_by_a_tenth_has_two_fifths_of_its_longest_class_overgrown() -> None:
    # Derived: the class from 3/4 to 1 is a quarter wide, and a tenth is two fifths of it.
    counts = [2, 3, 15, 75, 5]
    assert overgrown_after(counts, 0.0) == growth.overgrown_share(counts).share
    assert overgrown_after(counts, 0.1) == pytest.approx(0.35)


def test_lengths_are_moved_along_one_by_one() -> None:
    assert overgrown_lengths_after([0.7, 0.85, 0.95, 1.0], 0.1) == 0.5


@given(st.lists(st.integers(0, 90), min_size=5, max_size=5).filter(any), st.floats(0.0, 1.5), st.floats(0.0, 1.0))
def test_more_growth_never_makes_fewer_overgrown(counts: list[int], gain: float, more: float) -> None:
    before, after = (overgrown_after(counts, each) for each in (gain, gain + more))
    assert 0.0 <= before <= after + 1e-12 <= 1.0 + 1e-9
