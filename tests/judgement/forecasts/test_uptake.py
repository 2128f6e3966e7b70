"""Forecasts of the steep, told as short stories; the published series is that of Molina-Cano et al. 1995."""

from datetime import timedelta
from pathlib import Path
from random import Random

import numpy as np
import pytest

from app.judgement.forecasts.asking import band_by_plan
from app.judgement.forecasts.course import course_to_plan, planned_course
from app.judgement.forecasts.forecast import evaluate, fit, fit_key, moisture_value, time_to_moisture
from app.judgement.forecasts.moisture import samples
from app.judgement.history.history import History
from app.judgement.programmes.programme import load_builtin
from tests.judgement.story import Story, at

# Molina-Cano et al. 1995, J. Inst. Brew. 101:79-83, data set barleyh20 of the CRAN package pbANOVA.
SERIES = np.loadtxt(Path(__file__).parents[2] / "science" / "data" / "molina_cano_1995.csv", delimiter=",", skiprows=2)
HOURS = SERIES[:, 0]
LOTS = pytest.mark.parametrize("gain_percent", [SERIES[:, 1], SERIES[:, 2]], ids=["slow lot", "fast lot"])


def steep(*weighed: tuple[float, float], water_c: float = 15.0, programme: str | None = None) -> Story:
    """A steep under water, with (hour, weight gain in % of the initial weight) of a bag of 500 g."""
    story = Story(programme)
    story.charge(50.0, 0.12, -0.5)
    story.bag_start(-0.2, 0.5, 0.12)
    story.say(0.0, "steep_on")
    story.say(0.1, "water_temperature", {"value": water_c})
    for hour, gain in weighed:
        story.bag(hour, 0.5 * (1.0 + gain / 100.0))
    return story


def width(history: History, hour: float) -> float:
    found = moisture_value(history, at(hour))
    assert found.low is not None
    assert found.high is not None
    return found.high - found.low


@LOTS
def test_a_published_steep_is_forecast_from_its_first_three_weighings_within_its_interval(gain_percent):
    pairs = list(zip(HOURS, gain_percent, strict=True))
    known, whole = steep(*pairs[:3]).history(), steep(*pairs).history()
    truths = [each for each in samples(whole) if each.at > at(16.0)]
    assert len(truths) == 3
    for truth in truths:
        found = moisture_value(known, truth.at)
        assert found.low <= truth.moisture_wb <= found.high
        assert abs(found.central - truth.moisture_wb) < 0.015


@LOTS
def test_the_interval_narrows_with_every_weighing(gain_percent):
    pairs = list(zip(HOURS, gain_percent, strict=True))
    widths = [width(steep(*pairs[:count]).history(), 36.0) for count in range(5)]
    assert widths == sorted(widths, reverse=True)
    assert widths[3] < widths[0] / 2.2


def test_before_anything_is_weighed_the_forecast_is_what_a_maltster_would_say_of_barley():
    # From memory: barley near 30 % after 6 h, 40 % after a day under water of 15 °C.
    history = steep().history()
    for hour, expected in ((6.0, 0.30), (24.0, 0.40)):
        found = moisture_value(history, at(hour))
        assert found.low < expected < found.high
        assert found.central == pytest.approx(expected, abs=0.02)
    assert 0.04 < width(history, 24.0) < 0.15


def test_the_grain_goes_into_the_water_as_it_was_charged():
    found = moisture_value(steep().history(), at(0.0))
    assert (found.low, found.central, found.high) == pytest.approx((0.12, 0.12, 0.12))


def test_before_the_batch_was_charged_there_is_no_moisture():
    found = moisture_value(steep().history(), at(-2.0))
    assert not found.is_known
    assert found.reason


def test_the_order_in_which_weighings_arrive_has_no_say():
    story = steep((3.0, 14.0), (6.0, 20.0), (9.0, 24.0), (12.0, 27.0))
    told = moisture_value(story.history(), at(30.0))
    for seed in range(3):
        shuffled = list(story.records)
        Random(seed).shuffle(shuffled)
        assert moisture_value(story.history(shuffled), at(30.0)) == told


def test_warmer_water_is_faster():
    cold, warm = (moisture_value(steep(water_c=celsius).history(), at(8.0)).central for celsius in (10.0, 20.0))
    assert warm > cold + 0.02


def test_the_published_activation_energy_comes_through():
    # Becker 1960: 10 to 20 °C makes uptake 2.1 times faster; the middle of the published range, 40 kJ/mol, 1.8 times.
    reached = [
        (time_to_moisture(steep(water_c=celsius).history(), 0.35, at(0.2)).central - at(0.0)) / timedelta(hours=1)
        for celsius in (10.0, 20.0)
    ]
    assert 1.5 < reached[0] / reached[1] < 2.1


def test_an_air_rest_goes_on_slower_than_an_immersion():
    wet, rest = steep((6.0, 20.0)), steep((6.0, 20.0))
    rest.say(6.1, "drained")
    now = moisture_value(wet.history(), at(6.1)).central
    under_water, in_air = (moisture_value(each.history(), at(14.0)).central for each in (wet, rest))
    assert now < in_air < under_water
    assert in_air - now < 0.6 * (under_water - now)


def test_weighings_in_the_rests_teach_how_much_a_rest_brings():
    def shares(gain_in_rest: float) -> float:
        story = steep((5.9, 25.0))
        story.say(6.0, "drained")
        story.bag(19.9, 0.5 * (1.25 + gain_in_rest / 100.0))
        fitted = fit(story.history()).story
        assert fitted is not None
        assert fitted.uptake is not None
        return fitted.uptake.air_share

    assert shares(1.0) < shares(4.0) < shares(9.0)


def test_a_target_that_was_passed_gives_the_time_at_which_it_was_passed():
    story = steep((6.0, 22.0), (12.0, 32.0), (24.0, 45.0))
    found = time_to_moisture(story.history(), 0.33, at(24.0))
    assert at(6.0) < found.central < at(12.0)
    assert found.low <= found.central <= found.high
    assert found.is_past(at(24.0))
    assert not found.reason


def test_facts_after_now_have_no_say_in_when():
    early = steep((6.0, 22.0))
    later = steep((6.0, 22.0), (12.0, 45.0), (24.0, 60.0))
    assert time_to_moisture(early.history(), 0.40, at(7.0)) == time_to_moisture(later.history(), 0.40, at(7.0))


def test_a_moment_between_two_weighings_is_seen_from_both_sides():
    one, both = steep((6.0, 22.0)).history(), steep((6.0, 22.0), (12.0, 40.0)).history()
    assert moisture_value(both, at(10.0)).central > moisture_value(one, at(10.0)).central + 0.01
    assert width(both, 10.0) < width(one, 10.0)


def test_a_moisture_that_no_grain_takes_up_is_never_reached_and_says_why():
    found = time_to_moisture(steep((6.0, 22.0)).history(), 0.65, at(7.0))
    assert found.central is None
    assert found.high is None
    assert "levels off" in found.reason


def test_after_the_cast_a_target_above_is_no_longer_reached():
    story = steep((6.0, 22.0), (24.0, 40.0))
    story.say(25.0, "cast")
    found = time_to_moisture(story.history(), 0.47, at(60.0))
    assert found.central is None
    assert "cast" in found.reason


def test_without_water_there_is_no_steep_to_forecast():
    story = Story()
    story.charge(50.0, 0.12, -0.5)
    found = time_to_moisture(story.history(), 0.44, at(1.0))
    assert found.central is None
    assert "not begun" in found.reason


def test_the_soonest_comes_before_the_likeliest_and_the_latest_after_it():
    found = time_to_moisture(steep((4.0, 18.0)).history(), 0.38, at(4.5))
    assert found.low < found.central < found.high


def test_left_in_a_rest_it_takes_longer_than_by_the_plan_that_puts_it_under_water_again():
    story = steep((5.9, 24.0), programme="barley_pale")
    story.say(6.0, "drained")
    forecast = evaluate(fit(story.history()), at(8.0))
    assert forecast.cast_by_plan is not None
    assert forecast.cast is not None
    assert forecast.cast_by_plan.central is not None
    assert forecast.cast.central is None or forecast.cast.central > forecast.cast_by_plan.central


def test_a_programme_moves_the_middle():
    plain, rye = steep(), steep(programme="rye")
    assert moisture_value(rye.history(), at(5.0)).central > moisture_value(plain.history(), at(5.0)).central
    planned = load_builtin()["rye"].planned_curve("moisture_wb")[1]
    assert moisture_value(rye.history(), at(planned[0])).central == pytest.approx(planned[1], abs=0.02)


def test_a_spray_on_the_floor_lifts_the_moisture_by_most_of_its_water():
    def cast(litres: float | None) -> float:
        story = steep((6.0, 22.0), (24.0, 40.0))
        story.say(25.0, "cast")
        if litres is not None:
            story.say(40.0, "sprinkled", {"amount": litres / 1000.0})
        return moisture_value(story.history(), at(41.0)).central

    # 1.5 kg of water on 44 kg of dry matter at 40 %: 1.2 points if all of it stayed.
    lift = cast(1.5) - cast(None)
    assert 0.005 < lift < 0.0125


def test_a_fit_is_kept_under_another_key_once_anything_is_added():
    before, after = steep((6.0, 22.0)), steep((6.0, 22.0), (7.0, 24.0))
    assert fit_key(before.history()) == fit_key(before.history())
    assert fit_key(before.history()) != fit_key(after.history())


def test_a_calibration_of_a_thermometer_makes_a_kept_fit_old():
    story = steep((6.0, 22.0))
    before = fit_key(story.history())
    thermometer = {"type": "instrument", "id": "thermometer 1"}
    story.say(-30.0, "calibrated", {"amount": 1.5}, subject=thermometer)
    assert fit_key(story.history()) != before


def test_a_warm_start_comes_to_the_same_forecast_as_a_cold_one():
    before, after = steep((6.0, 16.0)).history(), steep((6.0, 16.0), (12.0, 24.0)).history()
    warm, cold = fit(after, fit(before)), fit(after)
    found = [evaluate(each, at(30.0)).moisture.central for each in (warm, cold)]
    assert found[0] == pytest.approx(found[1], abs=2e-4)


@pytest.mark.parametrize(
    "programme", ["barley_pale", "barley_dark", "kitchen_barley", "kitchen_wheat", "wheat_base", "rye", "oats", "chit"]
)
def test_before_anything_is_weighed_a_plan_ends_near_its_target_and_its_last_hour_has_an_end(programme):
    found = evaluate(fit(steep(programme=programme).history()), at(1.0)).cast_by_plan
    planned_h = planned_course(load_builtin()[programme])[-1].end_h
    assert found.low < at(planned_h) < found.high < at(planned_h + 60.0)
    assert abs(found.central - at(planned_h)) < timedelta(hours=9)


def test_where_a_plan_ends_tells_nothing_of_grain_that_was_left_in_the_water():
    def by_plan(hour: float) -> bool:
        fitted = fit(steep(programme="barley_pale").history())
        uptake = fitted.story.uptake
        course = course_to_plan(uptake.course, fitted.programme, fitted.steep_ordinal, hour)
        return band_by_plan(fitted, at(hour))(np.array([60.0])) == uptake.band(np.array([60.0]), course)

    # The first drain was due at 6 h.
    assert not by_plan(7.0)
    assert by_plan(10.0)


def test_the_skins_fill_within_minutes_of_the_first_water():
    dry, wet = (moisture_value(steep().history(), at(hour)).central for hour in (-0.1, 0.1))
    # 0.045 kg/kg in wheat (Becker 1960, Cereal Chem. 37:309, abstract); the first minutes' diffusion comes to it.
    assert 0.03 < wet / (1.0 - wet) - dry / (1.0 - dry) < 0.08


def test_an_hour_under_water_brings_more_after_a_rest_than_it_would_have_without_one():
    resting = steep((5.9, 25.0))
    resting.say(6.0, "drained")
    resting.say(20.0, "steep_on")
    before, after = (moisture_value(resting.history(), at(hour)).central for hour in (20.0, 23.0))
    course = [moisture_value(steep((5.9, 25.0)).history(), at(hour)).central for hour in np.arange(6.0, 40.0, 0.5)]
    begins = next(place for place, moisture in enumerate(course) if moisture >= before)
    assert after - before > 1.15 * (course[begins + 6] - before)
