"""Grain in a deep bed is judged by its own layer: close to the air-on it is dry, however wet the bed is."""

from __future__ import annotations

import pytest

from app.judgement.meaning.meaning import meaning
from app.judgement.steps.next_steps import next_steps
from app.judgement.watch.exposure import kiln_exposures
from app.judgement.watch.kiln_card import kiln_card
from tests.judgement.flag_story import Story, moment


def withering(place: str, grain_c: float, off_c: float = 27.0, depth_m: float = 0.3) -> Story:
    """Four hours on air of 62 °C, which leaves the bed nearly full unless said otherwise."""
    story = Story().kiln()
    story.tell(160, "bed_depth", {"value": depth_m})
    for hour in (161.2, 162.0, 163.0, 164.0):
        story.read(hour, "air_on_temperature", 62.0)
        story.read(hour + 0.02, "air_off_temperature", off_c)
    for hour in (163.1, 164.1):
        story.grain(hour, grain_c, place or None)
    return story


def is_over(story: Story) -> bool:
    """As the flag, the card, the answer and the next step say it: all of them the same."""
    history, now = story.history(), moment(164.2)
    card, fact = kiln_card(history, now), history.readings("grain_temperature")[-1]
    assert card is not None
    assert card.hottest is not None
    said = [
        bool(story.flags(164.2, "over_ceiling")),
        card.hottest.is_over,
        "over its ceiling" in meaning(history, fact, now).text,
        any(step.what.startswith("Lower the air-on") for step in next_steps(history, now)),
        any(each.degree_hours > 0.0 for each in kiln_exposures(history, now)),
    ]
    assert len(set(said)) == 1, said
    return said[0]


@pytest.mark.parametrize("place", ["middle", "top, left"])
def test_a_layer_that_reads_close_to_the_air_on_is_dry_and_bears_its_heat(place: str) -> None:
    assert not is_over(withering(place, 61.0))


def test_a_layer_half_way_to_the_air_on_is_wet_and_is_over_its_ceiling() -> None:
    assert is_over(withering("middle", 52.0))


@pytest.mark.parametrize("place", ["bottom", "", "corner"])
def test_at_the_air_side_or_where_nobody_knows_heat_tells_nothing_of_the_moisture(place: str) -> None:
    assert is_over(withering(place, 61.0))


def test_on_a_tray_or_in_a_bed_whose_air_never_left_full_heat_tells_nothing_of_the_moisture() -> None:
    assert is_over(withering("middle", 61.0, depth_m=0.03))
    assert is_over(withering("middle", 61.0, off_c=50.0))


@pytest.mark.parametrize(("tray_kg", "is_told_by_heat"), [(7.5, False), (0.5, True)])
def test_where_trays_are_weighed_and_not_samples_the_scale_tells_how_wet_the_wettest_is(
    tray_kg: float, is_told_by_heat: bool
) -> None:
    # All the grain on four trays, or little sleeves of it in a bed: the scale says 9 % of both, their heat more.
    story = withering("top", 51.0)
    for number in range(4):
        story.tray(160.02, tray_kg, f"tray {number}")
        story.tray(163.0, tray_kg * 0.56 / 0.91, f"tray {number}")
    assert is_over(story) == is_told_by_heat
