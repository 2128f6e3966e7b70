"""A roast: ended by its colour, each in a band of its own by temperature and by colour."""

from datetime import timedelta
from itertools import pairwise

import pytest

from app.judgement.flags import evaluate
from app.judgement.history.history import History
from app.judgement.meaning.meaning import Meaning, meaning
from app.judgement.programmes.programme import load_builtin
from app.judgement.steps.next_steps import next_steps
from tests.judgement.story import Story

BUILTIN = load_builtin()
BANDS = ("amber", "brown", "chocolate", "black")


def roast(key: str, *told: tuple[float, str, dict[str, object]]) -> Story:
    story = Story(key)
    story.say(0.0, "heat_on")
    for hour, kind, values in told:
        story.say(hour, kind, values)
    return story


def said_of(story: Story) -> Meaning:
    history = story.history()
    return meaning(history, history.facts[-1], history.facts[-1].at)


def first_step(history: History, after: timedelta = timedelta(0)):
    return next_steps(history, history.facts[-1].at + after)[0]


def test_the_bands_follow_one_upon_the_other_by_temperature_and_by_colour() -> None:
    hottest = [BUILTIN[key].limits["grain_temperature.roasting"].target_high for key in BANDS]
    colours = [BUILTIN[key].limits["roast_colour.roasting"] for key in BANDS]
    assert hottest == sorted(hottest)
    for lighter, darker in pairwise(colours):
        assert lighter.target_high < darker.target_low or (lighter, darker) == (colours[2], colours[3])
        assert lighter.target_low < darker.target_low


@pytest.mark.parametrize("key", BANDS)
def test_a_plan_ends_within_its_band(key: str) -> None:
    programme = BUILTIN[key]
    end = [step for step in programme.steps if step.stage == "kilning"][-1]
    assert programme.limits["grain_temperature.roasting"].judge(end.grain_c).is_fine
    assert [step.stage for step in programme.steps][-1] == "cooling"
    assert not {"immersion", "air_rest", "germination"} & {step.stage for step in programme.steps}


def test_a_kernel_as_dark_as_wanted_is_the_end_of_the_roast() -> None:
    story = roast("amber", (0.6, "roast_colour", {"what": "there", "amount": 55.0}))
    said = said_of(story)
    assert said.status == "notice"
    assert "pull it now" in said.text
    assert said.detail == "Target 40.0–75.0 EBC"
    assert first_step(story.history()).kind == "heat_off"


def test_one_that_is_darker_is_a_caution() -> None:
    assert said_of(roast("amber", (1.0, "roast_colour", {"what": "darker"}))).status == "caution"


def test_while_it_is_lighter_one_roasts_on_and_looks_again() -> None:
    story = roast("amber", (0.2, "roast_colour", {"what": "lighter"}))
    assert said_of(story).status == "none"
    steps = next_steps(story.history(), story.history().facts[-1].at)
    assert {"roast_colour", "grain_temperature", "heat_off"} <= {step.kind for step in steps}
    assert steps[0].kind != "heat_off"


def test_a_number_past_the_band_stands_against_an_eye_that_calls_it_light() -> None:
    said = said_of(roast("amber", (0.6, "roast_colour", {"what": "lighter", "amount": 110.0})))
    assert said.status == "notice"
    assert "past its band" in said.text


def test_past_its_band_an_amber_is_too_dark_and_no_fire() -> None:
    story = roast("amber", (0.9, "grain_temperature", {"value": 172.0}))
    (flag,) = [flag for flag in evaluate(story.history(), story.history().facts[-1].at) if flag.rule == "out_of_limits"]
    assert flag.severity == "caution"
    assert "darkens" in flag.meaning
    assert "fire" not in flag.meaning
    assert flag.remedy.startswith("Pull it now")


def test_near_the_top_of_a_black_roast_it_may_light() -> None:
    story = roast("black", (2.0, "grain_temperature", {"value": 236.0}))
    (flag,) = [flag for flag in evaluate(story.history(), story.history().facts[-1].at) if flag.rule == "out_of_limits"]
    assert "catching fire" in flag.meaning
    assert "spray" in flag.remedy


def test_raw_barley_is_roasted_from_its_lot_and_is_judged_as_a_roast() -> None:
    programme = BUILTIN["roasted_barley"]
    assert programme.is_roast
    assert programme.kiln_phase(0.1) == "roasting"
    story = Story("roasted_barley")
    story.charge(5.0, 0.12)
    at = story.history().facts[-1].at
    assert [step.kind for step in next_steps(story.history(), at)][:1] == ["heat_on"]


def test_grain_that_is_only_roasted_need_not_be_alive() -> None:
    untested = {}
    for key in ("barley_pale", "roasted_barley"):
        story = Story(key)
        story.charge(5.0, 0.12)
        history = story.history()
        untested[key] = {flag.rule for flag in evaluate(history, history.facts[-1].at) if flag.rule.startswith("lot_")}
    assert untested["roasted_barley"] == untested["barley_pale"] - {"lot_untested"}
    assert "lot_untested" in untested["barley_pale"]


def hot(*told: tuple[float, str, dict[str, object]]) -> bool:
    """Whether a chocolate roast that was read at 238 °C and let out is still over its limit."""
    story = roast("chocolate", (1.0, "grain_temperature", {"value": 238.0}), (1.1, "heat_off", {}), *told)
    at = story.history().facts[-1].at
    (flag,) = [each for each in evaluate(story.history(), at) if each.rule == "out_of_limits"]
    assert flag.severity == "act"
    return not flag.has_ended


def test_heat_that_is_off_puts_out_no_fire_and_grain_read_cooler_does() -> None:
    assert hot()
    assert hot((1.2, "grain_temperature", {"value": 231.0}))
    assert not hot((1.2, "grain_temperature", {"value": 180.0}))
    assert not hot((1.2, "grain_temperature", {"value": 231.0}), (1.5, "grain_temperature", {"value": 40.0}))


@pytest.mark.parametrize("key", ["black", "roasted_barley"])
@pytest.mark.parametrize(("value", "severity"), [(230.0, None), (232.5, "caution"), (235.5, "act")])
def test_the_fire_remedy_comes_from_just_above_the_heat_at_which_grain_is_close_to_lighting(
    key: str, value: float, severity: str | None
) -> None:
    story = roast(key, (2.0, "grain_temperature", {"value": value}))
    flags = [each for each in evaluate(story.history(), story.history().facts[-1].at) if each.rule == "out_of_limits"]
    assert [(each.severity, "it can light" in each.remedy) for each in flags] == (
        [(severity, True)] if severity else []
    )
