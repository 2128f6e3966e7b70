"""A tray on a kiln without heat is not said to be drying, nor when it will be dry."""

from __future__ import annotations

import pytest

from app.judgement.meaning.meaning import meaning
from tests.judgement.story import Story, at


@pytest.mark.parametrize(("after", "is_drying"), [([], False), (["heat_on"], True), (["heat_on", "paused"], False)])
def test_what_has_no_heat_is_not_said_to_dry(after: list[str], is_drying: bool) -> None:
    story = Story("barley_pale")
    story.charge(20.0, 0.12, -1.0)
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    story.say(150.0, "loaded")
    for place, kind in enumerate(after):
        story.say(150.2 + place, kind)
    story.say(153.0, "moisture_test", {"value": 0.30}, method="oven_two_stage")
    history = story.history()
    said = meaning(history, history.facts[-1], at(153.1))
    assert ("Still drying" in said.detail) is is_drying
    assert ("Without heat it does not dry" in said.detail) is not is_drying
