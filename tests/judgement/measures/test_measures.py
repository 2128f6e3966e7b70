"""The measures of a batch, each held against figures that were put into its story."""

import json
import math
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.judgement.grain.losses import losses_by
from app.judgement.history.build import history_from_records
from app.judgement.measures.account import account
from app.judgement.measures.batch import KEYS, measures, measures_from_record, measures_record
from app.judgement.programmes.programme import load_builtin
from tests.judgement.plan_run import plan_story
from tests.judgement.random_story import stories
from tests.judgement.story import ZERO, Story, at

BUILTIN = load_builtin()
END = at(2000)
every_programme = pytest.mark.parametrize("key", sorted(BUILTIN))


def to_plan(key, charge_kg=24.0):
    return history_from_records(plan_story(BUILTIN[key], ZERO, charge_kg))


def by_key(history, now=END, flags=None):
    return {measure.key: measure for measure in measures(history, now, flags)}


def steeped():
    story = Story("barley_pale")
    story.charge(24.0, 0.12, hour=-0.5)
    for hour, kind in ((0, "steep_on"), (6, "drained"), (20, "steep_on"), (26, "drained"), (40, "cast")):
        story.say(hour, kind)
    return story


@every_programme
def test_the_row_is_the_same_for_every_batch(key):
    assert [measure.key for measure in measures(to_plan(key), END)] == list(KEYS)


def test_the_row_is_the_same_before_anything_was_charged():
    found = measures(Story().history([]), END)
    assert [measure.key for measure in found] == list(KEYS)
    assert not any(measure.is_known for measure in found)
    assert all(measure.note for measure in found)


@every_programme
def test_hours_are_those_of_the_plan(key):
    found = by_key(to_plan(key))
    planned = {}
    for stage in BUILTIN[key].planned_stages():
        planned[stage.stage] = planned.get(stage.stage, 0.0) + stage.end_h - stage.start_h
    for name, measure in (("immersion", "immersion_h"), ("air_rest", "air_rest_h"), ("germination", "germination_h")):
        if name in planned:
            assert found[measure].value == pytest.approx(planned[name])
        else:
            assert not found[measure].is_known
    assert found["kiln_h"].value == pytest.approx(planned["kilning"], abs=0.01)


def test_what_went_in_and_out_is_told_with_the_loss():
    found = by_key(to_plan("barley_pale", 24.0))
    assert found["charged_kg"].value == 24.0
    assert found["malting_loss"].value == pytest.approx(0.10)
    assert found["outturn_kg"].value / 24.0 == pytest.approx(found["yield_as_is"].value)
    assert found["culms_share"].value == pytest.approx(0.035, abs=1e-4)
    assert found["final_moisture"].value == pytest.approx(0.045)


def test_moisture_and_chits_at_cast_are_those_of_the_plan_and_inside_its_limits():
    found = by_key(to_plan("barley_pale"))
    assert found["cast_moisture"].value == pytest.approx(0.44, abs=0.006)
    assert found["cast_moisture"].position == "in"
    assert found["cast_chits"].n == 100
    assert found["cast_chits"].position == "in"


def test_a_chit_count_long_before_the_cast_says_nothing_of_it():
    story = steeped()
    story.say(20, "chit_count", {"looked_at": 100, "counts": {"chitted": 12}})
    assert by_key(story.history())["cast_chits"].note == "not counted"


def test_the_chit_count_nearest_to_the_cast_is_taken():
    story = steeped()
    story.say(33, "chit_count", {"looked_at": 100, "counts": {"chitted": 50}})
    story.say(40.5, "chit_count", {"looked_at": 100, "counts": {"chitted": 85}})
    found = by_key(story.history(), at(41))["cast_chits"]
    assert (found.value, found.position) == (0.85, "in")


def test_moisture_at_cast_needs_a_weighing_and_not_the_charge():
    assert by_key(steeped().history(), at(41))["cast_moisture"].note == "not weighed"


def test_a_stage_that_goes_on_says_so_far():
    found = by_key(steeped().history(), at(23))
    assert found["immersion_h"].value == pytest.approx(9.0)
    assert found["steep_h"].note == "so far"
    assert found["germination_h"].note == "has not begun"


def test_the_mean_temperature_weighs_a_night_without_readings_as_a_night():
    story = steeped()
    # 10 °C at hour 41, 42, 43 and 44; 20 °C at hour 64 and until the end at hour 80: the middle of the gap is hour 54.
    for hour in (41, 42, 43, 44):
        story.say(hour, "grain_temperature", {"value": 10.0})
    story.say(64, "grain_temperature", {"value": 20.0})
    story.say(80, "loaded")
    found = by_key(story.history())["germination_temperature"]
    assert found.value == pytest.approx((14 * 10.0 + 26 * 20.0) / 40)
    assert found.n == 5


def test_top_middle_and_bottom_read_together_are_one_look():
    story = steeped()
    for minute, (place, value) in enumerate((("top", 19.0), ("middle", 22.0), ("bottom", 16.0))):
        story.say(50 + minute / 60, "grain_temperature", {"value": value}, place=place)
    story.say(60, "grain_temperature", {"value": 19.0}, place="middle")
    found = by_key(story.history(), at(70))
    assert found["germination_temperature"].value == pytest.approx(19.0)
    assert found["germination_temperature_max"].value == 22.0


def test_the_highest_is_also_what_a_max_min_thermometer_remembers():
    story = steeped()
    story.say(60, "grain_temperature", {"value": 15.0, "lowest": 11.0, "highest": 21.0})
    found = by_key(story.history(), at(70))
    assert found["germination_temperature_max"].value == 21.0
    assert found["germination_temperature"].value == 15.0


def test_a_reading_that_was_over_the_range_is_in_no_mean():
    story = steeped()
    story.say(50, "grain_temperature", {"value": 15.0})
    story.say(60, "grain_temperature", {"value": 50.0}, quality="over_range")
    assert by_key(story.history(), at(70))["germination_temperature"].value == 15.0


def test_readings_of_other_stages_are_not_mixed_in():
    story = steeped()
    story.say(30, "grain_temperature", {"value": 30.0})
    story.say(50, "grain_temperature", {"value": 15.0})
    assert by_key(story.history(), at(70))["germination_temperature_max"].value == 15.0


def test_a_first_reading_at_the_very_cast_counts():
    story = steeped()
    story.say(40, "grain_temperature", {"value": 15.0})
    assert by_key(story.history(), at(40))["germination_temperature"].value == pytest.approx(15.0)


def test_turns_are_counted_while_it_grew_and_none_is_a_number():
    story = steeped()
    assert by_key(story.history(), at(50))["turns"].value == 0.0
    for hour in (45, 55, 65):
        story.say(hour, "turned")
    assert by_key(story.history(), at(60))["turns"].value == 2.0


def test_the_growth_is_that_of_the_last_count_before_the_heat():
    story = steeped()
    story.say(120, "growth_count", {"counts": {"half_to_three_quarters": 100}})
    story.say(160, "growth_count", {"counts": {"three_quarters_to_full": 95, "over": 5}})
    story.say(161, "loaded")
    story.say(200, "growth_count", {"counts": {"over": 100}})
    found = by_key(story.history())
    assert found["acrospire"].value == pytest.approx(0.95 * 0.875 + 0.05 * 1.125)
    assert (found["overgrown_share"].value, found["overgrown_share"].n) == (0.05, 100)
    assert found["acrospire"].severity == "notice"


def test_growth_that_goes_on_is_not_judged_yet():
    story = steeped()
    story.say(80, "growth_count", {"counts": {"quarter_to_half": 100}})
    found = by_key(story.history(), at(81))["acrospire"]
    assert (found.value, found.position, found.severity) == (0.375, "", None)


def test_a_kiln_too_hot_has_hours_above_its_ceiling():
    story = steeped()
    story.say(160, "loaded")
    story.say(160, "moisture_test", {"value": 0.43}, method="oven_two_stage")
    # Wet grain at 56 °C for two hours: 6 °C above the ceiling of 50 °C.
    for hour in (161, 162, 163):
        story.say(hour, "grain_temperature", {"value": 56.0}, place="middle")
    story.say(163, "heat_off")
    found = by_key(story.history())
    assert found["hours_above_ceiling"].value == pytest.approx(2.0)
    assert found["degree_hours_above_ceiling"].value == pytest.approx(12.0)
    assert found["kiln_grain_max"].value == 56.0


@every_programme
def test_a_run_to_plan_spends_no_hour_above_its_ceiling(key):
    assert not by_key(to_plan(key))["hours_above_ceiling"].value


def test_flags_are_counted_by_severity_where_they_are_given():
    flags = [SimpleNamespace(severity=name) for name in ("notice", "caution", "caution")]
    found = by_key(steeped().history(), at(50), flags)
    assert [found[f"flags_{name}"].value for name in ("notice", "caution", "act")] == [1.0, 2.0, 0.0]
    assert not by_key(steeped().history(), at(50))["flags_act"].is_known


@every_programme
def test_a_record_of_measures_is_plain_json_and_reads_back(key):
    history = to_plan(key)
    record = json.loads(json.dumps(measures_record(history, END, []), allow_nan=False))
    assert measures_from_record(record) == [measure for measure in measures(history, END, []) if measure.is_known]


def test_a_roast_has_no_steep_and_no_growth():
    found = by_key(to_plan("roasted"))
    assert not any(found[key].is_known for key in ("steep_h", "cast_moisture", "germination_h", "turns", "acrospire"))
    # The plan goes on to chocolate: about 15 % for dark roasts.
    assert found["malting_loss"].value == pytest.approx(0.15)


def test_a_roast_that_stops_at_brown_loses_less_than_a_dark_one():
    programme = BUILTIN["roasted"]
    dark = history_from_records(plan_story(programme, ZERO))
    hottest = [record for record in plan_story(programme, ZERO) if record.get("kind") == "grain_temperature"]
    cooler = {record["id"] for record in hottest if record["values"]["value"] >= 200.0}
    brown = history_from_records(each for each in plan_story(programme, ZERO) if each.get("id") not in cooler)
    assert losses_by(dark, at(1000)).roast == pytest.approx(0.15)
    assert losses_by(brown, at(1000)).roast == pytest.approx(0.05)


@given(story=stories(), hour=st.sampled_from([-1.0, 0.0, 6.0, 41.0, 165.0, 200.0]))
@settings(max_examples=30, deadline=None)
def test_whatever_was_told_the_measures_are_numbers_and_the_account_adds_up(story, hour):
    history = story.history()
    record = measures_record(history, at(hour), [])
    assert measures_from_record(json.loads(json.dumps(record, allow_nan=False)))
    found = account(history, at(hour))
    if found.remainder is not None:
        total = math.fsum(line.dry_kg for line in found.lines) + found.remainder.value
        assert total == pytest.approx(found.charge.dry_kg)
        assert found.remainder.sd >= max(line.sd_kg for line in found.lines)
