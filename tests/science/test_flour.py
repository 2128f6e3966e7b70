"""Falling numbers: the published blend, doses, and the instrument's floor."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science import flour

measured = st.floats(70.0, 500.0)


def test_the_published_blend_is_279_and_not_310() -> None:
    # Often printed as 279 s: 400 and 220 s half and half.
    assert flour.blend_falling_number_s([400.0, 220.0], [0.5, 0.5]) == pytest.approx(278.8, abs=0.1)


def test_shares_may_be_given_in_any_unit() -> None:
    by_mass = flour.blend_falling_number_s([400.0, 220.0], [3.0, 1.0])
    assert by_mass == pytest.approx(flour.blend_falling_number_s([400.0, 220.0], [0.75, 0.25]))


@given(measured)
def test_liquefaction_there_and_back(falling_number: float) -> None:
    number = flour.liquefaction_number(falling_number)
    assert flour.falling_number_s(number) == pytest.approx(falling_number)


@given(measured, measured, st.floats(0.0, 1.0))
def test_a_blend_lies_between_its_flours_and_below_their_mean(first: float, second: float, share: float) -> None:
    blend = flour.blend_falling_number_s([first, second], [1 - share, share])
    assert min(first, second) - 1e-9 <= blend <= (1 - share) * first + share * second + 1e-9


@given(st.floats(300.0, 500.0), st.floats(63.0, 150.0), st.floats(0.0, 1.0))
def test_the_share_for_a_target_makes_the_target(flour_fn: float, malt_fn: float, share: float) -> None:
    target = flour.blend_falling_number_s([flour_fn, malt_fn], [1 - share, share])
    assert flour.share_for_target(flour_fn, malt_fn, target) == pytest.approx(share, abs=1e-9)


def test_malt_at_the_floor_is_dosed_by_way_of_a_trial_blend() -> None:
    malt = flour.malt_liquefaction_from_trial(400.0, 300.0, 0.002)
    assert malt == pytest.approx(6000 / 350 + (6000 / 250 - 6000 / 350) / 0.002)
    assert flour.share_for_liquefaction(400.0, malt, 300.0) == pytest.approx(0.002)
    assert flour.share_for_liquefaction(400.0, malt, 400.0) == 0.0
    assert 0.002 < flour.share_for_liquefaction(400.0, malt, 250.0) < 0.01


def test_the_us_limit_on_flour_is_three_quarters_of_a_percent() -> None:
    # 21 CFR 137.105.
    assert flour.HIGHEST_US_FLOUR_SHARE == 0.75 / 100


def test_arrays_are_served_too() -> None:
    assert flour.liquefaction_number(np.array([400.0, 220.0])) == pytest.approx(np.array([6000 / 350, 6000 / 170]))


@pytest.mark.parametrize(
    "call",
    [
        lambda: flour.liquefaction_number(62.0),
        lambda: flour.blend_falling_number_s([400.0, 60.0], [0.5, 0.5]),
        lambda: flour.blend_falling_number_s([400.0], [0.5, 0.5]),
        lambda: flour.blend_falling_number_s([400.0, 220.0], [0.0, 0.0]),
        lambda: flour.share_for_target(400.0, 62.0, 250.0),
        lambda: flour.share_for_target(400.0, 220.0, 450.0),
        lambda: flour.share_for_target(400.0, 220.0, 200.0),
        lambda: flour.share_for_target(400.0, 400.0, 400.0),
        lambda: flour.malt_liquefaction_from_trial(300.0, 310.0, 0.002),
        lambda: flour.malt_liquefaction_from_trial(400.0, 300.0, 0.0),
        lambda: flour.falling_number_s(0.0),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()
