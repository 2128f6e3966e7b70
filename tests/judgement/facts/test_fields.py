"""What is out of range is refused in the unit that was typed."""

from __future__ import annotations

import pytest

from app.judgement.facts.fields import Quantity

WATER = Quantity(word="Water", target="value", dimension="temperature", low=-5.0, high=100.0)
OFFSET = Quantity(word="Offset", target="amount", dimension="temperature", low=-10.0, high=10.0, is_difference=True)
SACK = Quantity(word="Sack", target="net_kg", dimension="mass", low=0.0, high=1000.0)
TARE = Quantity(word="Tare", target="tare_kg", dimension="mass", high=1000.0, unit_of="gross")


@pytest.mark.parametrize(
    ("spec", "typed", "said"),
    [
        # 100 °C is 212 °F, −5 °C is 23 °F; a difference of 10 °C is one of 18 °F. 1000 kg is 2204.62 lb.
        (WATER, {"value": "250", "value_unit": "f"}, "Water can't be above 212.0 °F."),
        (WATER, {"value": "10", "value_unit": "f"}, "Water can't be below 23.0 °F."),
        (WATER, {"value": "250", "value_unit": "c"}, "Water can't be above 100.0 °C."),
        (WATER, {"value": "250"}, "Water can't be above 100.0 °C."),
        (OFFSET, {"value": "20", "value_unit": "f"}, "Offset can't be above 18 °F."),
        (OFFSET, {"value": "-20", "value_unit": "f"}, "Offset can't be below -18 °F."),
        (OFFSET, {"value": "20", "value_unit": "c"}, "Offset can't be above 10 °C."),
        (SACK, {"value": "3000", "value_unit": "lb"}, "Sack can't be above 2205 lb."),
        (TARE, {"value": "3000", "gross_unit": "lb"}, "Tare can't be above 2205 lb."),
    ],
)
def test_a_refusal_speaks_in_the_unit_that_was_typed(spec: Quantity, typed: dict[str, str], said: str) -> None:
    with pytest.raises(ValueError, match=r"can't be") as caught:
        spec.read(typed, "value")
    assert str(caught.value) == said


def test_a_value_that_came_ready_is_refused_in_metric_units() -> None:
    with pytest.raises(ValueError, match=r"above 100\.0 °C"):
        WATER.check(101.0)
