"""Forecasts of the kiln: both regimes, equilibrium, the weight to stop at, and the break point."""

import math
from datetime import timedelta

import numpy as np
import pytest

from app.judgement.forecasts.air import air_of
from app.judgement.forecasts.bed import grain_of, law_of, moisture_db
from app.judgement.forecasts.forecast import evaluate, fit, moisture_value, time_to_dry
from app.judgement.forecasts.moisture import fitted_curve, samples
from app.science.drying import drying_time_h, equilibrium_moisture_wb, moisture_after_db
from app.science.moisture import gross_to_stop_at_kg
from tests.judgement.story import Story, at

HOUR = timedelta(hours=1)
GREEN_WB = 0.43
GREEN_DB = GREEN_WB / (1.0 - GREEN_WB)
RATE, FALLING, DRIEST_DB = 0.06, 0.3, 0.04


def two_regimes(hours: float) -> float:
    """The bed of the drying chapter: 0.06 kg/kg per h, then 0.3 per h towards 4 % on the dry basis."""
    return float(moisture_after_db(hours, GREEN_DB, RATE, FALLING, DRIEST_DB))


def kiln(*weighed_h: float, air_c: float = 60.0, programme: str | None = "barley_pale", trays: int = 1) -> Story:
    """Loaded at hour 160, trays of 2 kg on 1.2 kg, weighed so many hours later."""
    story = Story(programme)
    story.charge(50.0, 0.12, -0.5)
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    story.say(159.8, "moisture_test", {"value": GREEN_WB}, method="oven_two_stage")
    story.say(160.0, "loaded")
    story.say(160.0, "heat_on")
    for hour in np.arange(0.1, max((0.0, *weighed_h)) + 0.2, 1.0):
        story.say(160.0 + float(hour), "air_on_temperature", {"value": air_c})
    for number in range(1, trays + 1):
        weigh(story, 160.05, 2.0, number)
        for hour in weighed_h:
            # Each further tray lags by an eighth.
            moisture = two_regimes(hour * (1.0 - 0.125 * (number - 1)))
            weigh(story, 160.0 + hour, 2.0 * (1.0 + moisture) / (1.0 + GREEN_DB), number)
    return story


def weigh(story: Story, hour: float, net_kg: float, tray: int) -> None:
    values = {"vessel": f"tray {tray}", "gross_kg": net_kg + 1.2, "tare_kg": 1.2, "net_kg": net_kg}
    story.say(hour, "tray", values)


def hours_to(target_wb: float) -> float:
    return float(drying_time_h(target_wb / (1.0 - target_wb), GREEN_DB, RATE, FALLING, DRIEST_DB))


def test_weighings_of_both_regimes_are_carried_on_to_the_target():
    found = time_to_dry(kiln(2, 4, 6, 8, 10, 12, programme=None).history(), 0.08, at(172.1))
    assert (found.central - at(160.0)) / HOUR == pytest.approx(hours_to(0.08), abs=1.5)
    assert found.low < at(160.0 + hours_to(0.08)) < found.high


def test_the_interval_narrows_with_every_weighing():
    spans = []
    for hours in ((2,), (2, 4, 6), (2, 4, 6, 8, 10)):
        found = time_to_dry(kiln(*hours, programme=None).history(), 0.12, at(160.2 + hours[-1]))
        spans.append((found.high - found.low) / HOUR)
    assert spans == sorted(spans, reverse=True)
    assert spans[-1] < spans[0] / 2


def test_the_straight_part_is_not_taken_for_a_falling_rate():
    # After two hours a falling rate would have the rest of a first half gone in about as long as it took so far.
    found = moisture_value(kiln(2, 4, programme=None).history(), at(167.0))
    assert found.low <= two_regimes(7.0) / (1.0 + two_regimes(7.0)) <= found.high


def test_before_any_tray_is_weighed_the_plan_tells_the_hours_and_the_interval_is_wide():
    story = kiln(programme="barley_pale")
    found = time_to_dry(story.history(), 0.10, at(160.2))
    assert 5.0 < (found.central - at(160.0)) / HOUR < 24.0
    assert found.high is None or (found.high - found.low) / HOUR > 4.0


def test_grain_never_gets_drier_than_its_air():
    history = kiln(2, 4, 6, 8, 10, 12, 16, 20).history()
    drying = fit(history).drying
    assert drying is not None
    end = drying.equilibrium_wb()
    for hour in (181.0, 200.0, 240.0):
        found = moisture_value(history, at(hour))
        assert found.central >= end - 1e-9
        assert found.low >= end - 0.0125


def test_a_target_below_equilibrium_is_never_reached_and_says_so():
    story = kiln(2, 4, 6, air_c=83.0)
    story.say(160.3, "humidity", {"value": 0.45}, place="below the trays")
    found = time_to_dry(story.history(), 0.045, at(166.5))
    assert (found.low, found.central, found.high) == (None, None, None)
    assert "never gets drier" in found.reason


def test_equilibrium_is_that_of_malt_in_air_whose_humidity_was_measured():
    story = kiln(air_c=83.0)
    story.say(161.0, "humidity", {"value": 0.30}, place="below the trays")
    kiln_forecast = evaluate(fit(story.history()), at(161.2)).kiln
    assert kiln_forecast is not None
    # López et al. 1997 through the drying chapter.
    assert kiln_forecast.equilibrium.moisture_wb == pytest.approx(
        float(equilibrium_moisture_wb("malt", 83.0, 0.30)), abs=1e-3
    )
    assert kiln_forecast.equilibrium.half_width == 0.01


def test_humidity_above_the_trays_is_not_that_of_the_air_below_them():
    dry, damp = kiln(2), kiln(2)
    damp.say(161.0, "humidity", {"value": 0.85}, place="above the trays")
    ends = []
    for story in (dry, damp):
        drying = fit(story.history()).drying
        assert drying is not None
        ends.append(drying.equilibrium_wb())
    assert ends[0] == ends[1]


def test_a_target_that_was_passed_gives_the_time_at_which_it_was():
    found = time_to_dry(kiln(2, 4, 6, 8, 10, 12).history(), 0.25, at(172.1))
    assert found.is_past(at(172.1))
    assert (found.central - at(160.0)) / HOUR == pytest.approx(hours_to(0.25), abs=0.5)


def test_hotter_air_from_now_on_is_sooner():
    history = kiln(2, 4, 6, 8, 10).history()
    as_it_is, hotter = (time_to_dry(history, 0.06, at(170.2), air_on_c=celsius).central for celsius in (60.0, 80.0))
    assert hotter < as_it_is


def test_hotter_air_that_was_logged_is_carried_by_arrhenius():
    # O'Callaghan et al. 1971, read at second hand: from 50 to 65 °C the rate grows 1.84-fold.
    cool, hot = (air_of(0.0, celsius, (15.0, 0.7)) for celsius in (50.0, 65.0))
    assert hot.falling / cool.falling == pytest.approx(np.exp(4426 * (1 / 323 - 1 / 338)), rel=1e-6)
    assert hot.constant > cool.constant


def test_without_a_drag_the_bed_is_that_of_the_drying_chapter():
    air = air_of(0.0, 60.0, (15.0, 0.7))
    parameters = np.array([np.log(0.05), np.log(0.2), 0.0, 0.0, 0.75])
    law = law_of(air, grain_of(parameters))
    hours = np.linspace(0.0, 30.0, 40)
    chapter = moisture_after_db(hours, 0.75, law.constant, law.falling, law.equilibrium)
    assert moisture_db((air,), hours, parameters) == pytest.approx(np.asarray(chapter), abs=1e-3)


def test_a_piece_of_the_same_air_changes_nothing():
    whole = (air_of(0.0, 60.0, (15.0, 0.7)),)
    cut = (*whole, air_of(3.0, 60.0, (15.0, 0.7)), air_of(9.0, 60.0, (15.0, 0.7)))
    parameters = np.array([np.log(0.05), np.log(0.2), 0.4, 0.0, 0.75])
    hours = np.linspace(0.0, 30.0, 40)
    assert moisture_db(cut, hours, parameters) == pytest.approx(moisture_db(whole, hours, parameters), abs=1e-12)


def test_the_weight_to_stop_at_is_that_of_the_moisture_chapter():
    kiln_forecast = evaluate(fit(kiln().history()), at(160.3)).kiln
    assert kiln_forecast is not None
    (stop,) = kiln_forecast.stop_at
    assert stop.gross_kg == pytest.approx(
        float(gross_to_stop_at_kg(1.2, 2.0, GREEN_WB, kiln_forecast.target_wb)), abs=0.003
    )
    assert 0.0 < stop.half_width_kg < 0.05
    assert stop.tray == "tray 1"


def test_water_still_to_go_is_that_of_the_charge():
    kiln_forecast = evaluate(fit(kiln().history()), at(160.1)).kiln
    assert kiln_forecast is not None
    assert kiln_forecast.work is not None
    # 44 kg of dry matter, less about 6 % by steep and breath, from 43 % to the target of about 4.5 %.
    target = kiln_forecast.target_wb
    assert kiln_forecast.work.water_kg == pytest.approx(41.4 * (GREEN_DB - target / (1 - target)), rel=0.06)
    # 15 °C, 70 % heated to 60 °C: somewhat less heat and air per kg than the 3.32 MJ and 76.6 m³ at 55 °C.
    assert 3.0 < kiln_forecast.work.heat_mj / kiln_forecast.work.water_kg < 3.4
    assert 60.0 < kiln_forecast.work.air_m3 / kiln_forecast.work.water_kg < 77.0


def test_the_break_point_shows_in_the_rate_of_a_tray():
    kiln_forecast = evaluate(fit(kiln(2, 4, 6, 8, 10, 12, 14, 16).history()), at(176.1)).kiln
    assert kiln_forecast is not None
    broke = kiln_forecast.broke
    assert broke is not None
    assert broke.basis == "tray"
    # By the chapter's law the rate falls from 8.6 h on, and is down to half 2.3 h later.
    assert 168.0 <= (broke.at - at(0.0)) / HOUR <= 172.0


def test_the_break_point_shows_in_the_air_that_leaves_the_bed():
    story = kiln(2, programme=None)
    for hour, off_c in ((1.2, 29.0), (2.0, 29.5), (3.0, 30.0), (5.0, 31.0), (7.0, 40.0), (8.0, 49.0), (9.0, 52.0)):
        story.say(160.0 + hour, "air_off_temperature", {"value": off_c})
        story.say(160.0 + hour, "air_on_temperature", {"value": 60.0})
    broke = fit(story.history()).broke
    assert broke is not None
    assert broke.basis == "air_off"
    assert broke.at == at(168.0)


def test_no_break_point_is_seen_while_the_rate_is_steady():
    assert fit(kiln(2, 4, 6).history()).broke is None


def test_it_is_dry_when_the_wettest_tray_is():
    one, three = kiln(2, 4, 6, 8, 10), kiln(2, 4, 6, 8, 10, trays=3)
    soon, late = (time_to_dry(each.history(), 0.10, at(170.2)).central for each in (one, three))
    assert late > soon
    forecast = evaluate(fit(three.history()), at(170.2)).kiln
    assert forecast is not None
    assert forecast.wettest == "tray 3"


def test_off_the_kiln_there_is_nothing_to_dry():
    story = Story()
    story.charge(50.0, 0.12, -0.5)
    story.say(0.0, "steep_on")
    found = time_to_dry(story.history(), 0.045, at(5.0))
    assert found.central is None
    assert "kiln" in found.reason


def test_once_the_heat_is_off_it_dries_no_further():
    story = kiln(2, 4, 6)
    story.say(167.0, "heat_off")
    found = time_to_dry(story.history(), 0.05, at(170.0))
    assert found.central is None
    assert "off" in found.reason


def test_a_tray_first_weighed_in_mid_drying_is_told_the_weight_of_grain_as_dry_as_it_was_then():
    story, first_wb = kiln(9.5, trays=0), two_regimes(6.0) / (1.0 + two_regimes(6.0))
    for hour in (6.0, 8.0, 9.5):
        weigh(story, 160.0 + hour, 2.0 * (1.0 + two_regimes(hour)) / (1.0 + two_regimes(6.0)), 1)
    found = evaluate(fit(story.history()), at(169.6)).kiln
    (stop,) = found.stop_at
    # By hand: the tray holds 2 kg of grain at the moisture of the sixth hour, less its water, and its own 1.2 kg.
    by_hand = 1.2 + 2.0 * (1.0 - first_wb) / (1.0 - found.target_wb)
    assert stop.gross_kg == pytest.approx(by_hand, abs=stop.half_width_kg)
    assert stop.half_width_kg < 0.062


def deep_bed(until_h: float, depth_m: float = 0.3, **read: float) -> Story:
    """No tray, and a bed whose air leaves full at 25 °C until 0.25 kg/kg, and then the hotter the slower it dries."""
    story = kiln(until_h, air_c=60.0, trays=0)
    story.say(160.0, "bed_depth", {"value": depth_m})
    for hour in np.arange(1.5, until_h + 0.1, 1.0):
        share = min(1.0, FALLING * (two_regimes(float(hour)) - DRIEST_DB) / RATE)
        off_c = read.get("off_c", 60.0 - share * 35.0)
        story.say(160.0 + float(hour) + 0.1, "air_off_temperature", {"value": off_c})
    return story


@pytest.mark.parametrize("hour", [8.6, 9.6, 10.6])
def test_the_air_that_leaves_a_deep_bed_tells_how_far_it_has_dried_where_no_tray_was_weighed(hour):
    true_wb = two_regimes(hour) / (1.0 + two_regimes(hour))
    blind = moisture_value(kiln(hour, trays=0).history(), at(160.0 + hour))
    seen = moisture_value(deep_bed(hour).history(), at(160.0 + hour))
    assert seen.low <= true_wb <= seen.high
    assert abs(seen.central - true_wb) < 0.5 * abs(blind.central - true_wb)


def test_a_bed_whose_air_still_leaves_full_is_wetter_than_one_whose_air_no_longer_does():
    full = moisture_value(deep_bed(12.6, off_c=25.0).history(), at(172.6))
    broken = moisture_value(deep_bed(12.6).history(), at(172.6))
    assert full.central > broken.central + 0.05


def test_the_air_off_of_a_tray_or_of_a_bed_that_was_never_full_tells_nothing():
    blind = moisture_value(kiln(12.6, trays=0).history(), at(172.6))
    for story in (deep_bed(12.6, depth_m=0.03), deep_bed(12.6, off_c=50.0)):
        assert fit(story.history()).drying.rates == ()
        assert moisture_value(story.history(), at(172.6)).central == pytest.approx(blind.central)


@pytest.mark.parametrize("first_h", [0.02, 0.2, 0.4, 0.6, 1.0])
def test_the_curve_passes_through_what_is_said_of_its_trays_whenever_the_first_was_weighed(first_h):
    story = kiln(programme="barley_pale", trays=0)
    for hour in (first_h, 2.0, 4.0, 6.0, 8.0, 10.0):
        # A kiln and its bed take half an hour to warm.
        weigh(story, 160.0 + hour, 2.0 * (1.0 + two_regimes(max(hour - 0.5, 0.0))) / (1.0 + GREEN_DB), 1)
    history = story.history()
    said = [sample for sample in samples(history) if sample.basis == "tray"]
    assert len(said) == 5
    for sample in said:
        # Two curves fit nearly alike where the first was weighed at an hour: both are within a tray's own sd.
        assert fitted_curve(history, [sample.at])[0][0] == pytest.approx(sample.moisture_wb, abs=min(0.0045, sample.sd))


def test_a_tray_weighed_in_steps_of_fifty_grams_is_no_surer_than_that_scale_read_twice():
    """Two decimals were typed, and every weight is a multiple of five of the last one."""
    story = kiln(trays=0)
    for hour, gross_kg in ((0.1, 3.2), (2.0, 2.95), (4.0, 2.75), (6.0, 2.6), (8.0, 2.45), (10.0, 2.35)):
        values = {"vessel": "tray 1", "gross_kg": gross_kg, "tare_kg": 1.15, "net_kg": gross_kg - 1.15}
        story.say(160.0 + hour, "tray", values, typed={"gross": f"{gross_kg:.2f}"})
    last = [sample for sample in samples(story.history()) if sample.basis == "tray"][-1]
    # By hand: half a step for gross and for tare, on what is dry of 2.05 kg at 44 %.
    by_scale = 0.5 * 0.05 * math.sqrt(2.0) / (2.05 * 0.56) * (1.0 - last.moisture_wb) ** 2
    assert last.sd > by_scale
