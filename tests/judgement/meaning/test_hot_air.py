"""Air hotter than the grain bears is not said to be in range and no more: its own probe would say act at once."""

from __future__ import annotations

import pytest

from app.judgement.meaning.meaning import Meaning, meaning
from tests.judgement.story import Story, at


def answered(
    kind: str, value: float, *, programme: str = "caramel", trays: tuple[float, ...] = (0.10, 0.13)
) -> Meaning:
    """What a reading means on a kiln whose trays were just weighed at these moistures, loaded at 44 %."""
    story = Story(programme)
    story.charge(20.0, 0.12, -1.0)
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    story.say(150.0, "loaded")
    story.say(150.1, "heat_on")
    story.say(150.0, "moisture_test", {"value": 0.44}, method="oven_two_stage")
    for hour, moistures in ((150.05, (0.44,) * len(trays)), (156.0, trays)):
        for number, wb in enumerate(moistures):
            net_kg = 5.0 * (1.0 - 0.44) / (1.0 - wb)
            story.say(hour, "tray", {"vessel": f"tray {number}", "net_kg": net_kg, "tare_kg": 0.0, "gross_kg": net_kg})
    story.say(156.1, kind, {"value": value})
    history = story.history()
    return meaning(history, history.facts[-1], at(156.1))


def test_air_in_its_range_and_above_the_ceiling_of_the_grain_says_both_and_is_not_fine() -> None:
    air, grain = answered("air_on_temperature", 130.0), answered("grain_temperature", 130.0)
    assert grain.status == "act"
    assert "95.0 °C (203.0 °F)" in grain.detail
    assert air.text == "Air-on temperature 130.0 °C: in range, but above the grain’s ceiling of 95.0 °C (203.0 °F)"
    assert air.status == "none"
    assert air.detail == "Read the grain before it comes to that. Target 90.0–140.0 °C"


def test_air_out_of_its_range_says_the_ceiling_too_and_is_no_milder() -> None:
    air = answered("air_on_temperature", 90.0, programme="barley_dark", trays=(0.30,))
    assert air.status == "act"
    assert "far too high, and above the grain’s ceiling of 65.0 °C" in air.text


@pytest.mark.parametrize(("value", "programme"), [(90.0, "caramel"), (60.0, "barley_dark")])
def test_air_that_the_grain_bears_is_in_range_and_no_more(value: float, programme: str) -> None:
    air = answered("air_on_temperature", value, programme=programme)
    assert air.status == ("fine" if programme == "caramel" else "notice")
    assert "ceiling" not in air.text
