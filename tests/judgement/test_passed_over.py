"""Ordinary readings are passed over quickly, for every page looks at all; the answer is that of the long way."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.judgement.batch_at import batch_at
from app.judgement.flags import limits
from app.judgement.history.stages import all_stages, by_section, sections, stage_at
from app.judgement.programmes.programme import Limit, load_builtin
from app.judgement.slips.questions import looks_like_a_slip, slips
from tests.judgement.random_story import stories
from tests.judgement.story import Story, at

NUMBERS = ("6", "15,8", "21", "35", "48", "55", "62", "68", "74", "83", "95", "1,500")
READ = st.tuples(
    st.sampled_from([41.0, 44.0, 44.0, 47.0, 158.5, 159.0, 161.0, 161.0, 162.0, 163.0, 190.0]),
    st.sampled_from(["grain_temperature", "air_on_temperature"]),
    st.sampled_from(NUMBERS),
    st.sampled_from("cf"),
)


@st.composite
def read_stories(draw: st.DrawFn) -> Story:
    """A batch to its plan as far as the kiln, and whatever somebody typed as read there and on the floor."""
    story = Story(draw(st.sampled_from(["barley_pale", "caramel", "roasted"])))
    story.charge(25.0, 0.13)
    for hour, kind in ((1, "steep_on"), (6, "drained"), (30, "cast"), (158, "loaded"), (158.2, "heat_on")):
        story.say(hour, kind)
    story.say(158.1, "moisture_test", {"value": draw(st.sampled_from([0.08, 0.2, 0.43]))}, method="oven_malt")
    for hour, kind, number, unit in draw(st.lists(READ, min_size=2, max_size=10)):
        insisted = draw(st.sampled_from([{}, {}, {"insisted": "1"}]))
        story.say(hour, kind, typed={"value": number, "value_unit": unit} | insisted)
    return story


@settings(deadline=None, max_examples=300)
@given(stories() | read_stories())
def test_of_no_story_a_slip_is_passed_over(story: Story) -> None:
    history = story.history()
    assert slips(history) == tuple(fact for fact in history.facts if looks_like_a_slip(fact, history))


def test_of_several_readings_at_one_time_each_is_held_against_the_one_before_them_all() -> None:
    story = Story("barley_pale")
    story.charge(25.0, 0.13)
    for hour, kind in ((1, "steep_on"), (30, "cast"), (158, "loaded")):
        story.say(hour, kind)
    for hour, number, unit in ((161, "60", "c"), (162, "45", "c"), (162, "32", "c"), (162, "68", "f")):
        told = story.say(hour, "grain_temperature", typed={"value": number, "value_unit": unit})
    assert [fact.id for fact in slips(story.history())] == [told]


@settings(deadline=None, max_examples=100)
@given(stories(("barley_pale", "caramel", "roasted")) | read_stories(), st.sampled_from([30.0, 165.0, 400.0]))
def test_no_flag_is_passed_over(story: Story, hour: float) -> None:
    assert _flags(story, hour) == _flags(story, hour, is_long=True)


def _flags(story: Story, hour: float, *, is_long: bool = False) -> list[Any]:
    with pytest.MonkeyPatch.context() as patch:
        if is_long:
            patch.setattr(limits, "_surely_fine", lambda *_: (inf, -inf))
        return list(limits.out_of_limits(batch_at(story.history(), at(hour))))


@pytest.mark.parametrize(
    ("hour", "kind", "value"), [(40, "grain_temperature", 24.0), (158.5, "air_on_temperature", 83.0)]
)
def test_what_is_out_of_its_limits_is_found_by_both_ways(hour: float, kind: str, value: float) -> None:
    story = Story("barley_pale")
    story.charge(25.0, 0.13)
    for at_hour, name in ((1, "steep_on"), (30, "cast"), (158, "loaded")):
        story.say(at_hour, name)
    story.say(158.1, "moisture_test", {"value": 0.43}, method="oven_malt")
    story.say(hour, kind, {"value": value})
    assert len(_flags(story, 159.0)) == len(_flags(story, 159.0, is_long=True)) == 1


@settings(deadline=None)
@given(stories())
def test_a_section_has_the_stage_and_the_programme_of_each_moment_in_it(story: Story) -> None:
    story.say(12, "programme_change", {"programme": load_builtin()["caramel"].digest})
    history = story.history()
    told = sections(history, all_stages(history))
    parts = list(by_section(told, history.facts))
    assert [fact for _, facts in parts for fact in facts] == list(history.facts)
    for section, facts in parts:
        for fact in facts:
            assert section.stage == stage_at(all_stages(history), fact.at)
            assert section.programme == history.programme_at(fact.at)


@pytest.mark.parametrize("limit", [each for programme in load_builtin().values() for each in programme.limits.values()])
def test_a_value_is_fine_within_every_bound_and_no_further(limit: Limit) -> None:
    least, most = limit.fine
    bounds = [bound for _, *band in limit.bands() for bound in band if bound is not None]
    for bound in bounds:
        for value in (bound - 0.001, bound, bound + 0.001):
            assert limit.judge(value).is_fine == (least <= value <= most)
