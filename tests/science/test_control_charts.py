"""Control charts: the handbook's example, scipy as the oracle, and no verdict from too few."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from app.science import control_charts

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
HANDBOOK = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
rows = st.lists(st.floats(-1e3, 1e3).map(lambda x: round(x, 3)), min_size=3, max_size=20)
uneven_rows = rows.filter(lambda row: np.std(row) > 1.0)


def test_the_handbooks_example_gives_the_handbooks_limits() -> None:
    chart = control_charts.individuals(HANDBOOK)
    assert chart.mean == pytest.approx(50.81, abs=5e-3)
    assert chart.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.upper == pytest.approx(55.8041, abs=5e-5)
    assert chart.lower == pytest.approx(45.8159, abs=5e-5)
    assert chart.range_upper == pytest.approx(3.267 * 1.8778, abs=5e-4)
    assert chart.outside == ()


@given(rows, st.floats(-100, 100))
def test_limits_lie_evenly_about_the_mean_and_move_with_it(values: list[float], shift: float) -> None:
    chart = control_charts.individuals(values)
    assert chart.lower <= chart.mean <= chart.upper
    assert chart.upper - chart.mean == pytest.approx(chart.mean - chart.lower, abs=1e-6)
    moved = control_charts.individuals(np.array(values) + shift)
    assert moved.upper - chart.upper == pytest.approx(shift, abs=1e-6)
    assert moved.mean_range == pytest.approx(chart.mean_range, abs=1e-6)


def test_a_value_outside_is_named_by_its_place() -> None:
    assert control_charts.individuals([5.0, 5.1, 4.9, 5.0, 5.1, 9.0, 5.0, 4.9, 5.0, 5.1, 5.0, 4.9]).outside == (5,)


def test_values_all_alike_have_no_spread_and_none_outside() -> None:
    chart = control_charts.individuals([0.1] * 9)
    assert chart.lower == chart.upper == pytest.approx(0.1)
    assert chart.outside == ()


def test_the_next_value_falls_inside_as_often_as_said() -> None:
    drawn = np.random.default_rng(2).normal(5.0, 2.0, size=(4000, 7))
    hits = 0
    for row in drawn:
        low, high = control_charts.prediction_interval(row[:6], 0.9)
        hits += low <= row[6] <= high
    assert hits / 4000 == pytest.approx(0.9, abs=0.015)


@given(uneven_rows, uneven_rows)
def test_the_difference_agrees_with_scipys_welch_test(first: list[float], second: list[float]) -> None:
    ours = control_charts.difference_between(first, second)
    theirs = stats.ttest_ind(first, second, equal_var=False).confidence_interval(0.95)
    assert ours.difference == pytest.approx(np.mean(first) - np.mean(second), abs=1e-6)
    assert ours.ends == pytest.approx((theirs.low, theirs.high), rel=1e-6, abs=1e-6)
    assert ours.is_clear == (theirs.low > 0 or theirs.high < 0)


def test_groups_without_spread_differ_exactly() -> None:
    exact = control_charts.difference_between([2.0, 2.0, 2.0], [1.0, 1.0, 1.0])
    assert (exact.ends, exact.is_clear) == ((1.0, 1.0), True)


def test_below_three_a_side_the_numbers_stand_alone() -> None:
    alone = control_charts.difference_between([1.0, 2.0], [5.0, 6.0, 7.0])
    assert (alone.difference, alone.ends) == (-4.5, None)
    assert (alone.n_first, alone.n_second, alone.is_clear) == (2, 3, None)


@pytest.mark.parametrize(
    "call",
    [
        lambda: control_charts.individuals([1.0]),
        lambda: control_charts.individuals([1.0, float("nan")]),
        lambda: control_charts.individuals([[1.0, 2.0], [3.0, 4.0]]),
        lambda: control_charts.prediction_interval([1.0]),
        lambda: control_charts.prediction_interval([1.0, 2.0, 3.0], 1.0),
        lambda: control_charts.difference_between([], [1.0]),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()


def test_the_range_of_several_is_that_of_the_studentized_range() -> None:
    for n, factor in control_charts.STUDENTIZED_RANGE.items():
        assert factor == pytest.approx(stats.studentized_range.ppf(0.95, n, np.inf), abs=6e-4)
    assert reach_of_range(0.3, 0.4, 2) == pytest.approx(0.5)
    assert reach_of_range(0.3, 0.4, 6) == pytest.approx(0.727, abs=1e-3)
    with pytest.raises(ValueError, match="2 to 6"):
        reach_of_range(0.3, 0.4, 7)


def reach_of_range(highest: float, lowest: float, n: int) -> float:
    top, bottom = control_charts.Estimate(9.0, 9.0 - highest, 9.0 + highest), control_charts.Estimate(7.0, 7.0, 7.0)
    low, high = control_charts.interval_of_range(top, bottom._replace(low=7.0 - lowest, high=7.0 + lowest), n)
    assert (low + high) / 2.0 == pytest.approx(2.0)
    return (high - low) / 2.0


@given(uneven_rows, uneven_rows)
def test_two_means_of_few_lie_apart_as_scipys_welch_test_has_it(first: list[float], second: list[float]) -> None:
    rows = sorted((first, second), key=lambda row: -float(np.mean(row)))
    theirs = stats.ttest_ind(*rows, equal_var=False).confidence_interval(0.95)
    assert control_charts.interval_of_range(*map(estimate_of, rows), 2) == pytest.approx(
        (theirs.low, theirs.high), rel=1e-6, abs=1e-6
    )


def estimate_of(row: list[float]) -> control_charts.Estimate:
    mean, reach = float(np.mean(row)), control_charts.half_width_of_mean(float(np.std(row, ddof=1)), len(row))
    theirs = stats.ttest_1samp(row, 0.0).confidence_interval(0.95)
    assert (mean - reach, mean + reach) == pytest.approx((theirs.low, theirs.high), rel=1e-6, abs=1e-6)
    return control_charts.Estimate(mean, mean - reach, mean + reach, len(row) - 1)


@pytest.mark.parametrize("n", [2, 4, 6])
def test_of_equal_values_one_range_in_twenty_is_called_clear(n: int) -> None:
    drawn = np.random.default_rng(n).normal(0.0, 1.0, (20_000, n))
    width = reach_of_range(1.96, 1.96, n)
    wrong = np.mean(np.ptp(drawn, axis=1) > width)
    assert wrong == pytest.approx(0.05, abs=0.006)


@given(st.floats(0.01, 100.0), st.floats(0.01, 100.0))
def test_what_only_touches_nought_holds_it(low: float, wide: float) -> None:
    assert control_charts.leaves_out_zero(low, low + wide)
    assert control_charts.leaves_out_zero(-low - wide, -low)
    assert not control_charts.leaves_out_zero(0.0, wide)
    assert not control_charts.leaves_out_zero(-wide, 0.0)
    assert not control_charts.leaves_out_zero(-low, wide)
