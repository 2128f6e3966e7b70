"""Keeping: the published tables and the viability equation."""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science import storage_life
from app.science.units import to_si

TABLES = Path(storage_life.__file__).parent / "tables"


def test_life_is_used_up_in_proportion() -> None:
    # NDSU Extension 2019: 15 d at 17 % (life 30 d), then 13 % (270 d) leaves 135 d.
    used = storage_life.fraction_used([15], [30])
    assert used == 0.5
    assert storage_life.remaining_days(used, 270) == 135
    assert storage_life.fraction_used(15, 30) == 0.5
    assert storage_life.fraction_used([15, 27], [30, 270]) == pytest.approx(0.6)
    assert storage_life.remaining_days(1.4, 270) == 0


@pytest.mark.parametrize(("fahrenheit", "days"), [(80, 70), (70, 175), (60, 430)])
def test_malting_barley_keeps_as_published(fahrenheit: float, days: float) -> None:
    # NDSU Extension, 12 October 2009: 14 % barley by germination.
    assert storage_life.malting_life_days(14, to_si(fahrenheit, "f")) == pytest.approx(days)


def test_malting_barley_at_other_moistures_keeps_as_published() -> None:
    # NDSU Extension, 12 August 2019: 30 d at 17 % and 70 °F; 270 d at 13 %.
    assert storage_life.malting_life_days(17, to_si(70, "f")) == pytest.approx(30)
    assert storage_life.malting_life_days(13, to_si(70, "f")) == pytest.approx(270)


@pytest.mark.parametrize(
    ("moisture", "fahrenheit", "days"),
    [(16, 50, 230), (16, 60, 120), (16, 70, 70), (14, 80, 140), (20, 40, 90), (30, 80, 1), (22, 30, 190)],
)
def test_cereals_keep_as_in_the_table(moisture: float, fahrenheit: float, days: float) -> None:
    # Hellevang 2019, NDSU Extension; 16 % at 50, 60 and 70 °F also in the release of 12 October 2009.
    assert storage_life.storage_life_days(moisture, to_si(fahrenheit, "f")) == pytest.approx(days)


def test_over_300_days_is_given_as_300() -> None:
    assert storage_life.storage_life_days(14, to_si(40, "f")) == pytest.approx(300)
    assert storage_life.storage_life_days(11, to_si(60, "f")) == pytest.approx(300)


@given(st.floats(8, 30), st.floats(-10, 26), st.floats(0, 5), st.floats(0, 5))
def test_wetter_and_warmer_never_keeps_longer(moisture: float, warm: float, more: float, hotter: float) -> None:
    before = storage_life.storage_life_days(moisture, warm)
    after = storage_life.storage_life_days(min(moisture + more, 30), min(warm + hotter, 26.6))
    assert after <= before * (1 + 1e-9)
    malting = storage_life.malting_life_days(min(moisture, 17), warm)
    assert storage_life.malting_life_days(min(moisture + more, 17), min(warm + hotter, 26.6)) <= malting * (1 + 1e-9)


def test_rice_dies_as_the_package_computes() -> None:
    # viabilitymetrics package, FinalViability(initial = 98, period = 365, vcindex = 87, mc = 10, temp = 5).
    assert storage_life.viability_percent(98, 10, 5, 365, "rice") == pytest.approx(97.64797, abs=5e-6)


def test_the_days_to_a_limit_are_those_after_which_the_limit_is_left() -> None:
    days = storage_life.viability_life_days(98, 97.64797, 10, 5, "rice")
    assert days == pytest.approx(365, abs=0.01)  # the viabilitymetrics package, the other way round
    assert storage_life.viability_life_days(99, 99, 12, 20, "wheat") == 0


@pytest.mark.parametrize(
    ("moisture", "fahrenheit", "days"),
    [(17, 70, (30, 31)), (14, 80, (43, 70)), (14, 70, (89, 175)), (13, 70, (132, 270))],
)
def test_two_methods_agree_on_wet_barley_and_lie_twofold_apart_on_dry(
    moisture: float, fahrenheit: float, days: tuple[float, float]
) -> None:
    # NDSU Extension 2009 and 2019 at one end; at the other 10^(KE − CW log m − CH t − CQ t²) × 0.6815 probits by hand.
    bracket = storage_life.malting_bracket_days(moisture, to_si(fahrenheit, "f"))
    assert (round(bracket.low_days), round(bracket.high_days)) == days


def test_barley_drier_or_colder_than_the_equation_goes_is_bracketed_too() -> None:
    assert storage_life.malting_bracket_days(3, -30) == storage_life.malting_bracket_days(5, -20)


def test_the_viability_equation_is_the_published_one() -> None:
    # Ellis & Roberts 1980: one sigma takes a probit off, so 84.1345 % falls to 50 %.
    sigma = storage_life.sigma_days(12, 20, "barley")
    assert sigma == pytest.approx(10 ** (9.144 - 5.342 * np.log10(12) - 0.0329 * 20 - 0.000478 * 400))
    assert storage_life.viability_percent(84.13447, 12, 20, sigma, "barley") == pytest.approx(50, abs=1e-4)


@given(
    st.sampled_from(["barley", "wheat", "rye", "maize", "rice"]),
    st.floats(60, 99.9),
    st.floats(6, 20),
    st.floats(-5, 30),
    st.floats(1, 300),
)
def test_grain_dies_and_dies_faster_wet_and_warm(
    species: str, initial: float, moisture: float, warm: float, days: float
) -> None:
    left = storage_life.viability_percent(initial, moisture, warm, days, species)
    assert 0 <= left <= initial + 1e-9
    assert storage_life.viability_percent(initial, moisture + 1, warm, days, species) <= left + 1e-9
    assert storage_life.viability_percent(initial, moisture, warm + 5, days, species) <= left + 1e-9


def test_a_full_dish_has_a_percentage_with_a_probit() -> None:
    # Miller & Tainter 1944, from memory: 100(n - 0.25)/n.
    assert storage_life.percent_for_probit(50, 50) == pytest.approx(99.5)
    assert storage_life.percent_for_probit(0, 50) == pytest.approx(0.5)
    assert storage_life.percent_for_probit(49, 50) == pytest.approx(98)


def test_arrays_are_served_too() -> None:
    left = storage_life.viability_percent(np.array([90.0, 98.0]), 10, 5, 365, "rice")
    assert left[1] == pytest.approx(97.64797, abs=5e-6)
    later = storage_life.viability_percent(98.0, 10, 5, np.array([0.0, 365.0]), "rice")
    assert later == pytest.approx(np.array([98.0, 97.64797]), abs=5e-6)
    assert type(storage_life.viability_percent(98, 10, 5, 365, "rice")) is float


def test_dry_malt_keeps() -> None:
    assert storage_life.malt_keeps(0.06)
    assert not storage_life.malt_keeps(0.065)


@pytest.mark.parametrize("table", ["storage_life_cereals", "storage_life_malting_barley", "viability_constants"])
def test_every_table_names_its_source_in_its_first_line(table: str) -> None:
    first, *rest = (TABLES / f"{table}.csv").read_text(encoding="utf-8").splitlines()
    assert first.startswith("# ")
    assert first.endswith(("[P]", "[T]"))
    assert len({len(row) for row in csv.reader(rest)}) == 1


@pytest.mark.parametrize(
    "call",
    [
        lambda: storage_life.fraction_used([15], [0]),
        lambda: storage_life.fraction_used([-1], [30]),
        lambda: storage_life.fraction_used([15, 3], [30]),
        lambda: storage_life.remaining_days(-0.1, 270),
        lambda: storage_life.storage_life_days(31, 10),
        lambda: storage_life.storage_life_days(14, 40),
        lambda: storage_life.malting_life_days(18, 20),
        lambda: storage_life.malting_life_days(14, 40),
        lambda: storage_life.viability_percent(100, 10, 5, 365, "barley"),
        lambda: storage_life.viability_percent(98, 0.10, 5, 365, "barley"),
        lambda: storage_life.viability_percent(98, 10, 95, 365, "barley"),
        lambda: storage_life.viability_percent(98, 10, 5, -1, "barley"),
        lambda: storage_life.viability_percent(98, 10, 5, 365, "oats"),
        lambda: storage_life.viability_life_days(95, 99, 12, 20, "barley"),
        lambda: storage_life.malting_bracket_days(18, 20),
        lambda: storage_life.percent_for_probit(51, 50),
        lambda: storage_life.malt_keeps(5.0),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()
