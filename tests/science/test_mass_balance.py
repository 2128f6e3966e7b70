"""The mass account: published and derived cases, its inverse, and its uncertainty."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science import mass_balance

fractions = st.floats(0.0, 0.3)


def test_thousand_kernel_weights_give_the_loss_that_follows_from_them() -> None:
    # Inputs as published by the encyclopaedia (42 g at 15 %, 32 g at 2 %); derived: 1 - 31.36/35.70, not its 12.5 %.
    assert mass_balance.dry_loss(42.0, 0.15, 32.0, 0.02) == pytest.approx(0.12157, abs=5e-6)


def test_a_malting_is_followed_from_sack_to_sack() -> None:
    # Derived: 880 kg dry; 822.8/0.55; that less 822.8/0.955; 792/0.955.
    planned = mass_balance.balance(1000.0, 0.12, 0.01, 0.055, 0.035, 0.45, 0.045)
    assert planned.green_kg == pytest.approx(1496.0, abs=0.05)
    assert planned.evaporated_kg == pytest.approx(634.4, abs=0.05)
    assert planned.malt_kg == pytest.approx(829.3, abs=0.05)


@given(st.floats(1, 1e4), fractions, fractions, fractions, fractions, st.floats(0.35, 0.6), st.floats(0.01, 0.1))
def test_nothing_is_lost_from_the_account(
    mass: float, start: float, steep: float, burnt: float, rootlets: float, green: float, malt: float
) -> None:
    planned = mass_balance.balance(mass, start, steep, burnt, rootlets, green, malt)
    assert planned.green_kg == pytest.approx(planned.evaporated_kg + planned.rootlets_kg + planned.malt_kg)
    loss = mass_balance.dry_loss(mass, start, planned.malt_kg, malt)
    assert loss == pytest.approx(steep + burnt + rootlets, abs=1e-9)


def test_more_out_than_in_is_shown_as_a_negative_loss() -> None:
    assert mass_balance.dry_loss(100.0, 0.12, 101.0, 0.12) == pytest.approx(-0.01)


def test_the_loss_works_on_arrays() -> None:
    losses = mass_balance.dry_loss(np.array([100.0, 200.0]), 0.12, 90.0, 0.12)
    assert losses == pytest.approx(np.array([0.10, 0.55]))


def test_the_uncertainty_of_the_loss_agrees_with_a_monte_carlo() -> None:
    first = mass_balance.dry_matter_with_sd(100.0, 0.12, 0.2, 0.0025)
    last = mass_balance.dry_matter_with_sd(83.0, 0.045, 0.1, 0.002)
    loss, sd = mass_balance.dry_loss_with_sd(first, last)
    rng = np.random.default_rng(5)
    before = rng.normal(100.0, 0.2, 400_000) * (1 - rng.normal(0.12, 0.0025, 400_000))
    after = rng.normal(83.0, 0.1, 400_000) * (1 - rng.normal(0.045, 0.002, 400_000))
    drawn = 1 - after / before
    assert loss == pytest.approx(drawn.mean(), abs=5e-5)
    assert sd == pytest.approx(drawn.std(), rel=0.01)


def test_the_unexplained_remainder_is_what_is_left_with_its_spread() -> None:
    assert mass_balance.unexplained(88.0, 0.3, [(79.2, 0.4), (8.0, 0.0)]) == (pytest.approx(0.8), pytest.approx(0.5))
    assert mass_balance.unexplained(88.0, 0.0, [(90.0, 0.0)])[0] == pytest.approx(-2.0)


def test_wet_skimmings_are_compared_on_the_dry_basis() -> None:
    # Derived: 1.1 × 0.80 = 0.88 of 88 kg.
    assert mass_balance.skimmings_share(1.1, 0.20, 100.0, 0.12) == pytest.approx(0.01)


@pytest.mark.parametrize(
    "call",
    [
        lambda: mass_balance.dry_loss(0.0, 0.12, 1.0, 0.1),
        lambda: mass_balance.dry_loss(1.0, 12.0, 1.0, 0.1),
        lambda: mass_balance.dry_loss(1.0, 0.12, -1.0, 0.1),
        lambda: mass_balance.balance(1000.0, 0.12, 0.4, 0.4, 0.4, 0.45, 0.045),
        lambda: mass_balance.balance(1000.0, 0.12, -0.1, 0.05, 0.03, 0.45, 0.045),
        lambda: mass_balance.balance(1000.0, 0.12, 0.01, 0.05, 0.03, 45.0, 0.045),
        lambda: mass_balance.dry_matter_with_sd(1.0, 0.1, -0.1, 0.0),
        lambda: mass_balance.unexplained(0.0, 0.1, []),
        lambda: mass_balance.skimmings_share(200.0, 0.1, 100.0, 0.12),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()


def test_the_grain_that_malt_takes_makes_that_malt() -> None:
    made = mass_balance.balance(1000, 0.12, 0.01, 0.055, 0.035, 0.45, 0.045)
    assert mass_balance.grain_needed_kg(made.malt_kg, 0.045, 0.12, 0.10) == pytest.approx(1000)
    # By hand: 40 g of dry malt from 50 g of dry grain.
    assert mass_balance.grain_needed_kg(0.042, 2 / 42, 0.15, 0.2) == pytest.approx(0.05 / 0.85)
    with pytest.raises(ValueError, match="less than 1"):
        mass_balance.grain_needed_kg(10, 0.045, 0.12, 1.0)
