"""Moisture from weight: the identities, their inverses, and the uncertainty against a Monte Carlo."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science import moisture

masses = st.floats(0.01, 1e4)
moistures = st.floats(0.0, 0.7)


def test_moisture_from_weight_gives_the_worked_example() -> None:
    # Derived: 100 kg at 12 % holds 88 kg of dry matter; 1 - 88/160 = 0.45; 1 - 0.99*88/160 = 0.4555.
    assert moisture.moisture_wb_from_mass(160.0, 100.0, 0.12) == pytest.approx(1 - 88 / 160, abs=1e-12)
    assert moisture.moisture_wb_from_mass(160.0, 100.0, 0.12, 0.01) == pytest.approx(0.45550, abs=5e-6)


@pytest.mark.parametrize(("target", "weight"), [(0.43, 154.386), (0.45, 160.000), (0.46, 162.963)])
def test_target_weight_gives_the_worked_example(target: float, weight: float) -> None:
    # Derived: 88 / (1 - target).
    assert moisture.mass_at_moisture_kg(100.0, 0.12, target) == pytest.approx(weight, abs=5e-4)


def test_spray_water_and_kiln_fraction_give_the_worked_examples() -> None:
    # Derived: 160 * 0.01 / 0.55; 0.56 / 0.955.
    assert moisture.water_to_reach_kg(160.0, 0.44, 0.45) == pytest.approx(2.909, abs=5e-4)
    assert moisture.kiln_weight_fraction(0.44, 0.045) == pytest.approx(0.5864, abs=5e-5)


def test_molina_cano_steep_weights_give_back_the_published_gains() -> None:
    # Molina-Cano et al. 1995, J. Inst. Brew. 101:79-83: weight gain in % of a 50 g sample after 5 and 35 h.
    for gain in (16.579, 43.511, 24.577, 50.626):
        wb = moisture.moisture_wb_from_mass(0.050 * (1 + gain / 100), 0.050, 0.12)
        assert 100 * (moisture.mass_at_moisture_kg(0.050, 0.12, wb) / 0.050 - 1) == pytest.approx(gain, abs=1e-9)


@given(masses, moistures, moistures)
def test_weight_there_and_back_gives_the_same_moisture(start: float, first: float, target: float) -> None:
    weight = moisture.mass_at_moisture_kg(start, first, target)
    assert moisture.moisture_wb_from_mass(weight, start, first) == pytest.approx(target, abs=1e-9)


@given(masses, moistures, moistures)
def test_spray_water_lifts_the_grain_to_the_target(mass: float, now: float, target: float) -> None:
    water = moisture.water_to_reach_kg(mass, now, target)
    assert moisture.moisture_wb_from_mass(mass + water, mass, now) == pytest.approx(target, abs=1e-9)


@given(st.floats(100.0, 400.0), st.floats(0.1, 50.0), st.floats(0.0, 0.2))
def test_a_heavier_charge_is_a_wetter_one(mass: float, more: float, loss: float) -> None:
    light = moisture.moisture_wb_from_mass(mass, 100.0, 0.12, loss)
    assert 0 <= light < moisture.moisture_wb_from_mass(mass + more, 100.0, 0.12, loss) < 1


def test_the_start_weight_follows_what_was_skimmed_off() -> None:
    # Derived: 3 % of 100 kg at 12 % skimmed before a true 45.0 %; without the account it reads 43.3 %.
    left = moisture.initial_mass_after_removal_kg(100.0, 0.12, 0.03 * 88)
    assert left == pytest.approx(97.0)
    weight = moisture.mass_at_moisture_kg(left, 0.12, 0.45)
    assert moisture.moisture_wb_from_mass(weight, left, 0.12) == pytest.approx(0.45)
    assert moisture.moisture_wb_from_mass(weight, 100.0, 0.12) == pytest.approx(0.433, abs=5e-4)


def test_one_percent_of_film_reads_about_half_a_point_high() -> None:
    excess = moisture.film_excess_points(0.45, 0.01)
    assert excess == pytest.approx(0.55, abs=0.006)
    assert moisture.moisture_wb_from_mass(161.6, 100.0, 0.12) - 0.45 == pytest.approx(excess / 100, abs=1e-12)


@pytest.mark.parametrize("method", ["drained", "blotted", "spun"])
def test_the_spread_agrees_with_a_monte_carlo_of_the_same_inputs(method: str) -> None:
    film = moisture.film_correction(method)
    central, sd = moisture.moisture_wb_with_sd(
        160.0,
        100.0,
        0.12,
        0.01,
        mass_sd_kg=0.4,
        initial_mass_sd_kg=0.3,
        initial_moisture_sd=0.0025,
        dry_loss_sd=0.003,
        film_points=film.points,
        film_sd_points=film.sd_points,
    )
    draw = np.random.default_rng(20240817).normal(size=(5, 400_000))
    weight = (160.0 + 0.4 * draw[0]) * 1.0
    dry = (100.0 + 0.3 * draw[1]) * (1 - (0.12 + 0.0025 * draw[2])) * (1 - (0.01 + 0.003 * draw[3]))
    drawn = 1 - dry / weight - (film.points + film.sd_points * draw[4]) / 100
    assert central == pytest.approx(drawn.mean(), abs=3e-5)
    assert sd == pytest.approx(drawn.std(), rel=0.01)


def test_an_unblotted_weighing_is_lowered_and_widened() -> None:
    spread = {"mass_sd_kg": 0.05, "initial_mass_sd_kg": 0.05, "initial_moisture_sd": 0.0025, "dry_loss_sd": 0.0}
    blotted = moisture.moisture_wb_with_sd(160.0, 100.0, 0.12, **spread, film_sd_points=0.15)
    drained = moisture.moisture_wb_with_sd(160.0, 100.0, 0.12, **spread, film_points=1.5, film_sd_points=0.5)
    assert blotted[0] - drained[0] == pytest.approx(0.015)
    assert drained[1] > 1.5 * blotted[1]


def test_exact_inputs_have_no_spread() -> None:
    sds = {"mass_sd_kg": 0.0, "initial_mass_sd_kg": 0.0, "initial_moisture_sd": 0.0, "dry_loss_sd": 0.0}
    assert moisture.moisture_wb_with_sd(160.0, 100.0, 0.12, **sds) == (pytest.approx(0.45), 0.0)


def test_a_scale_step_becomes_a_standard_uncertainty() -> None:
    steps = np.random.default_rng(3).uniform(-0.5, 0.5, 200_000)
    assert moisture.resolution_sd(1.0) == pytest.approx(steps.std(), rel=0.01)


def test_a_tray_stops_at_the_gross_weight_that_reads_the_target() -> None:
    # Derived: 0.5 + 1.0 * 0.56 / 0.955.
    gross = moisture.gross_to_stop_at_kg(0.5, 1.0, 0.44, 0.045)
    assert gross == pytest.approx(1.0864, abs=5e-5)
    assert moisture.tray_moisture_wb(gross, 0.5, 1.0, 0.44) == pytest.approx(0.045, abs=1e-12)


def test_lots_are_blended_by_mass() -> None:
    assert moisture.blended_moisture_wb([60.0, 40.0], [0.12, 0.14]) == pytest.approx((7.2 + 5.6) / 100)


@given(moistures)
def test_bases_there_and_back_give_the_same_moisture(wet_basis: float) -> None:
    assert moisture.wb_from_db(moisture.db_from_wb(wet_basis)) == pytest.approx(wet_basis, abs=1e-12)


def test_arrays_and_floats_are_served_alike() -> None:
    weights = np.array([154.386, 160.0, 162.963])
    read = moisture.moisture_wb_from_mass(weights, 100.0, 0.12)
    assert read == pytest.approx(np.array([0.43, 0.45, 0.46]), abs=1e-5)
    assert type(moisture.moisture_wb_from_mass(160, 100, 0.12)) is float


@pytest.mark.parametrize(
    "call",
    [
        lambda: moisture.moisture_wb_from_mass(0.0, 100.0, 0.12),
        lambda: moisture.moisture_wb_from_mass(80.0, 100.0, 0.12),
        lambda: moisture.moisture_wb_from_mass(160.0, 100.0, 1.0),
        lambda: moisture.moisture_wb_from_mass(160.0, 100.0, 12.0),
        lambda: moisture.moisture_wb_from_mass(160.0, 100.0, 0.12, 1.0),
        lambda: moisture.moisture_wb_from_mass(160.0, -100.0, 0.12),
        lambda: moisture.moisture_wb_from_mass(float("nan"), 100.0, 0.12),
        lambda: moisture.mass_at_moisture_kg(100.0, 0.12, 45.0),
        lambda: moisture.mass_at_moisture_kg(100.0, -0.1, 0.45),
        lambda: moisture.kiln_weight_fraction(0.44, 1.0),
        lambda: moisture.initial_mass_after_removal_kg(100.0, 0.12, 100.0),
        lambda: moisture.blended_moisture_wb([1.0], [0.1, 0.2]),
        lambda: moisture.blended_moisture_wb([0.0], [0.1]),
        lambda: moisture.film_correction("shaken"),
        lambda: moisture.resolution_sd(-1.0),
        lambda: moisture.wb_from_db(-0.1),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"[.?]$"):
        call()


def test_a_negative_spread_is_refused() -> None:
    with pytest.raises(ValueError, match="standard uncertainty"):
        moisture.moisture_wb_with_sd(
            160.0, 100.0, 0.12, mass_sd_kg=-1.0, initial_mass_sd_kg=0, initial_moisture_sd=0, dry_loss_sd=0
        )
