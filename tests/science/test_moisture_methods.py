"""Moisture by the oven and by the meter."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science import moisture_methods


def test_oven_moisture_is_the_weight_lost_over_the_wet_weight() -> None:
    assert moisture_methods.oven_moisture_wb(5.000, 4.775) == pytest.approx(0.225 / 5)


@given(st.floats(0.0, 0.9), st.floats(0.0, 0.9))
def test_two_stages_leave_what_the_two_stages_leave(first: float, second: float) -> None:
    dry = (1 - first) * (1 - second)
    assert moisture_methods.two_stage_moisture_wb(first, second) == pytest.approx(1 - dry, abs=1e-12)


def test_malt_is_not_sent_to_the_oven_of_raw_grain() -> None:
    assert moisture_methods.OVEN_METHODS["malt"].title != moisture_methods.OVEN_METHODS["raw_grain"].title


def test_a_meter_reading_within_its_range_is_kept() -> None:
    assert moisture_methods.meter_moisture_wb(0.135, 0.20, 18.0) == 0.135


def test_a_meter_reading_it_cannot_give_is_refused() -> None:
    with pytest.raises(ValueError, match="above the meter's range"):
        moisture_methods.meter_moisture_wb(0.24, 0.20)
    with pytest.raises(ValueError, match="too warm"):
        moisture_methods.meter_moisture_wb(0.05, 0.20, grain_temperature_c=60.0)
    with pytest.raises(ValueError, match="roasted"):
        moisture_methods.meter_moisture_wb(0.03, 0.20, is_roasted=True)
    with pytest.raises(ValueError, match="heavier after the oven"):
        moisture_methods.oven_moisture_wb(5.0, 5.1)
