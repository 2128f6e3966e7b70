"""Growth: the grouped mean and its bounds, thermal time against published checks, respiration."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from app.science import growth

EXAMPLE = [2, 3, 15, 75, 5]
counts = st.lists(st.integers(0, 200), min_size=5, max_size=5).filter(lambda c: sum(c) >= 2)


def test_the_mean_acrospire_gives_the_worked_example() -> None:
    # Derived: 0.02*0.125 + 0.03*0.375 + 0.15*0.625 + 0.75*0.875 + 0.05*(1.0 or 1.125).
    assert growth.mean_acrospire(EXAMPLE, 1.0) == pytest.approx(0.81375, abs=1e-12)
    assert growth.mean_acrospire(EXAMPLE) == pytest.approx(0.8200, abs=1e-12)
    assert growth.acrospire_bounds(EXAMPLE) == pytest.approx((0.695, 0.945), abs=1e-12)


def test_classes_may_be_given_by_name_and_set_apart_kernels_stay_out() -> None:
    named = dict(zip(growth.CLASSES, EXAMPLE, strict=True)) | {"broken": 3, "mouldy": 2, "not_sure": 4}
    assert growth.mean_acrospire(named) == growth.mean_acrospire(EXAMPLE)
    assert growth.mean_acrospire({"half_to_three_quarters": 8}) == 0.625


@given(counts)
def test_the_mean_lies_within_its_bounds(class_counts: list[int]) -> None:
    low, high = growth.acrospire_bounds(class_counts)
    assert 0 <= low <= growth.mean_acrospire(class_counts) <= high <= 1.25
    assert high - low == pytest.approx(0.25)


@given(counts, st.integers(0, 3))
def test_a_kernel_that_grows_on_lifts_the_mean(class_counts: list[int], index: int) -> None:
    assume(class_counts[index] > 0)
    grown = list(class_counts)
    grown[index] -= 1
    grown[index + 1] += 1
    assert growth.mean_acrospire(grown) > growth.mean_acrospire(class_counts)


@given(counts)
def test_the_spread_is_that_of_the_kernels_written_out_one_by_one(class_counts: list[int]) -> None:
    kernels = np.repeat([0.125, 0.375, 0.625, 0.875, 1.125], class_counts)
    assert growth.acrospire_sd(class_counts) == pytest.approx(kernels.std(ddof=1), abs=1e-9)
    assert growth.mean_acrospire(class_counts) == pytest.approx(kernels.mean())


def test_the_uncertainty_of_the_mean_is_that_of_many_counts() -> None:
    rng = np.random.default_rng(11)
    drawn = rng.multinomial(50, np.array(EXAMPLE) / 100, size=20_000)
    means = drawn @ np.array([0.125, 0.375, 0.625, 0.875, 1.125]) / 50
    _, sd = growth.mean_acrospire_with_sd([1, 1.5, 7.5, 37.5, 2.5])
    assert sd == pytest.approx(means.std(), rel=0.03)


def test_four_times_the_kernels_halve_the_uncertainty() -> None:
    few, many = growth.mean_acrospire_with_sd([0, 20, 0, 0, 0]), growth.mean_acrospire_with_sd([0, 80, 0, 0, 0])
    assert few[1] == pytest.approx(2 * many[1])
    assert few[1] > 0


def test_shares_come_with_wilson_intervals() -> None:
    # scipy.stats.binomtest(5, 100) and (2, 100), method="wilson".
    over, laggards = growth.overgrown_share(EXAMPLE), growth.ungrown_share(EXAMPLE)
    assert (over.share, over.low, over.high) == pytest.approx((0.05, 0.02154, 0.11175), abs=5e-6)
    assert (laggards.share, laggards.low, laggards.high) == pytest.approx((0.02, 0.00550, 0.07001), abs=5e-6)


def test_evenness_is_the_fullest_class_or_pair() -> None:
    assert growth.evenness_share(EXAMPLE, 1) == pytest.approx(0.75)
    assert growth.evenness_share(EXAMPLE, 2) == pytest.approx(0.90)


def test_thermal_time_gives_the_published_onion_check() -> None:
    # Onion, base 2.5 °C: 4 d at 22.5 °C or 16 d at 7.5 °C make the same 80 °C·d.
    assert growth.thermal_time_c_d([22.5], [96.0], 2.5) == pytest.approx(80.0)
    assert growth.thermal_time_c_d([7.5] * 16, [24.0] * 16, 2.5) == pytest.approx(80.0)
    assert growth.thermal_time_c_d([22.5, 22.5], [0.0, 96.0], 2.5) == pytest.approx(80.0)
    assert growth.thermal_time_c_d(22.5, 96.0, 2.5) == pytest.approx(80.0)


@pytest.mark.parametrize("spread", [0.01, 0.03, 0.06, 0.1, 0.2, 0.3])
def test_the_mean_by_classes_is_never_farther_off_than_what_they_hide(spread: float) -> None:
    # Lengths as normal as can be, none below 0 and none that outgrew its kernel by more than a class.
    quantiles = stats.norm.ppf((np.arange(4000) + 0.5) / 4000)
    for mean in np.linspace(0.0, 1.0, 81):
        lengths = np.clip(mean + spread * quantiles, 0.0, 1.25)
        counts = np.histogram(lengths, [0.0, 0.25, 0.5, 0.75, 1.0, 1.2500001])[0]
        off = abs(growth.mean_acrospire(counts) - float(lengths.mean()))
        assert off <= growth.hidden_by_classes(counts) + 0.005, (mean, spread)


@pytest.mark.parametrize(
    ("counts", "hidden"),
    [
        ((0, 0, 100, 0, 0), 0.125),
        ((100, 0, 0, 0, 0), 0.125),
        ((0, 50, 50, 0, 0), 0.0),
        ((0, 80, 20, 0, 0), 0.075),
        ((0, 33, 34, 33, 0), 0.0),
    ],
)
def test_the_more_classes_they_lie_in_the_less_is_hidden(counts: tuple[int, ...], hidden: float) -> None:
    assert growth.hidden_by_classes(counts) == pytest.approx(hidden, abs=1e-4)


def test_cold_below_the_base_neither_adds_nor_takes() -> None:
    assert growth.thermal_time_c_d([20.0, 1.0], [24.0, 240.0], 5.0) == pytest.approx(15.0)


@given(st.lists(st.floats(-5, 30), min_size=2, max_size=8), st.floats(-2, 15))
def test_between_readings_the_temperature_is_straight(temperatures: list[float], base: float) -> None:
    hours = [6.0 * i for i in range(len(temperatures))]
    fine = np.linspace(0, hours[-1], 20_001)
    excess = np.maximum(np.interp(fine, hours, temperatures) - base, 0)
    expected = np.trapezoid(excess, fine) / 24
    assert growth.thermal_time_c_d(temperatures, hours, base) == pytest.approx(expected, abs=1e-3)


def test_respiration_heats_the_bed_as_derived() -> None:
    # Derived: 5 % of 880 kg dry matter is 44 kg; 44 000 g × 17.29 kJ/g ÷ 3600 = 211 kWh.
    burnt = growth.respiration(0.05 * 880)
    assert burnt.heat_kwh == pytest.approx(211, abs=0.5)
    assert burnt.carbon_dioxide_kg == pytest.approx(44 * 6 * 44.0095 / 162.1406, rel=1e-3)
    assert burnt.oxygen_kg == pytest.approx(44 * 6 * 31.9988 / 162.1406, rel=1e-3)
    mass_in, mass_out = 44 + burnt.oxygen_kg, burnt.carbon_dioxide_kg + burnt.water_kg
    assert mass_in == pytest.approx(mass_out, rel=1e-3)


@pytest.mark.parametrize(
    "call",
    [
        lambda: growth.mean_acrospire([1, 2, 3, 4]),
        lambda: growth.mean_acrospire([0, 0, 0, 0, 0]),
        lambda: growth.mean_acrospire([1, 2, -3, 4, 5]),
        lambda: growth.mean_acrospire({"to_a_third": 4}),
        lambda: growth.mean_acrospire(EXAMPLE, 0.5),
        lambda: growth.acrospire_sd([1, 0, 0, 0, 0]),
        lambda: growth.evenness_share(EXAMPLE, 3),
        lambda: growth.thermal_time_c_d([20.0], [1.0, 2.0], 5.0),
        lambda: growth.thermal_time_c_d([20.0], [-1.0], 5.0),
        lambda: growth.thermal_time_c_d([400.0], [1.0], 5.0),
        lambda: growth.respiration(-1.0),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()


@pytest.mark.parametrize("place", range(4))
def test_kernels_all_in_one_class_lie_somewhere_in_it(place: int) -> None:
    classes = [0, 0, 0, 0, 0]
    classes[place] = 100
    lengths = np.random.default_rng(5).uniform(0.25 * place, 0.25 * (place + 1), (20_000, 100))
    mean, sd = growth.mean_acrospire_with_sd(classes)
    assert mean == pytest.approx(lengths.mean(), abs=0.001)
    assert sd == pytest.approx(lengths.mean(axis=1).std(), rel=0.03)
