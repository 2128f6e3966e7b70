"""What to do next: one batch walked through from sack to sack, and what a maltster would make of each answer."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.judgement.history.build import history_from_records
from app.judgement.history.stages import all_stages
from app.judgement.malt.dry_enough import wettest_sample
from app.judgement.programmes.programme import load_builtin
from app.judgement.steps.next_steps import NextStep, next_steps
from app.judgement.steps.ranking import ORDERS
from app.judgement.wording import Words
from app.science.handbook import methods
from tests.judgement import random_story
from tests.judgement.flag_story import Story, hour_of, moment
from tests.judgement.plan_run import plan_story
from tests.judgement.story import at

START = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
STAGE_ENDS = {"drained", "steep_on", "cast", "loaded", "stew_on", "heat_on", "heat_off"}


def steps_of(story: Story, hour: float) -> list[NextStep]:
    return next_steps(story.history(), moment(hour), Words(now=moment(hour)))


def step_of(story: Story, hour: float, kind: str) -> NextStep:
    found = [each for each in steps_of(story, hour) if each.kind == kind]
    assert len(found) == 1, [each.what for each in steps_of(story, hour)]
    return found[0]


def kinds_of(story: Story, hour: float) -> list[str]:
    return [each.kind for each in steps_of(story, hour)]


def steeping(*, wb_at_end: float = 0.31) -> Story:
    story = Story().begin()
    story.bag_start()
    story.read(0.3, "water_temperature", 14.0)
    story.bag(5.9, wb_at_end)
    return story


def test_a_bag_that_was_left_unweighed_in_the_rest_is_asked_for_as_the_next_steep_ends_and_not_under_water() -> None:
    story = steeping()
    story.tell(6, "drained")
    story.tell(24, "steep_on")
    bag, drain = step_of(story, 24.05, "test_bag"), step_of(story, 24.05, "drained")
    assert drain.due_at - bag.due_at == timedelta(minutes=30)
    assert bag.due_at > moment(26)


def test_a_step_is_overdue_from_a_quarter_of_an_hour_after_its_time() -> None:
    drain = step_of(steeping(), 6.05, "drained")
    overdue = [minutes for minutes in (3, 14, 16) if drain.is_overdue(drain.latest_at + timedelta(minutes=minutes))]
    assert overdue == [16]


def test_what_is_reached_by_now_is_not_said_to_be_reached_about_then() -> None:
    why = {hour: step_of(steeping(wb_at_end=0.33), hour, "drained").why for hour in (5.95, 6.0)}
    assert all("about then" not in each for each in why.values()), why
    sooner = Story().begin()
    sooner.bag_start()
    sooner.bag(2.5, 0.28)
    assert "about then" in step_of(sooner, 2.6, "drained").why


# The whole way, each programme run to its plan: what was done next was asked for, and in time.


def asked_before(key: str) -> list[tuple[str, datetime, Sequence[NextStep]]]:
    """Each act that ends a stage, its time, and what was asked for on the strength of the facts before it."""
    records = plan_story(load_builtin()[key], START)
    found = []
    for known in range(3, len(records)):
        if records[known].get("kind") in STAGE_ENDS:
            history = history_from_records(records[:known])
            done_at = datetime.fromisoformat(records[known]["earliest_at"])
            found.append((records[known]["kind"], done_at, next_steps(history, history.facts[-1].at)))
    return found


@pytest.mark.parametrize("key", sorted(load_builtin()))
def test_a_batch_run_to_its_plan_is_asked_for_each_stage_before_it_comes_and_in_time(key: str) -> None:
    told = asked_before(key)
    for kind, done_at, steps in told:
        wanted = [each for each in steps if each.kind == kind]
        assert wanted, (kind, [each.what for each in steps])
        assert wanted[0].earliest_at <= done_at <= wanted[0].latest_at, (kind, wanted[0])


@pytest.mark.parametrize("key", ["barley_pale", "caramel", "kitchen_wheat"])
def test_nothing_in_a_batch_run_to_its_plan_is_called_out_of_order(key: str) -> None:
    """No sprinkling of a bed that is wet enough, no colder air for grain that bears it, no foul water."""
    records = plan_story(load_builtin()[key], START)
    for known in range(3, len(records), 5):
        history = history_from_records(records[: known + 1])
        for each in next_steps(history, history.facts[-1].at) if history.facts else ():
            assert each.kind not in ("sprinkled", "water_changed")
            assert not each.what.startswith("Lower")


# Steep.


def test_before_any_water_the_plan_s_first_stage_is_next_and_a_bag_is_asked_for() -> None:
    story = Story().declare().charge()
    assert kinds_of(story, -0.2) == ["steep_on"]
    assert "test bag" in step_of(story, -0.2, "steep_on").why
    story.bag_start()
    assert "test bag" not in step_of(story, -0.2, "steep_on").why


def test_without_a_weighing_the_drain_goes_by_the_plan() -> None:
    story = Story().begin()
    drain = step_of(story, 1, "drained")
    assert (drain.basis, drain.method) == ("plan", None)
    assert hour_of(drain.due_at) == 6


def test_grain_that_takes_up_fast_is_drained_sooner_and_the_step_says_whence() -> None:
    fast = Story().begin()
    fast.bag_start()
    fast.bag(3, 0.32)
    drain = step_of(fast, 3.1, "drained")
    assert (drain.basis, drain.method) == ("forecast", "uptake.weibull_gain")
    assert hour_of(drain.due_at) == pytest.approx(3.0, abs=0.5)
    assert drain.latest_at <= moment(8)


def test_warm_water_and_chits_shorten_the_time_under_water() -> None:
    warm = Story().begin()
    warm.read(0.2, "water_temperature", 24.0)
    drain = step_of(warm, 1, "drained")
    assert drain.basis == "facts"
    # 8 h in water of 16 °C, half as long for each 10 °C more.
    assert hour_of(drain.due_at) == pytest.approx(8 * 2 ** (-0.8), abs=0.01)
    chitted = steeping()
    chitted.tell(6, "drained")
    chitted.chits(19.5, 40)
    chitted.tell(20, "steep_on", method="still")
    assert step_of(chitted, 20.5, "drained").latest_at == moment(23)


def test_out_of_foul_water_it_is_drained_and_warm_water_is_changed_at_once() -> None:
    story = Story().begin()
    planned = hour_of(step_of(story, 2, "drained").due_at)
    story.look(2, steep="foaming")
    assert hour_of(step_of(story, 2.1, "drained").due_at) == 2
    story.tell(2.2, "water_changed")
    assert hour_of(step_of(story, 2.3, "drained").due_at) == planned
    story.read(3, "water_temperature", 21.0)
    assert "21.0 °C" in step_of(story, 3.1, "water_changed").why


def test_a_bag_just_weighed_is_not_asked_for_again_before_the_drain() -> None:
    before = Story().begin()
    before.bag_start()
    assert hour_of(step_of(before, 1, "test_bag").due_at) == 5.5
    assert "test_bag" not in kinds_of(steeping(), 5.95)


def test_what_was_just_looked_at_is_not_overdue_however_late_the_stage_is() -> None:
    story = steeping()
    story.tell(6, "drained")
    story.tell(20, "steep_on")
    assert step_of(story, 30, "chit_count").is_overdue(moment(30))
    story.chits(30, 90)
    assert all(not each.is_overdue(moment(30.1)) for each in steps_of(story, 30.1) if each.kind == "chit_count")


def test_wet_enough_and_chitted_it_is_cast_before_the_plan_says_so() -> None:
    story = steeping()
    story.tell(6, "drained")
    story.bag(19.9, 0.435)
    assert "cast" not in kinds_of(story, 19.95)
    story.chits(20, 85)
    cast = step_of(story, 20.1, "cast")
    assert cast.basis == "facts"
    assert hour_of(cast.due_at) == 20
    assert cast.why.startswith("Chits 85 %, and the moisture is there.")


@pytest.mark.parametrize(("wb", "is_steeped"), [(0.40, True), (0.465, False)])
def test_grain_at_the_top_of_its_target_is_steeped_no_more(wb: float, is_steeped: bool) -> None:
    story = steeping()
    story.tell(6, "drained")
    story.bag(19.9, wb)
    assert ("steep_on" in kinds_of(story, 19.95)) is is_steeped
    assert "chit_count" in kinds_of(story, 19.95)


def test_too_dry_to_cast_out_of_the_last_water_it_is_drained_instead() -> None:
    story = steeping(wb_at_end=0.26)
    story.tell(6, "drained")
    story.bag(19.9, 0.28)
    story.chits(19.9, 20)
    story.tell(20, "steep_on", method="still")
    story.bag(22, 0.29)
    drain = step_of(story, 22.1, "drained")
    assert "steep it once more" in drain.why
    assert "cast" not in kinds_of(story, 22.1)


# Floor.


def grown(*counts: tuple[float, int, int, int, int, int]) -> Story:
    story = Story()
    story.grow()
    for hour in range(42, 140, 6):
        story.grain(hour, 15.0 + 0.2 * (hour % 5))
    for each in counts:
        story.growth(*each)
    return story


def test_the_kiln_is_loaded_when_the_counts_say_so_and_not_when_the_plan_does() -> None:
    slow = grown((90, 90, 10, 0, 0, 0), (114, 60, 40, 0, 0, 0))
    fast = grown((90, 10, 40, 50, 0, 0), (105, 0, 10, 60, 30, 0))
    late, soon = step_of(slow, 116, "loaded"), step_of(fast, 116, "loaded")
    for each in (late, soon):
        assert (each.basis, each.method) == ("forecast", "growth.thermal_time_c_d")
        assert each.earliest_at < each.due_at < each.latest_at
    assert soon.due_at < moment(130) < moment(180) < late.due_at
    assert "by 2 counts" in soon.why


def test_counts_come_closer_together_as_the_target_nears() -> None:
    early = step_of(grown((66, 100, 0, 0, 0, 0)), 67, "growth_count")
    assert hour_of(early.due_at) == 90
    near = step_of(grown((90, 10, 40, 50, 0, 0), (105, 0, 10, 60, 30, 0)), 106, "growth_count")
    assert moment(110) < near.due_at < moment(117)
    assert near.basis == "forecast"


def test_kernels_are_rubbed_out_as_the_acrospire_comes_to_its_range() -> None:
    story = grown((90, 10, 40, 50, 0, 0), (105, 0, 10, 60, 30, 0))
    due = step_of(story, 106, "rub_out")
    assert due.due_at < step_of(story, 106, "loaded").due_at
    story.tell(107, "rub_out", {"looked_at": 20, "counts": {"chalky": 20}})
    assert all(each.due_at >= moment(119) for each in steps_of(story, 108) if each.kind == "rub_out")


def test_a_warming_bed_is_turned_before_it_comes_to_its_limit() -> None:
    story = Story()
    story.grow()
    story.grain(41, 16.0)
    story.grain(43, 18.0)
    turn = step_of(story, 43.1, "turned")
    # A degree an hour: 20 °C at hour 45, and half an hour before that it is turned.
    assert hour_of(turn.due_at) == pytest.approx(44.5)
    assert turn.basis == "forecast"
    assert turn.latest_at == moment(45)
    story.tell(44, "turned")
    assert hour_of(step_of(story, 44.1, "turned").due_at) >= 52


def test_a_bed_that_stands_still_is_turned_by_the_hours_of_the_plan() -> None:
    story = Story()
    story.grow()
    for hour in (41, 43, 45):
        story.grain(hour, 15.0)
    turn = step_of(story, 45.1, "turned")
    assert turn.basis == "plan"
    assert turn.due_at <= moment(50)


def test_a_cold_thin_bed_is_not_turned_for_its_heat() -> None:
    story = Story()
    story.grow()
    story.read(41, "bed_depth", 0.05)
    story.grain(41, 13.0)
    assert "turned" not in kinds_of(story, 45)


def test_felted_rootlets_are_broken_up_at_once() -> None:
    story = Story()
    story.grow()
    story.tell(60, "turned")
    story.look(62, matting="felted")
    turn = step_of(story, 62.1, "turned")
    assert hour_of(turn.due_at) == 62
    assert "felted" in turn.why


def test_a_look_that_is_silent_of_rootlets_takes_back_no_felted_ones_but_turning_does() -> None:
    story = Story()
    story.grow()
    story.tell(60, "turned")
    story.look(62, matting="felted")
    story.look(63, mould="no")
    turn = step_of(story, 63.1, "turned")
    assert hour_of(turn.due_at) == 62
    assert "felted" in turn.why
    story.tell(63.5, "turned")
    assert "felted" not in step_of(story, 63.6, "turned").why


def test_nobody_is_told_to_sprinkle_grain_that_was_never_weighed() -> None:
    story = Story().begin()
    for hour, kind in ((4, "drained"), (14, "steep_on"), (17, "drained")):
        story.tell(hour, kind)
    story.tell(18, "cast")
    assert "sprinkled" not in kinds_of(story, 18.1)
    story.bag_start()
    story.bag(18, 0.38)
    assert "sprinkled" in kinds_of(story, 18.1)


def test_a_bed_below_what_it_needs_is_sprinkled_with_so_much_water() -> None:
    story = Story()
    story.grow()
    story.bag(44, 0.40)
    sprinkle = step_of(story, 44.1, "sprinkled")
    assert hour_of(sprinkle.due_at) == 44
    assert sprinkle.method == "moisture.water_to_reach_kg"
    # 17.6 kg dry, a hundredth of it gone: from 40 to 44 % are about 2.1 kg of water.
    assert "2.1 L of water lifts it to 44 %" in sprinkle.why
    story.tell(45, "sprinkled", {"amount": 0.003, "amount_unit": "m3"})
    story.bag(46, 0.44)
    assert "sprinkled" not in kinds_of(story, 46.1)


# Kiln.


def drying(*weighings: tuple[float, float]) -> Story:
    story = Story().kiln()
    story.read(160.5, "air_on_temperature", 52.0)
    story.grain(161, 25.0)
    story.tray(160.05, 2.0)
    for hour, net_kg in weighings:
        story.tray(hour, net_kg)
    return story


def test_green_malt_is_fired_at_once_and_each_tray_weighed_as_it_goes_in() -> None:
    story = Story()
    story.grow()
    story.tell(160, "loaded")
    assert kinds_of(story, 160.1) == ["tray", "heat_on"]
    story.tray(160.1, 2.0)
    assert kinds_of(story, 160.2) == ["heat_on"]
    assert step_of(story, 160.2, "heat_on").latest_at == moment(162)


def test_the_tray_tells_what_its_scale_will_show_when_it_is_dry() -> None:
    tray = step_of(drying((162, 1.85)), 162.1, "tray")
    assert tray.method == "moisture.gross_to_stop_at_kg"
    # 2 kg at 44 % is 1.12 kg dry; at 4.5 % that is 1.173 kg, on a tray of 1 kg.
    assert "Stop at gross 21" in tray.why
    assert "with tray 1" in tray.why
    assert "g on this scale" in tray.why


def test_the_air_is_raised_once_it_has_dried_so_far_and_no_sooner_than_the_ceiling_allows() -> None:
    story = drying((162, 1.78), (164, 1.55))
    raise_it = step_of(story, 164.1, "set_point")
    assert raise_it.what == "Raise the air-on to 62.0 °C (143.6 °F)"
    assert raise_it.due_at > moment(164)
    story.tray(165, 1.42)
    story.tray(166, 1.36)
    story.read(166.1, "air_on_temperature", 62.0)
    assert all("62.0" not in each.what for each in steps_of(story, 166.2))


def test_nobody_is_told_to_raise_the_air_on_grain_that_was_not_weighed_and_is_not_seen_to_break() -> None:
    def raised(off_c: float) -> list[str]:
        story = Story()
        story.grow()
        story.tell(160, "loaded")
        story.tell(160.1, "heat_on")
        for hour in range(161, 172):
            story.read(hour, "air_on_temperature", 52.0)
            story.read(hour + 0.02, "air_off_temperature", 25.0 if hour < 169 else off_c)
        return [each.what for each in steps_of(story, 171.2) if each.what.startswith("Raise")]

    assert raised(25.0) == raised(36.0) == []
    assert len(raised(42.0)) == 1


def test_grain_over_its_ceiling_asks_for_cooler_air_now() -> None:
    story = drying((162, 1.85))
    story.grain(162.2, 53.0, "bottom")
    lower = step_of(story, 162.3, "set_point")
    assert lower.what.startswith("Lower the air-on to 50.0 °C (122.0 °F)")
    assert (lower.basis, hour_of(lower.due_at)) == ("facts", 162.2)
    assert "53.0 °C" in lower.why


def test_what_is_overdue_on_the_kiln_comes_after_cooler_air() -> None:
    story = drying((162, 1.85))
    story.grain(165.8, 53.0, "bottom")
    assert kinds_of(story, 165.9)[0] == "set_point"


def test_the_heat_goes_off_when_the_wettest_tray_is_dry() -> None:
    story = drying((162, 1.78), (164, 1.55), (166, 1.4), (168, 1.3), (170, 1.25), (172, 1.22))
    story.read(172.1, "air_on_temperature", 82.0)
    off = step_of(story, 172.2, "heat_off")
    assert off.method == "kiln_bed.drying_time_h"
    assert moment(172) < off.due_at < moment(182)
    story.tray(174, 1.165)
    done = step_of(story, 174.1, "heat_off")
    assert done.due_at <= moment(174)
    assert "Dry enough" in done.why


def test_malt_as_dry_as_is_wanted_at_the_most_is_taken_off_and_not_weighed_on() -> None:
    story = drying((162, 1.78), (164, 1.55), (166, 1.4), (168, 1.3), (170, 1.25), (172, 1.22))
    top = story.programme.limits["final_moisture"].target_high
    assert top is not None
    # 2 kg at 44 % is 1.12 kg dry.
    story.tray(174, 1.12 / (1.0 - top + 0.001))
    for hour in (174.1, 175.5, 177.0):
        first = steps_of(story, hour)[0]
        assert (first.kind, first.due_at, first.basis) == ("heat_off", moment(174), "facts")
        assert "tray" not in kinds_of(story, hour)


@pytest.mark.parametrize(("value_wb", "then"), [(0.046, "heat_off"), (0.09, "tray")])
def test_malt_that_may_be_dry_is_bitten_or_tested_and_not_weighed_again_and_again(value_wb: float, then: str) -> None:
    """Loaded at nobody knows what: no more weighings against that tell whether it is dry."""
    story = Story()
    story.grow()
    story.tell(160, "loaded")
    story.tell(160.1, "heat_on")
    story.read(160.5, "air_on_temperature", 52.0)
    for hour, net_kg in ((160.05, 2.0), (162, 1.78), (166, 1.4), (170, 1.27), (173, 1.22)):
        story.tray(hour, net_kg)
    story.grain(172.9, 50.0)
    sample = wettest_sample(story.history(), all_stages(story.history())[-1])
    top = story.programme.limits["final_moisture"].target_high
    assert sample is not None
    assert top is not None
    assert sample.moisture_wb - sample.half_width < top < sample.moisture_wb, sample
    first = steps_of(story, 173.1)[0]
    assert (first.kind, first.due_at) == ("moisture_test", moment(173))
    assert "tray" not in kinds_of(story, 173.1)
    story.tell(173.2, "moisture_test", {"value": value_wb}, method="oven_malt")
    assert then in kinds_of(story, 173.3)
    assert "moisture_test" not in kinds_of(story, 173.3)


def test_while_the_heat_stands_still_nothing_but_its_return_is_next() -> None:
    story = drying((162, 1.78), (164, 1.55))
    story.tell(164.2, "interruption", {"what": "power cut"})
    back = step_of(story, 165, "heat_on")
    assert back.due_at == moment(165)
    assert "stands still" in back.why
    assert {"set_point", "heat_off", "tray"}.isdisjoint(kinds_of(story, 165))


def test_the_heat_comes_back_before_a_look_that_is_overdue() -> None:
    story = drying((162, 1.78))
    story.tell(164, "paused")
    assert kinds_of(story, 168.8) == ["heat_on", "grain_temperature"]
    assert steps_of(story, 168.8)[0].is_overdue(moment(168.8))


def test_a_plan_by_the_hours_counts_those_of_heat() -> None:
    story = Story("roasted")
    story.charge()
    story.tell(0, "heat_on")
    before = step_of(story, 0.5, "heat_off").due_at
    story.tell(0.2, "interruption", {"what": "drum stood still", "until_at": moment(0.45).isoformat()})
    assert step_of(story, 0.5, "heat_off").due_at - before == timedelta(hours=0.25)
    story.tell(0.7, "heat_off")
    story.tell(1.7, "heat_on")
    assert step_of(story, 1.8, "heat_off").due_at - before == timedelta(hours=1.25)


def test_after_the_heat_it_is_cooled_stripped_dressed_the_same_day_weighed_bagged_and_finished() -> None:
    story = drying()
    story.tell(175, "heat_off")
    tested = drying()
    tested.tell(174.9, "moisture_test", {"value": 0.045}, method="oven_malt")
    tested.tell(175, "heat_off")
    rest = ["culms", "outturn", "pack", "finished"]
    assert kinds_of(tested, 175.1) == ["grain_temperature", "stripped", *rest]
    # Where nothing was weighed or tested on the kiln, somebody has to know whether it is dry before it is bagged.
    assert kinds_of(story, 175.1) == ["grain_temperature", "stripped", "moisture_test", *rest]
    assert step_of(story, 175.1, "culms").latest_at <= moment(187)
    story.grain(176, 25.0)
    story.tell(176.1, "stripped")
    story.tell(177, "outturn", {"net_kg": 15.0, "moisture_wb": 0.045})
    assert kinds_of(story, 177.1)[:2] == ["pack", "finished"]


def test_malt_taken_off_wet_is_dried_on_and_neither_stripped_nor_bagged() -> None:
    story = drying((162, 1.78), (164, 1.55))
    story.tell(164.2, "heat_off")
    assert kinds_of(story, 164.5) == ["heat_on"]
    story.tell(165, "stripped")
    story.tell(166, "outturn", {"net_kg": 24.0})
    assert kinds_of(story, 166.5) == ["heat_on"]
    assert "Too wet to keep" in steps_of(story, 166.5)[0].why
    story.tell(167, "moisture_test", {"value": 0.05}, method="oven_malt")
    assert "pack" in kinds_of(story, 167.1)


@pytest.mark.parametrize("kind", ["finished", "abandoned"])
def test_a_batch_that_has_ended_asks_for_nothing(kind: str) -> None:
    story = drying()
    story.tell(175, kind)
    assert steps_of(story, 176) == []


# Whatever is told.


def test_facts_of_the_future_have_no_say() -> None:
    story = steeping()
    before = steps_of(story, 6)
    story.tell(40, "cast")
    assert steps_of(story, 6) == before


def test_what_comes_of_a_forecast_is_as_new_as_the_last_fact() -> None:
    story = grown((90, 10, 40, 50, 0, 0))
    before = step_of(story, 106, "loaded")
    story.growth(105, 0, 0, 10, 60, 30)
    after = step_of(story, 106, "loaded")
    assert after.due_at < before.due_at
    assert "by 2 counts" in after.why


@settings(deadline=None, max_examples=25)
@given(random_story.stories(), st.floats(-10.0, 400.0))
def test_any_story_at_any_hour_gets_steps_in_order(story: random_story.Story, hour: float) -> None:
    history, now = story.history(), at(hour)
    steps = next_steps(history, now, Words(now=now))
    ranks = [(ORDERS.index(each.order) if each.order else len(ORDERS)) for each in steps]
    assert ranks == sorted(ranks)
    due = [each.due_at for each in steps if not each.order]
    assert due == sorted(due)
    for each in steps:
        assert each.earliest_at <= each.due_at <= each.latest_at
        assert each.what
        assert each.why
        assert each.basis in ("plan", "facts", "forecast")
        assert each.method is None or each.method in methods()
    known = [fact.kind for fact in history.facts if fact.at <= now]
    if known and any(kind in ("finished", "abandoned") for kind in known[-1:]):
        assert steps == []


@settings(deadline=None, max_examples=20)
@given(random_story.stories(("barley_pale",)), st.sampled_from(["drained", "cast", "loaded", "heat_off"]))
def test_what_was_just_done_is_not_asked_for_by_a_forecast(story: random_story.Story, kind: str) -> None:
    story.say(300.0, kind)
    for each in next_steps(story.history(), at(300.0)):
        assert not (each.kind == kind and each.basis == "forecast")
