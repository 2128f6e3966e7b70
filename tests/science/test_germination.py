"""Germination: published vectors, exact hits, flat stretches, and bounds."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science import germination

DAYS = list(range(1, 15))
# germinationmetrics package (Aravind et al.), its worked example, 50 seeds sown.
PUBLISHED = [0, 0, 0, 0, 4, 17, 10, 7, 1, 0, 1, 0, 0, 0]
vectors = st.lists(st.integers(0, 40), min_size=2, max_size=14).filter(lambda c: sum(c) >= 2)


def test_energy_index_and_water_sensitivity_of_the_published_dishes() -> None:
    # Counts: K. Kunze, BarleyGermination-KK.
    assert germination.germinative_energy([28, 45, 27], 100) == 100
    assert germination.germinative_energy([54, 38, 3], 100) == 95
    assert germination.water_sensitivity([28, 45, 27], 100, [54, 38, 3], 100) == 5
    assert germination.germination_index([28, 45, 27]) == pytest.approx(5.025126, abs=5e-7)
    assert germination.germination_index([54, 38, 3]) == pytest.approx(6.834532, abs=5e-7)


def test_the_true_number_of_kernels_is_used() -> None:
    assert germination.germinative_energy([50, 40, 5], 97) == pytest.approx(100 * 95 / 97)
    assert germination.water_sensitivity([50, 40, 5], 105, [50, 40, 5], 97) == pytest.approx(9500 / 105 - 9500 / 97)


def test_energy_is_that_of_three_days() -> None:
    assert germination.germinative_energy([50, 30, 10, 5, 2], 100) == 90
    assert germination.germinative_energy([50, 30, 10, 5, 2], 100, days=5) == 97


def test_the_index_is_ten_when_all_grow_on_the_first_day() -> None:
    # McCafferty & Bryce 1999: at most 10.
    assert germination.germination_index([96, 0, 0]) == 10


def test_the_published_vector_gives_the_published_measures() -> None:
    # germinationmetrics package: t50, MeanGermTime, VarGermTime, GermUncertainty, GermSynchrony, CUGerm.
    assert germination.t50(DAYS, PUBLISHED, "coolbear") == pytest.approx(5.970588, abs=5e-7)
    assert germination.t50(DAYS, PUBLISHED, "farooq") == pytest.approx(5.941176, abs=5e-7)
    assert germination.t50(DAYS, PUBLISHED) == germination.t50(DAYS, PUBLISHED, "farooq")
    assert germination.mean_time(DAYS, PUBLISHED) == pytest.approx(6.7, abs=1e-12)
    assert germination.mean_rate(DAYS, PUBLISHED) == pytest.approx(1 / 6.7)
    assert germination.time_variance(DAYS, PUBLISHED) == pytest.approx(1.446154, abs=5e-7)
    assert germination.uncertainty(DAYS, PUBLISHED) == pytest.approx(2.062987, abs=5e-7)
    assert germination.synchrony(DAYS, PUBLISHED) == pytest.approx(0.266667, abs=5e-7)
    assert germination.uniformity(DAYS, PUBLISHED) == pytest.approx(0.709220, abs=5e-7)


def test_an_exact_hit_gives_the_time_of_that_look() -> None:
    assert germination.t50([1, 2, 3, 4], [5, 5, 0, 10], "farooq") == 2
    assert germination.t50([1, 2, 3], [0, 11, 10], "coolbear") == 2


def test_a_flat_stretch_is_crossed_without_harm() -> None:
    assert germination.t50([1, 2, 3, 4], [4, 0, 0, 6], "farooq") == pytest.approx(3 + 1 / 6)
    assert germination.t50([1, 2, 3, 4], [0, 0, 0, 1], "coolbear") == pytest.approx(4)
    assert germination.t50([1, 2, 3, 4], [0, 0, 0, 1], "farooq") == pytest.approx(3.5)


def test_mean_counts_of_less_than_one_kernel_give_no_nan() -> None:
    assert germination.t50([1, 2, 3], [0.2, 0.1, 0.0], "coolbear") == pytest.approx(2)


def test_half_grown_at_the_first_look_is_placed_after_sowing() -> None:
    assert germination.t50([24, 48], [80, 10], "farooq") == pytest.approx(24 * 45 / 80)


def test_all_at_one_look_has_no_spread() -> None:
    at_once = [0, 30, 0]
    assert germination.synchrony([1, 2, 3], at_once) == 1
    assert germination.uncertainty([1, 2, 3], at_once) == 0
    assert germination.time_variance([1, 2, 3], at_once) == 0
    assert germination.uniformity([1, 2, 3], at_once) == math.inf


@given(vectors, st.sampled_from(["farooq", "coolbear"]))
def test_no_vector_gives_nan_and_half_time_lies_within_the_test(counts: list[int], method: str) -> None:
    days = list(range(1, len(counts) + 1))
    first = next(day for day, count in zip(days, counts, strict=True) if count)
    half_time = germination.t50(days, counts, method)
    assert first - 1 <= half_time <= days[-1]
    assert 1 <= germination.mean_time(days, counts) <= days[-1]
    assert 0 <= germination.synchrony(days, counts) <= 1
    assert 0 <= germination.uncertainty(days, counts) <= math.log2(len(counts)) + 1e-9
    assert germination.uniformity(days, counts) > 0
    assert 0 < germination.germination_index(counts) <= 10


@given(vectors)
def test_measures_agree_with_the_kernels_written_out_one_by_one(counts: list[int]) -> None:
    days = np.arange(1, len(counts) + 1)
    kernels = np.repeat(days, counts)
    assert germination.mean_time(days, counts) == pytest.approx(kernels.mean())
    assert germination.time_variance(days, counts) == pytest.approx(kernels.var(ddof=1), abs=1e-9)
    pairs = sum(int(a == b) for i, a in enumerate(kernels[:60]) for b in kernels[:i])
    if kernels.size <= 60:
        assert germination.synchrony(days, counts) == pytest.approx(pairs / math.comb(kernels.size, 2))


@given(vectors, st.floats(0.5, 48.0))
def test_another_unit_of_time_scales_the_times(counts: list[int], factor: float) -> None:
    days = list(range(1, len(counts) + 1))
    scaled = [factor * day for day in days]
    assert germination.t50(scaled, counts) == pytest.approx(factor * germination.t50(days, counts))
    assert germination.mean_time(scaled, counts) == pytest.approx(factor * germination.mean_time(days, counts))


def test_capacity_and_dormancy() -> None:
    # EBC 3.5.2, from memory: (200 - not germinated)/2.
    assert germination.germination_capacity(6) == (200 - 6) / 2
    assert germination.germination_capacity(5, 203) == pytest.approx(100 * 198 / 203)
    assert germination.dormancy(98.0, 81.0) == 17


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (-3, "very low"),
        (10, "very low"),
        (10.5, "low"),
        (25, "low"),
        (30, "considerable"),
        (45, "considerable"),
        (46, "high"),
    ],
)
def test_water_sensitivity_is_put_in_words(points: float, words: str) -> None:
    # Bands from memory of Kunze: up to 10, 25, 45 and above.
    assert germination.water_sensitivity_band(points) == words


def test_thirty_points_are_water_sensitive() -> None:
    # Montana State University barley programme.
    assert germination.is_water_sensitive(30)
    assert not germination.is_water_sensitive(29.9)


def test_every_requirement_names_its_source() -> None:
    for table in (germination.GERMINATIVE_ENERGY_REQUIRED, germination.GERMINATION_CAPACITY_REQUIRED):
        assert set(table) == {"barley", "wheat", "rye", "oats"}
        for requirement in table.values():
            assert requirement.source
            assert requirement.mark in {"P", "C"}


@pytest.mark.parametrize(
    "call",
    [
        lambda: germination.germinative_energy([50, 40, 20], 100),
        lambda: germination.germinative_energy([50, -1, 20], 100),
        lambda: germination.germinative_energy([], 100),
        lambda: germination.germinative_energy([0], 0),
        lambda: germination.germination_index([0, 0, 0]),
        lambda: germination.t50([1, 2], [1, 1], "median"),
        lambda: germination.t50([1, 2], [1, 1, 1]),
        lambda: germination.t50([2, 1], [1, 1]),
        lambda: germination.t50([1, 2], [0, 0]),
        lambda: germination.mean_time([1, 2], [float("nan"), 1]),
        lambda: germination.synchrony([1, 2], [1, 0]),
        lambda: germination.time_variance([1, 2], [1, 0]),
        lambda: germination.germination_capacity(201),
        lambda: germination.dormancy(101, 95),
        lambda: germination.water_sensitivity_band(130),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()
