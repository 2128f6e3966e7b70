"""Malt analyses: published conversions, derived extracts, and inverses as round trips."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science import malt_analysis


def test_diastatic_power_is_converted_as_published() -> None:
    # °WK = 3.5·°L - 16: 250 °WK = 76.0 °L.
    assert malt_analysis.lintner_from_windisch_kolbach(250.0) == pytest.approx(76.0)
    assert malt_analysis.windisch_kolbach_from_lintner(76.0) == pytest.approx(250.0)
    assert malt_analysis.windisch_kolbach_from_lintner(3.0) == 0.0


@given(st.floats(5.0, 400.0))
def test_diastatic_power_there_and_back(lintner: float) -> None:
    there = malt_analysis.windisch_kolbach_from_lintner(lintner)
    assert malt_analysis.lintner_from_windisch_kolbach(there) == pytest.approx(lintner)


def test_ten_lovibond_is_twenty_five_ebc() -> None:
    # EBC = 1.97·SRM; SRM = 1.3546·°L - 0.76 from memory.
    assert malt_analysis.ebc_from_lovibond(10.0) == pytest.approx(25.2, abs=0.05)
    assert malt_analysis.ebc_from_lovibond(0.1) == 0.0


@given(st.floats(0.57, 600.0))
def test_colour_there_and_back(lovibond: float) -> None:
    assert malt_analysis.lovibond_from_ebc(malt_analysis.ebc_from_lovibond(lovibond)) == pytest.approx(lovibond)


def test_extract_gives_the_worked_examples() -> None:
    # Derived from EBC 4.5.1 / ASBC Malt-4, and from the same balance for another ratio.
    assert malt_analysis.extract_as_is_percent(8.60, 4.5) == pytest.approx(75.70, abs=5e-3)
    assert malt_analysis.extract_dry_percent(8.60, 4.5) == pytest.approx(79.26, abs=5e-3)
    assert malt_analysis.extract_as_is_percent(14.0, 5.0, 50.0, 250.0) == pytest.approx(82.2, abs=0.05)
    assert malt_analysis.extract_dry_percent(14.0, 5.0, 50.0, 250.0) == pytest.approx(86.5, abs=0.05)


@given(st.floats(50.0, 85.0), st.floats(0.0, 8.0), st.floats(20.0, 80.0), st.floats(150.0, 500.0))
def test_a_wort_made_from_an_extract_gives_that_extract_back(
    extract: float, moisture: float, malt: float, water: float
) -> None:
    dissolved = malt * extract / 100
    plato = 100 * dissolved / (dissolved + water + malt * moisture / 100)
    assert malt_analysis.extract_as_is_percent(plato, moisture, malt, water) == pytest.approx(extract)


def test_plato_from_gravity_gives_the_known_values() -> None:
    # ASBC polynomial, from memory; the Plato tables give 9.99 and 19.33.
    assert malt_analysis.plato_from_sg(1.040) == pytest.approx(9.994, abs=5e-4)
    assert malt_analysis.plato_from_sg(1.080) == pytest.approx(19.331, abs=5e-4)
    assert malt_analysis.plato_from_sg(1.0) == pytest.approx(0.0, abs=0.01)


@given(st.floats(1.0, 1.178))
def test_gravity_there_and_back(gravity: float) -> None:
    assert malt_analysis.sg_from_plato(malt_analysis.plato_from_sg(gravity)) == pytest.approx(gravity, abs=1e-10)


@given(st.floats(0.0, 30.0))
def test_gravity_agrees_with_the_other_common_formula(plato: float) -> None:
    # SG = 1 + P / (258.6 - 227.1·P/258.2), from memory: an independent fit to the same tables.
    assert malt_analysis.sg_from_plato(plato) == pytest.approx(1 + plato / (258.6 - 227.1 * plato / 258.2), abs=4e-4)


def test_the_largest_unmalted_share_leaves_the_grist_just_enough() -> None:
    share = malt_analysis.largest_unmalted_share(140.0, 35.0)
    assert malt_analysis.blended([140.0, 0.0], [1 - share, share]) == pytest.approx(35.0)
    assert malt_analysis.largest_unmalted_share(20.0, 35.0) == 0.0
    assert 0 < malt_analysis.largest_unmalted_share(140.0) < 1


@given(st.lists(st.tuples(st.floats(0, 300), st.floats(0.01, 50)), min_size=1, max_size=6))
def test_a_blend_lies_between_its_parts(parts: list[tuple[float, float]]) -> None:
    values, masses = [value for value, _ in parts], [mass for _, mass in parts]
    assert min(values) - 1e-9 <= malt_analysis.blended(values, masses) <= max(values) + 1e-9


def test_small_measures() -> None:
    assert malt_analysis.kolbach_index(0.70, 1.75) == pytest.approx(40.0)
    assert malt_analysis.protein_percent(1.76) == pytest.approx(11.0)
    assert malt_analysis.protein_percent(2.0, malt_analysis.PROTEIN_FACTORS["wheat"]) == pytest.approx(11.4)
    assert malt_analysis.plato_from_refractometer(10.4) == pytest.approx(10.0)
    assert malt_analysis.conversion_against_reference(10.0, 20.0) == 2.0


def test_arrays_and_floats_are_served_alike() -> None:
    assert malt_analysis.windisch_kolbach_from_lintner(np.array([0.0, 76.0])) == pytest.approx(np.array([0.0, 250.0]))
    assert malt_analysis.sg_from_plato(np.array([9.994, 19.331])) == pytest.approx(np.array([1.04, 1.08]), abs=1e-5)
    assert type(malt_analysis.sg_from_plato(10)) is float


@pytest.mark.parametrize(
    "call",
    [
        lambda: malt_analysis.windisch_kolbach_from_lintner(-1.0),
        lambda: malt_analysis.ebc_from_lovibond(-1.0),
        lambda: malt_analysis.extract_as_is_percent(100.0, 4.5),
        lambda: malt_analysis.extract_as_is_percent(14.0, 4.5),
        lambda: malt_analysis.extract_as_is_percent(8.6, 4.5, 0.0, 400.0),
        lambda: malt_analysis.plato_from_sg(0.9),
        lambda: malt_analysis.plato_from_sg(1.4),
        lambda: malt_analysis.sg_from_plato(60.0),
        lambda: malt_analysis.largest_unmalted_share(0.0),
        lambda: malt_analysis.blended([1.0], [0.0]),
        lambda: malt_analysis.blended([1.0, 2.0], [1.0]),
        lambda: malt_analysis.kolbach_index(2.0, 1.75),
        lambda: malt_analysis.protein_percent(20.0),
        lambda: malt_analysis.plato_from_refractometer(10.0, 2.0),
        lambda: malt_analysis.conversion_against_reference(0.0, 20.0),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()
