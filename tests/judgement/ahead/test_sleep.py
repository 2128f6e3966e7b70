"""How long can I sleep: what goes past its limit first, by when to be back, and what to record where nobody can say."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from app.judgement.ahead.one_more_day import one_more_day
from app.judgement.ahead.power_cut import power_cut
from app.judgement.ahead.sleep import Sleep, sleep
from app.judgement.cautions import KILN, ROAST
from app.judgement.flags import evaluate
from app.judgement.history.build import history_from_records
from app.judgement.programmes.programme import load_builtin
from app.judgement.steps.next_steps import next_steps
from app.judgement.watch.watch import Watch
from tests.judgement.plan_run import plan_story
from tests.judgement.random_story import stories
from tests.judgement.story import Story, at, iso

START = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
KEYS = sorted(load_builtin())


def on_the_floor(*readings: tuple[float, float], turned: tuple[float, ...] = ()) -> Story:
    """A bed cast at hour 40, with the temperatures read in its middle."""
    story = Story("barley_pale")
    story.charge(20.0, 0.12, -1.0)
    story.say(0.0, "steep_on")
    story.say(6.0, "drained")
    story.say(20.0, "steep_on")
    story.say(26.0, "drained")
    story.say(40.0, "cast")
    for hour in turned:
        story.say(hour, "turned")
    for hour, value in readings:
        story.say(hour, "grain_temperature", {"value": value}, place="middle")
    return story


def slept(story: Story, hour: float) -> Sleep:
    return sleep(story.history(), at(hour))


def watch(found: Sleep, key: str) -> Watch:
    return next(each for each in found.watches if each.key == key)


def test_a_bed_that_warms_says_when_it_comes_to_its_limit() -> None:
    # Derived: 15, 16 and 17 °C at hours 60, 62 and 64 reach 20 °C six hours on.
    found = slept(on_the_floor((60, 15.0), (62, 16.0), (64, 17.0), turned=(60,)), 64)
    bed = watch(found, "temperature")
    assert "20.0 °C" in bed.what
    assert bed.likely_at is not None
    assert abs(bed.likely_at - at(70)) < timedelta(minutes=1)
    assert at(64) < bed.safe_at < bed.likely_at
    assert bed.is_estimate
    assert found.state == "until"


def test_the_first_to_go_past_is_the_answer() -> None:
    found = slept(on_the_floor((60, 15.0), (62, 15.0), (66, 15.0), turned=(60,)), 66)
    assert found.first is not None
    assert found.first.key == "turning"
    assert (found.safe_at, found.first.safe_at, found.first.likely_at) == (at(68), at(68), at(70))


def test_a_bed_read_once_since_it_was_turned_asks_for_a_second_reading() -> None:
    found = slept(on_the_floor((60.5, 15.0), turned=(60,)), 61)
    assert found.state == "unknown"
    assert [gap.kind for gap in found.gaps] == ["grain_temperature"]
    assert "twice" in found.gaps[0].record
    soonest_without_loss = watch(found, "temperature")
    assert soonest_without_loss.likely_at is None
    assert "soonest" in soonest_without_loss.what


def test_a_bed_that_nobody_read_asks_for_its_temperature() -> None:
    found = slept(on_the_floor(turned=(60,)), 61)
    assert found.state == "unknown"
    assert found.gaps[0].key == "no_temperature"


def test_how_it_warmed_before_the_last_turn_is_taken_where_it_was_read_once_since() -> None:
    before = ((42, 15.0), (46, 16.0), (50, 17.0))
    found = slept(on_the_floor(*before, (51, 14.0), turned=(50.5,)), 51)
    assert found.state == "until"
    bed = watch(found, "temperature")
    assert bed.likely_at is not None
    # Derived: a quarter of a degree an hour takes 24 h for the six degrees to 20 °C.
    assert abs(bed.likely_at - at(75)) < timedelta(minutes=1)
    assert "before the last turn" in bed.basis


def test_an_old_reading_asks_for_a_new_one() -> None:
    found = slept(on_the_floor((60, 14.0), (63, 14.2), turned=(60,)), 76)
    assert "old_temperature" in [gap.key for gap in found.gaps]


def test_a_bed_past_its_limit_lets_nobody_sleep() -> None:
    found = slept(on_the_floor((60, 19.0), (62, 21.0), turned=(60,)), 62.5)
    assert found.state == "over"
    assert [each.key for each in found.over] == ["temperature"]


def test_rootlets_that_knit_want_turning_before_one_goes() -> None:
    story = on_the_floor((60, 15.0), (62, 15.1), turned=(60,))
    story.say(62, "inspection", {"findings": {"mould": "no", "smell": "clean", "matting": "felted"}})
    found = slept(story, 62.5)
    assert found.state == "now"
    assert found.first is not None
    assert "turn it before you go" in found.first.why


def test_a_cold_thin_bed_needs_no_turning_at_night() -> None:
    story = on_the_floor((60, 12.0), (62, 12.1), turned=(60,))
    story.say(60, "bed_depth", {"value": 0.06})
    assert "turning" not in [each.key for each in slept(story, 62).watches]


def test_a_cold_thin_bed_beside_a_deep_one_leaves_the_deep_one_to_be_turned() -> None:
    """Which of the two was read last does not matter."""
    for last in ("bed A", "bed B"):
        story = on_the_floor()
        for bed, depth_m, warm_c in (("bed A", 0.06, 11.5), ("bed B", 0.15, 15.5)):
            later = 0.2 if bed == last else 0.0
            story.say(60, "turned", place=bed)
            story.say(60 + later, "bed_depth", {"value": depth_m}, place=bed)
            for hour in (60.5, 62.0):
                story.say(hour + later, "grain_temperature", {"value": warm_c}, place=f"{bed} middle")
        assert "turning" in [each.key for each in slept(story, 62.3).watches], last


def test_still_water_may_stand_its_hours_and_less_where_it_is_warm() -> None:
    cool, warm = Story("barley_pale"), Story("barley_pale")
    for story, value in ((cool, 16.0), (warm, 26.0)):
        story.charge(20.0, 0.12, -1.0)
        story.say(0.0, "steep_on", method="still")
        story.say(0.5, "water_temperature", {"value": value})
    first = watch(slept(cool, 1), "under_water")
    assert (first.safe_at, first.likely_at) == (at(8), at(10))
    # Derived: ten degrees above the reference of 16 °C halve it, by a Q10 of 2.
    assert watch(slept(warm, 1), "under_water").safe_at == at(4)


def test_chitted_grain_is_safe_under_water_for_less_long() -> None:
    story = Story("barley_pale")
    story.charge(20.0, 0.12, -1.0)
    story.say(0.0, "steep_on")
    story.say(6.0, "drained")
    story.say(19.0, "chit_count", {"looked_at": 100, "counts": {"chitted": 60}})
    story.say(20.0, "steep_on")
    found = slept(story, 20.5)
    assert found.first is not None
    assert found.first.key == "chitted"
    assert found.safe_at == at(23)


def test_a_fired_kiln_is_never_left_and_its_caution_says_why() -> None:
    story = on_the_floor((60, 15.0))
    story.say(150, "loaded")
    story.say(150.5, "heat_on")
    found = slept(story, 152)
    assert (found.state, found.stay) == ("stay", KILN)


def test_green_malt_that_waits_warm_for_its_heat_has_two_hours() -> None:
    story = on_the_floor((149, 19.0))
    story.say(150, "loaded")
    found = slept(story, 150.5)
    assert found.stay is None
    assert found.first is not None
    assert (found.first.key, found.first.safe_at) == ("waiting", at(152))
    # The next step wants it lit sooner: nobody is let sleep past it.
    assert (found.state, found.safe_at) == ("now", at(150.25))


def test_green_malt_that_waits_unread_says_by_when_to_be_back() -> None:
    story = on_the_floor((60, 15.0), (117, 15.0))
    story.say(150, "loaded")
    waits = watch(slept(story, 150.5), "waiting")
    assert (waits.safe_at, waits.likely_at) == (at(152), at(154))
    assert slept(story, 158.75).state == "first"


def test_a_kiln_that_stands_still_is_not_left_for_the_grain_and_not_for_its_heat() -> None:
    story = on_the_floor((149, 15.0))
    story.say(150, "loaded")
    story.say(150.1, "heat_on")
    story.say(152, "paused")
    found = slept(story, 153)
    assert (found.state, found.steps[0].doing, found.stay) == ("first", "heat_on", None)
    assert watch(found, "waiting").safe_at == at(154)


def test_malt_taken_off_wet_waits_for_its_heat_and_not_for_its_culms() -> None:
    story = on_the_floor((149, 15.0))
    story.say(150, "loaded")
    story.say(150.1, "heat_on")
    story.say(156, "moisture_test", {"value": 0.25}, method="oven_two_stage")
    story.say(156.1, "heat_off")
    found = slept(story, 157)
    assert [each.key for each in found.watches] == ["waiting"]
    assert watch(found, "waiting").safe_at == at(158.1)
    assert (found.state, found.steps[0].doing) == ("first", "heat_on")


def test_warm_and_wet_is_counted_as_the_flag_counts_it_and_not_across_the_loading() -> None:
    readings = ((60, 15.0), (149, 24.0))
    floor = on_the_floor(*readings)
    floor.bag_start(-0.4, 0.5, 0.12)
    floor.bag(39.9, 0.78)
    warm = watch(slept(floor, 149.5), "warm_and_wet")
    # By hand: on a straight line from 15 °C at hour 60 it came to 22 °C seven ninths of the way.
    assert abs(warm.safe_at - at(60 + 89 * 7 / 9 + 6)) < timedelta(minutes=1)
    floor.say(150, "loaded")
    floor.say(150.2, "heat_on")
    floor.say(152, "grain_temperature", {"value": 30.0}, place="middle")
    assert "warm_and_wet" not in [each.key for each in slept(floor, 152.5).watches]
    floor.say(153, "interruption", {"what": "the fan failed"})
    assert watch(slept(floor, 153.5), "warm_and_wet").safe_at == at(159)


def test_a_hot_roast_is_watched_until_it_is_cool() -> None:
    story = Story("roasted")
    story.say(0, "heat_on")
    story.say(2, "heat_off")
    story.say(2.1, "grain_temperature", {"value": 120.0})
    assert slept(story, 2.2).stay == ROAST
    story.say(3.0, "grain_temperature", {"value": 30.0})
    assert slept(story, 3.1).stay is None


def test_a_batch_without_water_or_with_its_end_lets_everybody_sleep() -> None:
    story = Story("barley_pale")
    story.charge(20.0, 0.12, 0.0)
    assert slept(story, 1).state == "none"
    story.say(2, "abandoned")
    assert slept(story, 3).state == "none"


def test_a_batch_without_a_programme_has_no_limit_to_sleep_by() -> None:
    story = Story()
    story.charge(20.0, 0.12, 0.0)
    story.say(1, "steep_on")
    assert slept(story, 2).state == "unknown"


def test_nobody_is_let_sleep_past_what_the_tub_asks_for() -> None:
    rest = Story("barley_pale")
    rest.charge(20.0, 0.12, -1.0)
    rest.say(0.0, "steep_on")
    rest.say(6.0, "drained")
    for hour in (7.0, 9.0, 11.0):
        rest.say(hour, "grain_temperature", {"value": 14.0}, place="middle")
    found, steps = slept(rest, 11.5), next_steps(rest.history(), at(11.5))
    (steep,) = [each for each in steps if each.kind == "steep_on"]
    # The rest may last 20 h; the plan has the next water 14 h after it began.
    assert watch(found, "rest").safe_at == at(26)
    assert (found.state, found.safe_at) == ("until", steep.due_at)
    # What is only to be looked at meanwhile is looked at before one goes.
    assert {each.doing for each in found.looks} == {each.doing for each in steps if each.due_at < steep.due_at}


def test_air_that_is_to_be_left_goes_before_the_kiln_that_is_not_to_be_left() -> None:
    story = on_the_floor((149, 15.0))
    story.say(150, "loaded")
    story.say(150.1, "heat_on")
    assert slept(story, 150.5).state == "stay"
    story.say(150.6, "co2_room", {"value": 20_000.0})
    found = slept(story, 150.7)
    assert (found.state, found.steps[0].order) == ("first", "people")


def test_while_a_record_is_caught_up_on_nobody_knows_how_long_one_can_sleep() -> None:
    story = on_the_floor((42, 15.0), (44, 15.0))
    for record in story.records:
        record["written_at"] = iso(60.0)
    found = slept(story, 60.1)
    assert (found.state, [gap.key for gap in found.gaps], found.watches) == ("unknown", ["behind"], ())
    assert "Write down" in found.gaps[0].record


@cache
def records_of(key: str) -> tuple[dict[str, object], ...]:
    return tuple(plan_story(load_builtin()[key], START))


@given(st.sampled_from(KEYS), st.floats(0.0, 220.0))
@settings(max_examples=30, deadline=None)
def test_the_safe_time_is_never_later_than_the_likely_one(key: str, hour: float) -> None:
    now = START + timedelta(hours=hour)
    told = [
        each for each in records_of(key) if "record" in each or datetime.fromisoformat(str(each["earliest_at"])) <= now
    ]
    known = load_builtin()[key]
    found = sleep(history_from_records(told, {known.digest: known}), now)
    for each in found.watches:
        assert each.likely_at is None or each.safe_at <= each.likely_at, each
    assert [each.safe_at for each in found.watches] == sorted(each.safe_at for each in found.watches)


@given(stories(), st.floats(0.0, 230.0))
@settings(max_examples=40, deadline=None)
def test_whatever_was_recorded_there_is_an_answer(story: Story, hour: float) -> None:
    found, day = slept(story, hour), one_more_day(story.history(), at(hour))
    assert found.state in ("first", "none", "stay", "over", "unknown", "now", "until", "night")
    assert all(each.likely_at is None or each.safe_at <= each.likely_at for each in found.watches)
    assert power_cut(story.history(), at(hour)).card.at_once
    if day is not None and day.overgrown is not None:
        assert day.overgrown.now.central <= day.overgrown.then.central + 1e-9


def test_a_bed_far_too_hot_is_asked_about_its_cold_limit_too() -> None:
    story = Story("barley_pale")
    story.charge(20.0, 0.12, hour=-0.5)
    story.say(0, "steep_on")
    story.say(40, "cast")
    for hour, value in ((60.0, 62.0), (62.0, 61.0)):
        story.say(hour, "grain_temperature", {"value": value}, place="middle")
    assert slept(story, 62.5).state == "over"


def test_a_reading_at_the_ends_of_what_an_entry_takes_breaks_no_answer() -> None:
    for value in (155.0, -50.0, 600.0):
        story = Story("barley_pale")
        story.charge(20.0, 0.12, hour=-0.5)
        story.say(0, "steep_on")
        story.say(40, "cast")
        story.say(41, "grain_temperature", {"value": 15.0}, place="middle")
        story.say(42.75, "grain_temperature", {"value": value}, place="middle")
        assert slept(story, 43).state != ""
        assert power_cut(story.history(), at(43)).stage is not None
        assert next_steps(story.history(), at(43))
        evaluate(story.history(), at(43))


def test_nobody_gets_up_at_night_for_culms_and_bags() -> None:
    story = on_the_floor((149, 15.0))
    story.say(150, "loaded")
    story.say(150.1, "heat_on")
    story.say(176, "moisture_test", {"value": 0.045}, method="oven_two_stage")
    story.say(176.1, "heat_off")
    story.say(177.0, "grain_temperature", {"value": 20.0})
    story.say(177.1, "stripped")
    found = slept(story, 177.2)
    # Twelve hours after the heat went off, the same day.
    assert (found.state, found.safe_at) == ("until", at(188.1))
