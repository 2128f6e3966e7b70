"""Proportions: published intervals, scipy as the oracle, and the agreement of dishes."""

import subprocess
import sys
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from app.science import proportions

counts = st.integers(1, 600).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
levels = st.sampled_from([0.8, 0.9, 0.95, 0.99])


@pytest.mark.parametrize(("found", "n", "low", "high"), [(95, 100, 88.82, 97.85), (490, 500, 96.36, 98.91)])
def test_wilson_gives_the_values_of_the_reference_library(found: int, n: int, low: float, high: float) -> None:
    # stats.binomtest(...).proportion_ci(method="wilson"), two decimals.
    got = proportions.wilson_interval(found, n)
    assert (round(100 * got[0], 2), round(100 * got[1], 2)) == (low, high)


def test_exact_gives_the_values_of_the_reference_library() -> None:
    # stats.binomtest(95, 100).proportion_ci(method="exact"), two decimals.
    low, high = proportions.exact_interval(95, 100)
    assert (round(100 * low, 2), round(100 * high, 2)) == (88.72, 98.36)


@given(counts, levels)
def test_both_intervals_agree_with_scipy(count: tuple[int, int], level: float) -> None:
    reference = stats.binomtest(*count)
    for name, ours in (("wilson", proportions.wilson_interval), ("exact", proportions.exact_interval)):
        theirs = reference.proportion_ci(level, method=name)
        assert ours(*count, level) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


@given(counts, levels)
def test_an_interval_holds_the_share_and_stays_between_nought_and_one(count: tuple[int, int], level: float) -> None:
    low, high = proportions.wilson_interval(*count, level)
    assert 0 <= low <= count[0] / count[1] <= high <= 1
    wide = proportions.exact_interval(*count, level)
    assert 0 <= wide[0] <= count[0] / count[1] <= wide[1] <= 1


@given(st.integers(1, 99))
def test_more_kernels_give_a_narrower_interval(found: int) -> None:
    few, many = proportions.wilson_interval(found, 100), proportions.wilson_interval(5 * found, 500)
    assert many[1] - many[0] < few[1] - few[0]


def test_intervals_work_on_arrays() -> None:
    low, high = proportions.wilson_interval(np.array([0.0, 95.0, 100.0]), 100)
    assert low[0] == 0
    assert high[2] == 1
    assert (low[1], high[1]) == pytest.approx(proportions.wilson_interval(95, 100))
    exact = proportions.exact_interval(np.array([0.0, 95.0, 100.0]), 100)
    assert exact[0][1] == pytest.approx(proportions.exact_interval(95, 100)[0])
    assert type(proportions.exact_interval(95, 100)[0]) is float


def test_wilson_does_not_load_scipy() -> None:
    program = (
        "import sys; from app.science import proportions; proportions.wilson_interval(95, 100);"
        "sys.exit(any(name.split('.')[0] == 'scipy' for name in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0


@given(st.floats(0, 1), st.integers(1, 300))
def test_the_binomial_distribution_agrees_with_scipy(share: float, n: int) -> None:
    assert proportions.binomial_cdf(share, n) == pytest.approx(stats.binom.cdf(range(n + 1), n, share), abs=1e-9)


@given(st.floats(0.01, 0.99), st.integers(1, 300), levels)
def test_the_binomial_range_agrees_with_scipy(share: float, n: int, level: float) -> None:
    low, high = proportions.binomial_range(share, n, level)
    tail = (1 - level) / 2
    assert stats.binom.cdf(low - 1, n, share) <= tail + 1e-9
    assert stats.binom.sf(high, n, share) <= tail + 1e-9
    assert stats.binom.cdf(low, n, share) > tail - 1e-9


def test_one_dish_of_a_hundred_cannot_separate_95_from_98_percent() -> None:
    assert not proportions.separates(100, 0.95, 0.98)
    assert proportions.separates(1500, 0.95, 0.98)
    assert proportions.separates(1500, 0.98, 0.95)


@given(counts)
def test_the_next_dish_agrees_with_scipys_beta_binomial(count: tuple[int, int]) -> None:
    found, n = count
    low, high = proportions.prediction_range(found, n, 100)
    reference = stats.betabinom(100, found + 0.5, n - found + 0.5)
    assert reference.cdf(low - 1) <= 0.025 + 1e-6
    assert reference.cdf(high) >= 0.975 - 1e-6
    assert low <= 100 * (found + 0.5) / (n + 1) <= high + 1


def test_the_next_dish_is_less_certain_than_a_known_lot() -> None:
    known, guessed = proportions.binomial_range(0.95, 100), proportions.prediction_range(95, 100, 100)
    assert guessed[1] - guessed[0] > known[1] - known[0]


@pytest.mark.parametrize(("mean", "tolerated"), [(98, 6), (95, 9), (90, 12), (80, 16), (97.5, 6), (97.4, 7)])
def test_the_ista_table_is_kept(mean: float, tolerated: int) -> None:
    # International Rules for Seed Testing, table 5B, from memory; the mean is rounded before it is looked up.
    assert proportions.ista_tolerated_range(mean) == tolerated


def test_the_ista_table_is_the_same_from_either_end() -> None:
    for mean in range(1, 51):
        assert proportions.ista_tolerated_range(mean) == proportions.ista_tolerated_range(101 - mean)


@pytest.mark.parametrize("mean", range(51, 100))
def test_the_general_rule_lies_within_a_point_of_the_ista_table(mean: int) -> None:
    assert abs(proportions.tolerated_range(mean / 100, 100, 4) - proportions.ista_tolerated_range(mean)) <= 1


def test_the_general_rule_is_what_simulated_dishes_do() -> None:
    dishes = np.random.default_rng(7).binomial(50, 0.93, size=(200_000, 3))
    apart = dishes.max(axis=1) - dishes.min(axis=1)
    width = proportions.tolerated_range(0.93, 50, 3)
    assert (apart > width).mean() <= 0.025 + 0.002
    assert (apart > width - 1).mean() > 0.025 - 0.002


def test_replicates_of_a_hundred_go_by_the_ista_table() -> None:
    fine = proportions.replicates_agree([98, 96, 92, 94], [100] * 4)
    assert (fine.mean_percent, fine.range_points, fine.tolerated_points) == (95.0, pytest.approx(6.0), 9.0)
    assert fine.agrees
    assert not proportions.replicates_agree([99, 98, 96, 87], [100] * 4).agrees


def test_replicates_of_true_numbers_go_by_the_exact_rule() -> None:
    uneven = proportions.replicates_agree([97, 95, 99, 96], [103, 97, 105, 99])
    assert uneven.agrees
    assert "exact" in uneven.rule
    assert not proportions.replicates_agree([97, 60], [103, 97]).agrees


@pytest.mark.parametrize(
    "call",
    [
        lambda: proportions.wilson_interval(101, 100),
        lambda: proportions.wilson_interval(-1, 100),
        lambda: proportions.wilson_interval(0, 0),
        lambda: proportions.wilson_interval(5, 10, 1.0),
        lambda: proportions.exact_interval(5, 4),
        lambda: proportions.binomial_cdf(1.1, 10),
        lambda: proportions.binomial_cdf(0.5, 10.5),
        lambda: proportions.binomial_range(0.5, 0),
        lambda: proportions.ista_tolerated_range(101),
        lambda: proportions.tolerated_range(0.9, 100, 1),
        lambda: proportions.replicates_agree([95], [100]),
        lambda: proportions.replicates_agree([95, 101], [100, 100]),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()


# Newcombe 1998, Stat. Med. 17:873, table II, method 10: the first two as several packages reprint them, the others
# from memory.
NEWCOMBE = [
    (56, 70, 48, 80, 0.0524, 0.3339),
    (9, 10, 3, 10, 0.1705, 0.8090),
    (6, 7, 2, 7, 0.0582, 0.8062),
    (5, 56, 0, 29, -0.0381, 0.1926),
    (0, 10, 0, 20, -0.1611, 0.2775),
    (0, 10, 0, 10, -0.2775, 0.2775),
    (10, 10, 0, 20, 0.6791, 1.0),
    (10, 10, 0, 10, 0.6075, 1.0),
]


@pytest.mark.parametrize(("first", "first_n", "second", "second_n", "low", "high"), NEWCOMBE)
def test_a_difference_of_two_shares_has_the_interval_that_newcombe_printed(
    first: int, first_n: int, second: int, second_n: int, low: float, high: float
) -> None:
    assert proportions.newcombe_interval(first, first_n, second, second_n) == pytest.approx((low, high), abs=6e-5)
    turned = proportions.newcombe_interval(second, second_n, first, first_n)
    assert turned == pytest.approx((-high, -low), abs=6e-5)


def test_of_many_pairs_of_counts_the_interval_holds_the_true_difference_as_often_as_it_says() -> None:
    rng = np.random.default_rng(3)
    first, second = rng.binomial(100, 0.93, 4000), rng.binomial(100, 0.60, 4000)
    held = 0
    for one, other in zip(first, second, strict=True):
        low, high = proportions.newcombe_interval(float(one), 100.0, float(other), 100.0)
        held += low <= 0.33 <= high
    assert held / 4000 == pytest.approx(0.95, abs=0.012)


@pytest.mark.parametrize(("share", "confidence", "kernels"), [(0.01, 0.95, 299), (0.05, 0.95, 59), (0.5, 0.75, 2)])
def test_so_many_kernels_show_a_fault_and_one_fewer_would_not(share: float, confidence: float, kernels: int) -> None:
    # scipy's binomial distribution: the chance of finding none.
    assert proportions.kernels_to_find(share, confidence) == kernels
    assert stats.binom.pmf(0, kernels, share) <= 1 - confidence + 1e-12
    assert stats.binom.pmf(0, kernels - 1, share) > 1 - confidence


@pytest.mark.parametrize("n", [1, 30, 100, 299])
def test_where_none_is_found_the_share_is_bounded(n: int) -> None:
    # Clopper and Pearson's bound of scipy, one-sided; and the rule of three (Eypasch et al. 1995) from 30 on.
    bound = stats.binomtest(0, n, alternative="less").proportion_ci(0.95, method="exact").high
    assert proportions.most_when_none_found(n) == pytest.approx(bound)
    assert n < 30 or proportions.most_when_none_found(n) == pytest.approx(3 / n, rel=0.06)


@pytest.mark.parametrize(
    "call",
    [
        lambda: proportions.kernels_to_find(0.0),
        lambda: proportions.kernels_to_find(1.0),
        lambda: proportions.kernels_to_find(0.01, 1.0),
        lambda: proportions.most_when_none_found(0),
    ],
)
def test_a_fault_that_cannot_be_looked_for_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()
