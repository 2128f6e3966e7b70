"""Readings outside the programme's range, runs of them, stages that last too long, and the air in the room."""

import pytest

from app.judgement.flags import evaluate
from app.judgement.history.build import history_from_records
from app.judgement.programmes.programme import revise
from app.judgement.wording import Words
from tests.judgement.flag_story import Story, hour_of, moment


def growing(*readings: tuple[float, float]) -> Story:
    story = Story()
    story.grow()
    for hour, value in readings:
        story.grain(hour, value)
    return story


def test_readings_on_the_bounds_of_the_target_are_in_range() -> None:
    assert growing((41, 12.0), (44, 18.0)).flags(45, "out_of_limits") == []


@pytest.mark.parametrize(
    ("value", "severity"),
    [(18.1, "notice"), (20.0, "notice"), (20.1, "caution"), (25.1, "act"), (11.9, "notice"), (9.9, "caution")],
)
def test_severity_follows_the_band_that_the_reading_left(value: float, severity: str) -> None:
    flag = growing((43, 15.0), (44, value)).flag(45, "out_of_limits")
    assert flag.severity == severity
    assert flag.worst == value


def test_a_run_of_readings_is_one_flag_with_its_duration_and_its_worst() -> None:
    story = growing((41, 15.0), (44, 19.0), (47, 22.4), (50.5, 21.0), (53, 17.0), (56, 16.0))
    flag = story.flag(57, "out_of_limits")
    assert flag.severity == "caution"
    assert flag.worst == 22.4
    assert (hour_of(flag.starts_at), hour_of(flag.ends_at)) == (44, 53)
    assert len(flag.fact_ids) == 3
    assert "22.4 °C" in flag.title
    assert "3 readings over 6 h 30 min" in flag.title
    assert flag.episode_id == flag.fact_ids[0]


def test_flags_speak_in_the_readers_units() -> None:
    story = growing((41, 15.0), (44, 22.5))
    (flag,) = evaluate(story.history(), moment(45), Words("us"))
    assert "72.5 °F, above 68.0 °F" in flag.title
    assert "22.5 °C, above 20.0 °C" in flag.in_units("metric").title


def test_one_reading_is_told_with_its_hour_and_several_with_their_span() -> None:
    assert growing((44, 19.0)).flag(45, "out_of_limits").title.endswith("at hour 44")
    assert growing((44, 19.0), (46, 19.0)).flag(47, "out_of_limits").title.endswith("over 2 h, hours 44–46")


def test_a_good_reading_between_makes_two_flags() -> None:
    assert len(growing((44, 19.0), (47, 15.0), (50, 19.0)).flags(51, "out_of_limits")) == 2


def test_too_cold_after_too_warm_is_another_flag() -> None:
    flags = growing((44, 19.0), (47, 11.0)).flags(48, "out_of_limits")
    assert [hour_of(flag.ends_at) for flag in flags] == [47, None]


def test_each_place_has_its_own_run() -> None:
    story = growing()
    for hour in (44, 46):
        story.grain(hour, 19.0, "top")
        story.grain(hour + 0.1, 18.5, "bottom")
    flags = story.flags(47, "out_of_limits")
    assert {(flag.place, flag.worst) for flag in flags} == {("top", 19.0), ("bottom", 18.5)}


def test_the_run_goes_on_while_the_last_reading_is_out() -> None:
    assert growing((44, 19.0)).flag(60, "out_of_limits").ends_at is None


def test_the_run_ends_with_its_stage() -> None:
    story = growing((150, 19.0))
    story.tell(155, "loaded")
    flag = story.flag(156, "out_of_limits")
    assert hour_of(flag.ends_at) == 155


def test_the_highest_since_the_last_look_counts() -> None:
    story = growing((44, 15.0))
    story.tell(50, "grain_temperature", {"value": 16.0, "lowest": 14.0, "highest": 21.0})
    flag = story.flag(51, "out_of_limits")
    assert flag.worst == 21.0
    assert flag.severity == "caution"


def test_an_extreme_that_may_be_of_the_stage_before_does_not_count() -> None:
    story = growing()
    story.grain(39, 15.0)
    story.tell(41, "grain_temperature", {"value": 16.0, "lowest": 3.0, "highest": 21.0})
    assert story.flags(42, "out_of_limits") == []


def test_looked_all_well_is_no_reading() -> None:
    story = growing((44, 19.0))
    story.tell(46, "grain_temperature", quality="all_well")
    assert story.flag(47, "out_of_limits").ends_at is None


def test_water_is_judged_under_water_only() -> None:
    story = Story().begin()
    story.read(1, "water_temperature", 19.0)
    story.tell(6, "drained")
    story.read(7, "water_temperature", 19.0)
    flag = story.flag(8, "out_of_limits")
    assert len(flag.fact_ids) == 1


def test_air_on_too_hot_for_the_phase_is_a_notice_only() -> None:
    story = Story().kiln()
    story.tell(162, "moisture_test", {"value": 0.42}, method="oven_two_stage")
    story.read(162, "air_on_temperature", 75.0)
    flag = story.flag(163, "out_of_limits")
    assert flag.severity == "notice"
    assert "75.0 °C (167.0 °F)" in flag.title


def test_a_kiln_that_is_still_warming_up_is_not_too_cold() -> None:
    story = Story().kiln()
    story.read(160.5, "air_on_temperature", 35.0)
    assert story.flags(160.6, "out_of_limits") == []
    story.read(161.5, "air_on_temperature", 35.0)
    assert story.flag(162, "out_of_limits").worst == 35.0


def test_near_the_edge_of_two_phases_the_kinder_limit_holds() -> None:
    story = Story().kiln(moisture_wb=0.26)
    story.read(160.2, "air_on_temperature", 64.0)
    assert story.flags(160.5, "out_of_limits") == []
    # At 13 % it may be drying, with air from 50 °C, or already curing, from 60 °C.
    story = Story().kiln(moisture_wb=0.13)
    story.read(161.5, "air_on_temperature", 55.0)
    assert story.flags(161.6, "out_of_limits") == []


def test_a_roast_near_fire_is_flagged_by_the_grain() -> None:
    story = Story("roasted").declare().charge()
    story.tell(0, "heat_on")
    story.grain(1, 150.0)
    story.grain(2, 226.0)
    flag = story.flag(2.1, "out_of_limits")
    assert flag.severity == "caution"
    assert "fire" in flag.meaning
    assert "fire" not in growing((44, 26.0)).flag(45, "out_of_limits").meaning


def test_without_a_programme_nothing_is_out_of_limits() -> None:
    story = growing((44, 26.0))
    records = [{name: value for name, value in record.items() if name != "programme"} for record in story.all_records()]
    assert story.flags(45, "out_of_limits") != []
    flags = evaluate(history_from_records(records, {}), moment(45))
    assert [flag for flag in flags if flag.rule == "out_of_limits"] == []


def test_a_programme_change_judges_what_follows_by_the_new_limits() -> None:
    story = growing((44, 19.0))
    wider = revise(story.programme, {"limits/grain_temperature.germination/target/high": 20})
    story.tell(45, "programme_change", {"programme": wider.digest})
    story.grain(46, 19.0)
    known = {each.digest: each for each in (story.programme, wider)}
    flags = evaluate(history_from_records(story.all_records(), known), moment(47))
    out = [flag for flag in flags if flag.rule == "out_of_limits"]
    assert [hour_of(flag.ends_at) for flag in out] == [46]


@pytest.mark.parametrize(("hour", "severities"), [(25.9, []), (26.1, ["notice"]), (30.1, ["caution"]), (42.1, ["act"])])
def test_a_rest_that_goes_on_too_long_is_flagged(hour: float, severities: list[str]) -> None:
    story = Story().begin()
    story.tell(6, "drained")
    assert [flag.severity for flag in story.flags(hour, "stage_overdue")] == severities


def test_a_long_germination_is_flagged_from_the_day_it_became_too_long() -> None:
    story = Story()
    story.grow(cast_hour=40)
    assert story.flags(40 + 6 * 24, "stage_overdue") == []
    flag = story.flag(40 + 6 * 24 + 1, "stage_overdue")
    assert hour_of(flag.starts_at) == 40 + 6 * 24


@pytest.mark.parametrize(("ppm", "severity"), [(5000, None), (5100, "caution"), (15000, "caution"), (15100, "act")])
def test_carbon_dioxide_in_the_room(ppm: float, severity: str | None) -> None:
    story = growing()
    story.read(44, "co2_room", ppm)
    assert [flag.severity for flag in story.flags(45, "room_air")] == ([severity] if severity else [])


def test_the_room_is_aired_and_the_flag_ends() -> None:
    story = growing()
    for hour, ppm in ((44, 6000), (45, 8000), (46, 900)):
        story.read(hour, "co2_room", ppm)
    flag = story.flag(47, "room_air")
    assert (hour_of(flag.ends_at), flag.worst) == (46, 8000)
    assert flag.caution is not None


def test_carbon_dioxide_in_the_bed_is_another_quantity() -> None:
    story = growing()
    story.read(44, "co2_bed", 40_000)
    assert story.flags(45, "room_air") == []
