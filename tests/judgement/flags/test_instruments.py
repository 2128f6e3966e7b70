"""Readings that physics forbids together, and the instrument to look at first."""

import pytest

from tests.judgement.flag_story import Story


def growing() -> Story:
    story = Story()
    story.grow(cast_hour=40)
    return story


def kilned(grain_c: float, *air: tuple[float, float]) -> Story:
    story = Story().kiln(moisture_wb=0.1)
    for hour, value in air:
        story.read(hour, "air_on_temperature", value, instrument="probe 2")
    story.read(164, "grain_temperature", grain_c, instrument="probe 1")
    return story


def test_grain_hotter_than_its_air_is_a_lie() -> None:
    assert kilned(63.0, (164, 60.0)).flags(164.1, "lying") == []
    flag = kilned(63.5, (164, 60.0)).flag(164.1, "lying")
    assert flag.severity == "notice"
    assert "probe 1 or probe 2" in flag.meaning
    assert flag.title.startswith("Grain at 63.5 °C (146.3 °F), hotter than its air of 60.0 °C (140.0 °F)")


def test_grain_stays_hot_after_the_air_was_turned_down() -> None:
    assert kilned(66.0, (163, 70.0), (164, 60.0)).flags(164.1, "lying") == []


def test_air_read_an_hour_before_forbids_nothing() -> None:
    assert kilned(66.0, (163, 60.0)).flags(164.1, "lying") == []


def test_a_calibrated_probe_is_trusted_before_one_that_is_not() -> None:
    story = kilned(66.0, (164, 60.0))
    story.tell(-50, "calibrated", {"amount": 0.0}, subject=("instrument", "probe 2"))
    assert "Look at probe 1 first" in story.flag(164.1, "lying").meaning


def test_two_thermometers_at_one_place_agree_within_two_degrees() -> None:
    for second, is_flagged in ((17.0, False), (17.1, True)):
        story = growing()
        story.read(44, "grain_temperature", 15.0, instrument="probe 1", place="top")
        story.read(44.1, "grain_temperature", second, instrument="probe 2", place="top")
        assert bool(story.flags(45, "lying")) == is_flagged


def test_two_places_may_well_differ() -> None:
    story = growing()
    story.read(44, "grain_temperature", 15.0, instrument="probe 1", place="top")
    story.read(44.1, "grain_temperature", 17.9, instrument="probe 2", place="bottom")
    assert story.flags(45, "lying") == []


@pytest.mark.parametrize(("second", "is_told"), [(13.5, False), (13.8, True)])
def test_the_water_of_one_tub_is_as_warm_everywhere(second: float, is_told: bool) -> None:
    story = Story().begin()
    story.read(1.0, "water_temperature", 12.0, instrument="probe 1")
    story.read(1.1, "water_temperature", second, instrument="probe 2")
    assert bool(story.flags(2, "lying")) is is_told


def test_a_calibration_makes_two_thermometers_agree() -> None:
    story = growing()
    story.read(44, "grain_temperature", 15.0, instrument="probe 1", place="top")
    story.read(44.1, "grain_temperature", 18.0, instrument="probe 2", place="top")
    assert len(story.flags(45, "lying")) == 1
    story.tell(43, "calibrated", {"amount": -3.0}, subject=("instrument", "probe 2"))
    assert story.flags(45, "lying") == []


def test_bag_and_oven_may_differ_within_their_doubts_and_not_beyond() -> None:
    for tested, is_flagged in ((0.445, False), (0.40, True)):
        story = growing()
        story.bag(44, 0.44)
        story.tell(44.5, "moisture_test", {"value": tested}, method="oven_two_stage")
        assert bool(story.flags(45, "lying")) == is_flagged


def test_on_the_kiln_an_hour_may_change_the_moisture() -> None:
    story = Story().kiln()
    story.tray(160.2, 10.0)
    story.tray(164, 7.5)
    story.tell(164.5, "moisture_test", {"value": 0.15}, method="oven_two_stage")
    assert story.flags(165, "lying") == []


def test_a_probe_that_never_moves_for_half_a_day_is_dead() -> None:
    for last, is_flagged in ((15.0, True), (15.1, False)):
        story = growing()
        for hour in (44, 47, 50, 53, 56):
            story.read(hour, "grain_temperature", 15.0, instrument="probe 1")
        story.read(59, "grain_temperature", last, instrument="probe 1")
        assert bool(story.flags(60, "lying")) == is_flagged


def test_of_three_thermometers_the_odd_one_is_named() -> None:
    story = growing()
    for probe, value in (("probe 1", 15.0), ("probe 2", 18.5), ("probe 3", 15.4)):
        story.read(44, "grain_temperature", value, instrument=probe, place="top")
    assert "Look at probe 2 first, since hour 44" in story.flag(45, "lying").meaning


def test_readings_of_other_places_between_them_hide_nothing() -> None:
    story = growing()
    story.read(44, "grain_temperature", 15.0, instrument="probe 1", place="top")
    story.read(44.05, "grain_temperature", 15.0, instrument="probe 1", place="bottom")
    story.read(44.1, "grain_temperature", 17.9, instrument="probe 2", place="top")
    assert len(story.flags(45, "lying")) == 1


def test_a_probe_that_stands_still_while_the_air_is_raised_is_dead() -> None:
    for last_c, is_flagged in ((62.0, True), (61.0, False)):
        story = Story().kiln(moisture_wb=0.2)
        for place in range(6):
            story.read(161 + place / 2, "grain_temperature", 45.0, instrument="probe 1")
        story.read(161, "air_on_temperature", 52.0, instrument="probe 2")
        story.read(163, "air_on_temperature", last_c, instrument="probe 2")
        assert bool(story.flags(164, "lying")) == is_flagged


def test_a_probe_that_goes_up_and_down_with_the_room_hangs_in_the_air() -> None:
    for off_c, is_flagged in ((0.2, True), (0.6, False)):
        story = growing()
        for hour, room_c in ((42, 9.0), (48, 12.5), (54, 13.0), (60, 9.5)):
            story.read(hour, "air_temperature", room_c, instrument="wall")
            story.read(hour + 0.1, "grain_temperature", room_c + off_c, instrument="probe 1")
        assert bool(story.flags(61, "lying")) == is_flagged


def test_grain_as_warm_as_a_room_that_stands_still_is_no_lie() -> None:
    story = growing()
    for hour, room_c in ((42, 14.0), (48, 14.2), (54, 14.6), (60, 14.1)):
        story.read(hour, "air_temperature", room_c, instrument="wall")
        story.read(hour + 0.1, "grain_temperature", room_c, instrument="probe 1")
    assert story.flags(61, "lying") == []
