"""The kiln card's values: ceiling, stop weights, equilibrium, wettest and hottest, and what is missing."""

import math
from datetime import timedelta

import pytest

from app.judgement.flags import evaluate
from app.judgement.forecasts.moisture import edge_wb, judged_wb, moisture_at
from app.judgement.history.kiln_runs import fired_at
from app.judgement.history.stages import all_stages
from app.judgement.steps.next_steps import next_steps
from app.judgement.watch.kiln_card import KilnCard, kiln_card
from app.science.humid_air import saturation_pressure_pa
from tests.judgement.story import Story, at

GREEN_WB = 0.43
TARE_KG, LOADED_KG = 1.2, 2.0


def loaded(green_wb: float | None = GREEN_WB, programme: str | None = "barley_pale", *, heat: bool = True) -> Story:
    """30 kg of barley at 12 %, on the kiln at hour 160; green_wb as an oven told it just before."""
    story = Story(programme)
    story.charge(30.0, 0.12, -0.5)
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    if green_wb is not None:
        story.say(159.9, "moisture_test", {"value": green_wb}, method="oven_two_stage")
    story.say(160.0, "loaded")
    if heat:
        story.say(160.0, "heat_on")
    return story


def weigh(story: Story, hour: float, net_kg: float, tray: str = "tray 1") -> None:
    values = {"vessel": tray, "gross_kg": net_kg + TARE_KG, "tare_kg": TARE_KG, "net_kg": net_kg}
    story.say(hour, "tray", values)


def net_at(moisture_wb: float) -> float:
    """By hand: the tray's dry matter stays what it was."""
    return LOADED_KG * (1.0 - GREEN_WB) / (1.0 - moisture_wb)


def drying(*weighed: tuple[float, float]) -> Story:
    """A tray of 2 kg, at each hour after loading down to a moisture."""
    story = loaded()
    for hour in range(10):
        story.say(160.2 + hour, "air_on_temperature", {"value": 60.0})
    weigh(story, 160.05, LOADED_KG)
    for hour, moisture_wb in weighed:
        weigh(story, 160.0 + hour, net_at(moisture_wb))
    return story


def card_at(story: Story, hour: float) -> KilnCard:
    found = kiln_card(story.history(), at(hour))
    assert found is not None
    return found


def gaps(story: Story, hour: float) -> set[str]:
    return {gap.key for gap in card_at(story, hour).gaps}


@pytest.mark.parametrize("hour", [10.0, 100.0, 159.9])
def test_there_is_no_card_before_the_kiln(hour: float) -> None:
    assert kiln_card(loaded().history(), at(hour)) is None


def test_there_is_no_card_once_malt_is_cold_or_finished() -> None:
    story = drying((4, 0.2), (8, 0.05))
    story.say(169.3, "heat_off")
    assert kiln_card(story.history(), at(169.5)) is None
    story.say(169.6, "grain_temperature", {"value": 70.0})
    assert card_at(story, 169.7).forecast is None, "off the heat nothing dries as it did"
    assert card_at(story, 169.7).gaps == (), "nor is anything asked for the sake of its ceiling"
    story.say(170.5, "grain_temperature", {"value": 24.0})
    assert kiln_card(story.history(), at(170.6)) is None
    story.say(171.0, "finished")
    assert kiln_card(story.history(), at(171.1)) is None


def test_a_batch_without_programme_has_no_card() -> None:
    assert kiln_card(loaded(programme=None).history(), at(161.0)) is None


def test_a_roast_has_no_card_for_nothing_bounds_its_heat() -> None:
    assert kiln_card(loaded(programme="roasted").history(), at(161.0)) is None


@pytest.mark.parametrize(("programme", "hot_c", "too_hot_c"), [("barley_dark", 62.0, 75.0), ("caramel", 82.0, 95.0)])
def test_a_malt_made_for_colour_has_a_ceiling_too(programme: str, hot_c: float, too_hot_c: float) -> None:
    def severities(grain_c: float) -> list[str]:
        story = loaded(programme=programme)
        for hour in (160.5, 161.0):
            story.say(hour, "grain_temperature", {"value": grain_c})
        card = card_at(story, 161.1)
        assert card.has_ceiling
        assert card.forecast is not None
        return [flag.severity for flag in evaluate(story.history(), at(161.1)) if flag.rule == "over_ceiling"]

    assert severities(hot_c) == []
    assert severities(too_hot_c) == ["act"]


def test_a_stewing_has_a_floor_and_no_ceiling() -> None:
    story = Story("caramel")
    story.charge(30.0, 0.12, -0.5)
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    story.say(160.0, "stew_on")
    card = card_at(story, 161.0)
    assert card.floor is not None
    assert card.floor.low_caution == 55.0
    assert (card.has_ceiling, card.forecast) == (False, None)


@pytest.mark.parametrize(
    ("moisture_wb", "grain_c", "next_c"),
    [(0.43, 50.0, 62.0), (0.20, 62.0, 76.0), (0.10, 76.0, 86.0), (0.05, 86.0, None)],
)
def test_the_ceiling_rises_step_by_step_as_it_dries(moisture_wb: float, grain_c: float, next_c: float | None) -> None:
    # The pale programme: 50 °C above 25 %, 62 to 12 %, 76 to 8 %, 86 below.
    card = card_at(loaded(moisture_wb), 160.0)
    assert card.ceiling is not None
    assert card.ceiling.step.grain_c == grain_c
    following = card.ceiling.following
    assert (following.grain_c if following else None) == next_c


def test_the_ceiling_is_that_of_the_middle_of_a_moisture_that_is_known() -> None:
    card = card_at(loaded(0.248), 160.0)
    assert card.ceiling is not None
    known = card.ceiling.moisture
    assert known.moisture_wb < 0.25 < known.upper
    assert card.ceiling.step.grain_c == 62.0
    assert not card.ceiling.is_next_likely


def test_the_ceiling_of_a_moisture_that_is_hardly_known_is_that_of_its_edge_and_a_weighing_may_allow_more() -> None:
    card = card_at(drying(), 167.5)
    hardly = card.ceiling.moisture
    assert not hardly.is_known
    assert hardly.moisture_wb < 0.12 < edge_wb(hardly) < 0.25
    assert card.ceiling.step.grain_c == 62.0
    assert card.ceiling.is_next_likely


def test_the_ceiling_never_rises_when_less_is_known_of_the_moisture() -> None:
    sure, unsure = (card_at(each, 166.0).ceiling for each in (drying((5.9, 0.14)), drying()))
    assert unsure.moisture.sd > sure.moisture.sd
    assert unsure.step.grain_c <= sure.step.grain_c


def test_where_nothing_ever_told_the_moisture_the_ceiling_is_that_of_wet_grain() -> None:
    story = Story("barley_pale")
    story.say(160.0, "loaded")
    card = card_at(story, 161.0)
    assert card.ceiling.step.grain_c == 50.0
    assert card.ceiling.told is None
    assert {"moisture", "grain"} <= {gap.key for gap in card.gaps}


def test_stop_at_gross_is_the_dry_matter_of_the_tray_its_water_and_its_tare() -> None:
    card = card_at(drying((3, 0.33), (6, 0.22)), 166.1)
    stop = card.first_stop
    assert stop.gross_kg == pytest.approx(TARE_KG + net_at(card.forecast.target_wb), abs=stop.half_width_kg)
    assert stop.half_width_kg < 0.03
    assert stop.still_to_go_kg == pytest.approx(TARE_KG + net_at(0.22) - stop.gross_kg)


def test_water_still_to_go_is_that_of_the_dry_charge() -> None:
    card = card_at(drying((3, 0.33), (6, 0.22)), 166.0)
    # By hand: 26.4 kg of dry barley, less what steep and growth took (at most a sixth), from 22 % to the target.
    target = card.forecast.target_wb
    most = 26.4 * (0.22 / 0.78 - target / (1.0 - target))
    assert 5.0 / 6.0 * most < card.forecast.work.water_kg < 1.02 * most
    # Latent heat of water near 50 °C is 2.38 MJ/kg: heating the air takes more than that, and not three times as much.
    assert 2.38 < card.forecast.work.heat_mj / card.forecast.work.water_kg < 7.0


def test_it_never_gets_drier_than_the_equilibrium_nor_is_foreseen_so() -> None:
    card = card_at(drying((3, 0.33), (6, 0.22)), 166.0)
    least = card.forecast.equilibrium
    # The last air of the plan is 83 °C. Its humidity by hand: what 15 °C and 70 % hold, heated so far.
    humidity = 0.70 * saturation_pressure_pa(15.0) / saturation_pressure_pa(83.0)
    assert least.relative_humidity == pytest.approx(humidity, abs=0.002)
    # GAB for malt by López et al. 1997, put in by hand, and the moisture looked for at which it holds.
    kelvin = 83.0 + 273.15
    a, b, c = (
        0.01183 * math.exp(469.017 / kelvin), math.exp(943.854 / kelvin), math.exp(-28.639 / kelvin),
    )  # fmt: skip
    dry_basis = a * b * c * humidity / ((1.0 - c * humidity) * (1.0 + (b - 1.0) * c * humidity))
    assert least.moisture_wb == pytest.approx(dry_basis / (1.0 + dry_basis), abs=least.half_width)
    far = kiln_card(drying((3, 0.33), (6, 0.22)).history(), at(260.0))
    assert far.ceiling.moisture.moisture_wb >= far.forecast.equilibrium.moisture_wb - 1e-9


def test_in_air_that_is_too_damp_it_is_never_dry_enough() -> None:
    story = drying((3, 0.38))
    story.say(163.1, "humidity", {"value": 0.80}, place="below the bed")
    forecast = card_at(story, 163.2).forecast
    assert forecast.equilibrium.moisture_wb > forecast.target_wb
    assert not forecast.dry.is_reached
    assert "never gets drier" in forecast.dry.reason


def test_the_wettest_tray_and_the_hottest_place_are_named() -> None:
    story = drying((4, 0.25))
    weigh(story, 160.06, LOADED_KG, "tray 2")
    weigh(story, 164.01, net_at(0.32), "tray 2")
    for place, value in (("top", 41.0), ("bottom", 48.0)):
        story.say(164.1, "grain_temperature", {"value": value}, place=place)
    card = card_at(story, 164.2)
    assert card.wettest.tray == "tray 2"
    assert card.wettest.moisture_wb == pytest.approx(0.32, abs=0.03)
    assert card.first_stop.tray == "tray 2"
    assert [each.tray for each in card.other_stops] == ["tray 1"]
    assert (card.hottest.place, card.hottest.value_c, card.hottest.is_over) == ("bottom", 48.0, False)


def test_the_ceiling_is_that_of_the_wettest_of_several_trays() -> None:
    story = drying((4, 0.22))
    weigh(story, 160.06, LOADED_KG, "tray 2")
    weigh(story, 164.01, net_at(0.27), "tray 2")
    told = moisture_at(story.history(), at(164.2))
    assert told.is_known
    assert told.moisture_wb < 0.25 < told.wettest_wb == pytest.approx(0.27, abs=0.015)
    assert judged_wb(told) == told.wettest_wb
    assert card_at(story, 164.2).ceiling.step.grain_c == card_at(loaded(0.27), 160.0).ceiling.step.grain_c
    assert card_at(story, 164.2).ceiling.step.grain_c < card_at(loaded(0.22), 160.0).ceiling.step.grain_c


def test_a_tray_alone_is_not_called_the_wettest() -> None:
    assert card_at(drying((4, 0.25)), 164.2).wettest is None


def test_a_place_over_the_ceiling_is_said_with_its_hours() -> None:
    story = loaded()
    for hour, value in ((161.0, 50.0), (161.5, 54.0), (162.0, 50.0), (163.0, 51.0)):
        story.say(hour, "grain_temperature", {"value": value}, place="bottom")
    card = card_at(story, 163.0)
    # By hand: a triangle of an hour and 4 °C, and a rise of an hour to 1 °C.
    assert card.exposure.hours == pytest.approx(2.0)
    assert card.exposure.degree_hours == pytest.approx(0.5 * 4.0 + 0.5 * 1.0)
    assert card.hottest.is_over


def test_an_old_reading_of_the_grain_is_not_the_hottest_place_now() -> None:
    story = loaded()
    story.say(161.0, "grain_temperature", {"value": 45.0})
    assert card_at(story, 164.0).hottest is not None
    assert card_at(story, 164.1).hottest is None
    assert "grain" in gaps(story, 164.1)


def test_heat_that_looks_like_another_unit_is_the_hottest_place_all_the_same() -> None:
    # 114.8 is 46 °C in °F; but if it is no slip, the kiln is about to burn.
    story = loaded()
    for hour in (161.0, 161.5, 162.0):
        story.say(hour, "grain_temperature", {"value": 45.0}, place="top")
    story.say(162.2, "grain_temperature", {"value": 114.8}, place="top")
    card = card_at(story, 162.3)
    assert card.hottest.value_c == 114.8
    assert card.hottest.is_over


def test_what_is_said_for_later_has_no_say_yet() -> None:
    story = drying((3, 0.33))
    before = card_at(story, 163.5)
    weigh(story, 166.0, net_at(0.10))
    story.say(166.0, "grain_temperature", {"value": 80.0})
    after = card_at(story, 163.5)
    assert after.ceiling.moisture.moisture_wb == before.ceiling.moisture.moisture_wb
    assert after.first_stop == before.first_stop


def test_each_missing_input_is_named_until_it_is_recorded() -> None:
    story = loaded()
    assert gaps(story, 161.0) == {"grain", "moisture", "air", "humidity"}
    weigh(story, 160.05, LOADED_KG)
    story.say(160.2, "air_on_temperature", {"value": 55.0})
    story.say(160.3, "grain_temperature", {"value": 30.0})
    assert gaps(story, 161.0) == {"humidity"}
    story.say(160.4, "humidity", {"value": 0.6}, place="room")
    assert gaps(story, 161.0) == set()


def test_humidity_below_the_grain_is_the_kilns_own_and_that_of_the_room_is_not() -> None:
    for place, is_kilns_own in (("room", False), ("below the bed", True)):
        story = drying()
        story.say(160.4, "humidity", {"value": 0.12 if is_kilns_own else 0.6}, place=place)
        air = card_at(story, 161.0).air
        assert air.is_humidity_measured == is_kilns_own
        assert air.is_room_humidity_read == (not is_kilns_own)
        assert not air.is_room_warmth_read


def test_the_break_point_is_told_by_a_tray_without_a_probe() -> None:
    story = drying((2, 0.38), (4, 0.315), (6, 0.23), (8, 0.205))
    card = card_at(story, 168.1)
    assert not card.has_probe
    assert card.forecast.broke.basis == "tray"
    assert card.forecast.broke.at == at(166.0)


def test_the_break_point_is_told_by_the_probe_without_a_tray() -> None:
    story = loaded()
    for step in range(16):
        hour = 160.2 + step / 2
        story.say(hour, "air_on_temperature", {"value": 60.0})
        # The air loses 30 °C in the wet bed, and from the sixth hour on hardly any.
        story.say(hour + 0.05, "air_off_temperature", {"value": 30.0 if hour < 166.0 else 52.0}, place="air-off")
    card = card_at(story, 168.0)
    assert card.has_probe
    assert card.forecast.broke.basis == "air_off"
    assert abs(card.forecast.broke.at - at(166.2)) <= timedelta(minutes=31)


def test_before_the_break_point_it_is_foreseen_and_nothing_is_claimed() -> None:
    card = card_at(drying((1, 0.41)), 161.1)
    assert card.forecast.broke is None
    assert card.forecast.break_due.central > at(161.1)
    assert GREEN_WB > card.forecast.break_due.target > card.forecast.target_wb


def test_grain_that_was_loaded_and_not_heated_is_told_apart() -> None:
    assert not card_at(loaded(heat=False), 160.5).is_fired
    assert card_at(loaded(), 160.5).is_fired


# --- nothing measured ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("heat", [True, False])
@pytest.mark.parametrize("hour", [161.0, 175.0, 198.0, 240.0])
def test_what_nobody_measured_since_it_was_loaded_bears_no_more_than_wet_grain(hour: float, heat: bool) -> None:
    card = card_at(loaded(heat=heat), hour)
    assert card.ceiling.step.grain_c == 50.0
    assert not card.ceiling.is_next_likely
    assert "moisture" in {gap.key for gap in card.gaps}
    assert card.dry.state == "open"
    if heat:
        assert card.ceiling.told is None


def test_grain_that_was_loaded_and_never_heated_is_as_moist_as_it_was() -> None:
    known = moisture_at(loaded(heat=False).history(), at(200.0))
    assert known.moisture_wb == pytest.approx(GREEN_WB, abs=0.02)
    assert card_at(loaded(heat=False), 200.0).forecast.dry.central is None


def test_air_that_was_read_tells_how_hot_it_may_be_and_never_that_it_is_dry() -> None:
    story = loaded()
    for hour in range(40):
        story.say(160.2 + hour, "air_on_temperature", {"value": 60.0})
    card = card_at(story, 199.9)
    assert card.ceiling.told is not None
    assert card.ceiling.step.grain_c > 50.0
    assert card.ceiling.moisture.upper > card.ceiling.step.moisture_above_wb
    assert card.forecast.dry.is_past(at(199.9))
    assert card.dry.state == "open"
    kinds = [each.kind for each in next_steps(story.history(), at(199.9))]
    assert "tray" in kinds
    assert "heat_off" not in kinds


def test_air_that_was_read_once_tells_nothing_a_night_later() -> None:
    story = loaded()
    story.say(160.5, "air_on_temperature", {"value": 60.0})
    assert card_at(story, 164.0).ceiling.told is not None
    late = card_at(story, 190.0)
    assert late.ceiling.told is None
    assert late.ceiling.step.grain_c == 50.0
    assert "heat_off" not in [each.kind for each in next_steps(story.history(), at(190.0))]


def test_only_a_weighing_or_a_test_says_that_it_is_dry_enough() -> None:
    story = drying((6, 0.22))
    assert card_at(story, 190.0).dry.state == "open", "foreseen, and no more"
    assert "heat_off" not in [each.kind for each in next_steps(story.history(), at(190.0))]
    weigh(story, 190.1, net_at(0.044))
    assert card_at(story, 190.2).dry.state == "dry"
    assert "heat_off" in [each.kind for each in next_steps(story.history(), at(190.2))]


def test_a_tray_that_was_loaded_at_hardly_known_moisture_is_only_perhaps_dry_until_its_malt_is_tested() -> None:
    story = loaded(green_wb=None)
    weigh(story, 160.05, LOADED_KG)
    green_wb = moisture_at(story.history(), at(160.05)).moisture_wb
    for hour, moisture_wb in ((165.0, 0.25), (170.0, 0.10), (176.0, 0.042)):
        weigh(story, hour, LOADED_KG * (1.0 - green_wb) / (1.0 - moisture_wb))
    assert card_at(story, 176.1).dry.state == "perhaps"
    kinds = [each.kind for each in next_steps(story.history(), at(176.1))]
    assert "moisture_test" in kinds
    assert "heat_off" not in kinds
    story.say(176.2, "moisture_test", {"value": 0.044}, method="oven_malt")
    assert card_at(story, 176.3).dry.state == "dry"
    assert "heat_off" in [each.kind for each in next_steps(story.history(), at(176.3))]


def test_what_is_foreseen_from_a_tray_is_no_surer_than_its_weighing_and_lifts_no_ceiling_of_its_own() -> None:
    story = loaded(green_wb=None)
    for hour in range(22):
        story.say(160.2 + hour, "air_on_temperature", {"value": 60.0 if hour < 10 else 75.0})
    for hour, net_kg in ((160.05, LOADED_KG), (165.0, 1.55), (170.0, 1.3), (176.0, 1.22)):
        weigh(story, hour, net_kg)
    weighed = moisture_at(story.history(), at(176.0))
    assert weighed.half_width > 0.05
    for hour in (176.4, 178.0, 180.0, 182.0, 186.0):
        later = moisture_at(story.history(), at(hour))
        assert later.half_width >= weighed.half_width - 1e-9
    story.say(182.1, "moisture_test", {"value": 0.045}, method="oven_malt")
    assert moisture_at(story.history(), at(184.0)).half_width < 0.02


def test_grain_of_unknown_moisture_over_the_ceiling_of_wet_grain_is_flagged() -> None:
    story = loaded()
    for hour in (190.0, 190.5, 191.0):
        story.say(hour, "grain_temperature", {"value": 60.0}, place="bottom")
    (flag,) = [each for each in evaluate(story.history(), at(191.0)) if each.rule == "over_ceiling"]
    assert "not known" in flag.meaning
    assert "weigh a tray" in flag.remedy


def test_air_too_hot_for_its_probe_is_no_cold_kiln() -> None:
    story = loaded()
    story.records = [each for each in story.records if each["kind"] != "heat_on"]
    story.say(161.0, "air_on_temperature", {}, quality="over_range")
    history = story.history()
    stage = all_stages(history)[-1]
    assert fired_at(history, stage, at(162.0)) == at(161.0)


@pytest.mark.parametrize("weighed", [((2, 0.36),), ((2, 0.36), (4, 0.28)), ((2, 0.36), (4, 0.28), (7, 0.14))])
def test_card_and_next_step_say_one_moment_for_dry_with_one_interval(weighed: tuple[tuple[float, float], ...]) -> None:
    story, hour = drying(*weighed), 160.1 + weighed[-1][0]
    forecast = card_at(story, hour).forecast
    assert forecast is not None
    off = next(step for step in next_steps(story.history(), at(hour)) if step.kind == "heat_off")
    assert forecast.dry.central is not None
    assert (off.due_at, off.earliest_at, off.latest_at) == (forecast.dry.central, forecast.dry.low, forecast.dry.high)


def test_while_a_kiln_is_caught_up_on_its_ceiling_is_that_of_wet_grain() -> None:
    story = loaded()
    weigh(story, 160.1, LOADED_KG)
    weigh(story, 168, net_at(0.10))
    for hour in (169, 190):
        card = kiln_card(story.history(), at(hour))
        assert card is not None
        assert card.ceiling is not None
        assert card.ceiling.told is not None
    story.records[-1]["written_at"] = at(190).isoformat()
    card = kiln_card(story.history(), at(190.1))
    assert card is not None
    assert card.ceiling is not None
    assert (card.ceiling.told, card.ceiling.place) == (None, 1)
    assert "moisture" in {gap.key for gap in card.gaps}
