"""Curing: hours at one heat against hours at another, by two sources that know nothing of each other."""

import math

import pytest

from app.science import curing


def test_two_curings_give_their_activation_energy() -> None:
    # By hand: 8.314463 × ln(5.5 / 3) / (1 / 357.15 − 1 / 363.15).
    assert curing.activation_j_per_mol(5.5, 84, 3, 90) == pytest.approx(8.314463 * 0.6061358 / 4.62611e-5, rel=1e-4)
    assert pytest.approx(108.9e3, abs=100) == curing.BY_CURING_J_PER_MOL


def test_hours_carried_by_that_energy_are_those_of_the_product_sheet_and_of_boiling_wort() -> None:
    # A product sheet, at second hand: 5.5 h at 84 °C do what 3 h at 90 °C do. Wort: twice as fast for 6 °C
    # below boiling, which is 2^(4.62611 / 4.37964) times for 6 °C there.
    assert curing.equivalent_hours(5.5, 84, 90) == pytest.approx((5.5 / 2.0796, 3.0), abs=0.01)
    assert curing.equivalent_hours(3, 90, 84) == pytest.approx((5.5, 3 * 2.0796), abs=0.01)
    assert curing.equivalent_hours(1, 100, 94)[1] == pytest.approx(2.0)


def test_the_rate_of_boiling_carried_to_the_kiln_is_of_the_order_of_what_curing_needs() -> None:
    # Wilson & Booer 1979, abstract: half-life in boiling wort about 35 min. At 84 °C that is 3 to 4.5 h.
    low, high = curing.equivalent_hours(35 / 60, 100, 84)
    assert 2.5 < low < high < 4.5


def test_the_same_heat_takes_the_same_hours_and_more_heat_fewer() -> None:
    assert curing.equivalent_hours(4, 85, 85) == (4, 4)
    assert all(each < 4 for each in curing.equivalent_hours(4, 85, 86))
    there = curing.equivalent_hours(4, 80, 92)
    assert math.isclose(curing.equivalent_hours(there[1], 92, 80)[0], 4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: curing.activation_j_per_mol(5, 84, 3, 84),
        lambda: curing.activation_j_per_mol(0, 84, 3, 90),
        lambda: curing.equivalent_hours(-1, 84, 90),
        lambda: curing.equivalent_hours(5, 70, 90),
        lambda: curing.equivalent_hours(5, 84, 120),
    ],
)
def test_what_cannot_be_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()
