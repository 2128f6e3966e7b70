"""The stages of a batch, from the facts that start them."""

from datetime import timedelta
from itertools import pairwise

import pytest

from app.judgement.history.stages import is_live, stage_at, stages
from tests.judgement.story import Story, at

END = at(1000)


def told(*changes):
    story = Story()
    story.charge(100.0, 0.12, hour=-1.0)
    for hour, kind in changes:
        story.say(hour, kind)
    return story


def names(story, now=END):
    return [stage.name for stage in stages(story.history(), now)]


def whole():
    return told(
        (0, "steep_on"),
        (6, "drained"),
        (20, "steep_on"),
        (26, "cast"),
        (140, "loaded"),
        (141, "heat_on"),
        (158, "heat_off"),
        (160, "stripped"),
        (170, "finished"),
    )


def test_a_whole_batch_passes_its_stages():
    assert names(whole()) == [
        "charged",
        "immersion",
        "air_rest",
        "immersion",
        "germination",
        "kilning",
        "cooling",
        "finished",
    ]


def test_a_stage_runs_from_the_fact_that_starts_it_to_that_of_the_next():
    found = stages(whole().history(), END)
    assert [(stage.starts_at, stage.ends_at) for stage in found[1:3]] == [(at(0), at(6)), (at(6), at(20))]
    assert all(before.ends_at == after.starts_at for before, after in pairwise(found))


def test_loading_and_firing_are_one_stage_and_so_are_heat_off_and_stripping():
    found = stages(whole().history(), END)
    kilning, cooling = (next(stage for stage in found if stage.name == name) for name in ("kilning", "cooling"))
    assert (kilning.starts_at, kilning.ends_at) == (at(140), at(158))
    assert (cooling.starts_at, cooling.ends_at) == (at(158), at(170))


def test_the_same_stage_later_again_is_counted():
    steeps = [stage for stage in stages(whole().history(), END) if stage.name == "immersion"]
    assert [stage.ordinal for stage in steeps] == [1, 2]


def test_the_same_stage_twice_in_a_row_is_one():
    assert names(told((0, "steep_on"), (2, "steep_on"), (6, "drained"))) == ["charged", "immersion", "air_rest"]


def test_a_second_lot_charged_into_the_steep_changes_no_stage():
    story = told((0, "steep_on"))
    story.charge(10.0, 0.12, hour=1.0, lot="lot-2")
    assert names(story) == ["charged", "immersion"]


def test_a_water_change_and_a_pause_are_no_stages():
    story = told((0, "steep_on"), (5, "paused"), (6, "resumed"))
    story.say(2.0, "water_changed")
    assert names(story) == ["charged", "immersion"]


def test_a_steep_after_the_cast_and_grain_back_from_the_kiln_are_allowed():
    story = told((0, "steep_on"), (40, "cast"), (50, "steep_on"), (52, "cast"), (140, "loaded"), (142, "cast"))
    assert names(story)[2:] == ["germination", "immersion", "germination", "kilning", "germination"]


def test_what_is_later_than_now_has_no_say_yet():
    assert names(whole(), at(10)) == ["charged", "immersion", "air_rest"]
    assert stages(whole().history(), at(10))[-1].ends_at is None


def test_a_withdrawn_drain_leaves_the_grain_under_water():
    story = told((0, "steep_on"), (6, "drained"))
    story.withdraw(7.0, "fact-002")
    assert names(story) == ["charged", "immersion"]


def test_a_corrected_time_moves_the_stage():
    story = told((0, "steep_on"), (6, "drained"))
    story.say(5.0, "drained", supersedes_id="fact-002")
    assert stages(story.history(), END)[1].ends_at == at(5)


def test_a_change_some_time_in_the_night_is_taken_at_the_middle_of_its_span():
    story = told((0, "steep_on"))
    story.say(0.0, "drained", at=None, earliest_at=at(4).isoformat(), latest_at=at(8).isoformat())
    assert stages(story.history(), END)[1].hours(END) == pytest.approx(6.0)


def test_a_stage_that_goes_on_has_the_hours_so_far():
    assert stages(whole().history(), at(30))[-1].hours(at(30)) == pytest.approx(4.0)


def test_a_batch_lives_until_it_is_finished_or_abandoned():
    assert is_live(stages(whole().history(), at(165)))
    assert not is_live(stages(whole().history(), at(171)))
    assert not is_live(stages(told((0, "steep_on"), (9, "abandoned")).history(), END))
    assert is_live([])


def test_a_moment_belongs_to_the_stage_that_begins_at_it():
    found = stages(whole().history(), END)
    assert stage_at(found, at(6)).name == "air_rest"
    assert stage_at(found, at(6) - timedelta(seconds=1)).name == "immersion"
    assert stage_at(found, at(-2)) is None
    assert stage_at(found, at(500)).name == "finished"


def test_two_changes_at_one_moment_go_by_the_rank_of_their_kind():
    story = told((6, "drained"), (6, "steep_on"))
    assert names(story) == ["charged", "immersion", "air_rest"]
    backwards = told((6, "steep_on"), (6, "drained"))
    assert names(backwards) == names(story)


def test_a_batch_of_no_fact_has_no_stage():
    assert stages(Story().history([]), END) == []
