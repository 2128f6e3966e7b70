"""Power cut: each stage has its card, with what is dangerous, how long it holds and what to record."""

from __future__ import annotations

import pytest

from app.judgement import cautions
from app.judgement.ahead.power_cut import PowerCut, power_cut
from app.judgement.ahead.power_cut_cards import BY_STAGE, CARDS, Card
from app.judgement.facts.kinds import KINDS
from app.judgement.history.stages import WORDS
from tests.judgement.story import Story, at


def cut(story: Story, hour: float) -> PowerCut:
    return power_cut(story.history(), at(hour))


def steeped(method: str | None = None) -> Story:
    story = Story("barley_pale")
    story.charge(20.0, 0.12, -1.0)
    story.say(0.0, "steep_on", **({"method": method} if method else {}))
    return story


def loaded(tray_kg: float | None = None) -> Story:
    story = steeped()
    story.say(40.0, "cast")
    story.say(160.0, "loaded")
    story.say(160.1, "moisture_test", {"value": 0.43}, method="oven_two_stage")
    story.say(160.2, "heat_on")
    if tray_kg is not None:
        story.say(160.15, "tray", {"vessel": "tray 1", "gross_kg": 2.0, "tare_kg": 0.0, "net_kg": 2.0})
        story.say(174.0, "tray", {"vessel": "tray 1", "gross_kg": tray_kg, "tare_kg": 0.0, "net_kg": tray_kg})
    return story


def test_every_stage_has_a_card() -> None:
    assert set(BY_STAGE) == set(WORDS)


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.key)
def test_a_card_says_what_to_do_how_long_it_holds_and_where_that_comes_from(card: Card) -> None:
    assert card.at_once
    assert card.holds
    assert card.source
    assert card.dangers
    assert all(kind in KINDS for kind, _ in card.record)


@pytest.mark.parametrize("card", [card for card in CARDS if card.key != "ended"], ids=lambda card: card.key)
def test_a_live_batch_is_offered_the_entry_of_the_interruption(card: Card) -> None:
    assert card.record[0][0] == "interruption"


def test_the_steep_warns_of_carbon_dioxide_and_holds_as_long_as_its_water_may_stand() -> None:
    found = cut(steeped(), 1.0)
    assert found.card.key == "steep"
    assert cautions.CO2 in found.card.dangers
    assert found.first is not None
    assert found.first.safe_at == at(8)


def test_a_steep_that_was_blown_holds_no_longer_than_still_water() -> None:
    found = cut(steeped("blown"), 1.0)
    assert found.was_blown
    assert found.first is not None
    assert found.first.safe_at == at(8)


def test_the_floor_shows_the_temperature_that_it_was_left_with() -> None:
    story = steeped()
    story.say(40.0, "cast")
    story.say(42.0, "grain_temperature", {"value": 16.5}, place="middle")
    found = cut(story, 42.5)
    assert found.card.key == "floor"
    assert found.last is not None
    assert found.last.value == 16.5
    assert found.first is not None
    assert found.first.key == "temperature"


def test_a_wet_kiln_sours_and_a_dry_one_scorches() -> None:
    wet, dry = cut(loaded(), 161.0), cut(loaded(1.2), 174.1)
    assert (wet.card.key, dry.card.key) == ("wet_kiln", "dry_kiln")
    assert dry.moisture is not None
    assert dry.moisture.upper < 0.12
    for found in (wet, dry):
        assert cautions.KILN in found.card.dangers
        assert found.card.at_once[0].startswith("Heat off first")


def test_a_kiln_of_unknown_moisture_is_taken_as_wet() -> None:
    story = Story("barley_pale")
    story.say(0.0, "loaded")
    story.say(0.1, "heat_on")
    assert cut(story, 1.0).card.key == "wet_kiln"


def test_a_roast_has_minutes_and_may_light_again() -> None:
    story = Story("roasted")
    story.say(0.0, "heat_on")
    found = cut(story, 0.5)
    assert found.card.key == "roast"
    assert cautions.ROAST in found.card.dangers
    assert found.card.holds == "Minutes."


def test_dry_grain_and_an_ended_batch_need_no_power() -> None:
    story = Story("barley_pale")
    assert cut(story, 0.0).card.key == "dry"
    story.charge(20.0, 0.12, 0.0)
    assert cut(story, 1.0).card.key == "dry"
    story.say(2.0, "abandoned")
    ended = cut(story, 3.0)
    assert ended.card.key == "ended"
    assert ended.entries == ()
