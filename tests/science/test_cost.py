"""What malt costs: sums by hand."""

import pytest

from app.science import cost


def test_what_was_spent_is_spread_over_the_malt() -> None:
    # By hand: (12 + 6 + 30 + 2) / 20.
    assert cost.cost_per_kg({"grain": 12, "heat": 6, "work": 30, "sacks": 2}, 20) == pytest.approx(2.5)


@pytest.mark.parametrize(("malt", "pack", "packs"), [(20, 5, 4), (20.1, 5, 5), (0.3, 0.1, 3), (0, 5, 0)])
def test_the_last_pack_may_be_half_empty(malt: float, pack: float, packs: int) -> None:
    assert cost.packs_for(malt, pack) == packs


def test_money_is_not_earned_by_spending() -> None:
    with pytest.raises(ValueError, match="spent on heat must be at least 0"):
        cost.cost_per_kg({"heat": -1}, 20)
    with pytest.raises(ValueError, match="The malt must be more than 0"):
        cost.cost_per_kg({"heat": 1}, 0)
