"""The kiln: the ceiling, the floor of a stewing, the break point, dry enough."""

import pytest

from app.judgement.flags import Flag
from app.judgement.forecasts.forecast import fit
from app.judgement.forecasts.moisture import moisture_at
from app.judgement.meaning.meaning import meaning
from app.judgement.steps.next_steps import next_steps
from app.judgement.wording import Words
from tests.judgement.flag_story import Story, hour_of, moment


def hot(*readings: tuple[float, float], moisture_wb: float = 0.44) -> Story:
    story = Story().kiln(moisture_wb=moisture_wb)
    for hour, value in readings:
        story.grain(hour, value)
    return story


def test_a_quarter_of_an_hour_over_the_ceiling_is_let_pass() -> None:
    # At 44 % the ceiling is 50 °C: the line from 48 to 52 and back is above it for the given minutes.
    assert hot((161, 48.0), (161.25, 52.0), (161.5, 48.0)).flags(162, "over_ceiling") == []
    assert len(hot((161, 48.0), (161.3, 52.0), (161.6, 48.0)).flags(162, "over_ceiling")) == 1


def test_over_the_ceiling_names_hours_degree_hours_and_both_units() -> None:
    story = hot((161, 50.0), (161.5, 53.0), (162, 50.0), (163, 45.0))
    flag = story.flag(163, "over_ceiling")
    assert flag.severity == "act", "an hour"
    assert "53.0 °C (127.4 °F)" in flag.title
    assert "1.5 °C h" in flag.title
    assert flag.worst == 53.0
    assert (hour_of(flag.starts_at), hour_of(flag.ends_at)) == (161, 162)


def test_two_stretches_over_the_ceiling_are_two_flags() -> None:
    story = hot((161, 50.0), (161.5, 53.0), (162, 48.0), (163, 48.0), (163.5, 53.0), (164, 48.0))
    assert len(story.flags(164, "over_ceiling")) == 2


def test_five_degrees_over_is_act_now() -> None:
    assert hot((161, 50.0), (161.2, 54.9), (161.4, 50.0)).flag(163, "over_ceiling").severity == "caution"
    assert hot((161, 50.0), (161.2, 55.0), (161.4, 50.0)).flag(163, "over_ceiling").severity == "act"


def test_the_last_reading_holds_while_the_kiln_goes_on() -> None:
    story = hot((161, 51.0))
    assert story.flags(161.2, "over_ceiling") == []
    flag = story.flag(161.3, "over_ceiling")
    assert flag.ends_at is None
    assert story.flag(164, "over_ceiling").ends_at is None, "nobody has seen it cooler"


def test_heat_off_ends_it() -> None:
    story = hot((161, 51.0))
    story.tell(161.5, "heat_off")
    assert hour_of(story.flag(163, "over_ceiling").ends_at) == 161.5


def test_the_ceiling_is_that_of_the_middle_of_the_moisture() -> None:
    # Loaded at 27 and at 24.9 %: above 25 % the ceiling is 50 °C and not 60.
    assert hot((160.1, 52.0), (160.2, 52.0), (160.6, 52.0), moisture_wb=0.27).flag(160.6, "over_ceiling")
    assert not hot((160.1, 52.0), (160.2, 52.0), (160.6, 52.0), moisture_wb=0.249).flags(160.6, "over_ceiling")


def test_grain_that_is_far_over_only_if_it_is_as_wet_as_it_may_well_be_is_to_be_weighed_and_not_cooled() -> None:
    def at(grain_c: float, moisture_wb: float) -> list[Flag]:
        held = ((160.1, grain_c), (160.2, grain_c), (160.6, grain_c))
        return hot(*held, moisture_wb=moisture_wb).flags(160.6, "over_ceiling")

    (flag,) = at(56.0, 0.248)
    assert flag.severity == "caution"
    assert "perhaps over its ceiling of 50.0 °C" in flag.title
    assert flag.remedy == "Weigh a tray, or test it, before more heat."
    assert at(54.9, 0.248) == [], "not far over"
    assert at(56.0, 0.24) == [], "not so wet"
    story = hot((160.1, 56.0), (160.2, 56.0), (160.6, 56.0), moisture_wb=0.248)
    assert not any(step.what.startswith("Lower") for step in next_steps(story.history(), moment(160.6)))


def test_a_probe_and_a_thermostat_tell_over_from_under_to_a_degree() -> None:
    assert hot((161, 50.9), (163, 50.9)).flags(163, "over_ceiling") == []
    assert hot((161, 51.0), (163, 51.0)).flag(163, "over_ceiling").severity == "act"


def test_over_the_ceiling_of_a_moisture_that_is_hardly_known_is_to_be_acted_on_where_it_is_far_over() -> None:
    def flag(grain_c: float) -> Flag:
        story = Story().kiln()
        for hour in range(7):
            story.read(160.2 + hour, "air_on_temperature", 60.0)
        story.grain(164.5, grain_c)
        story.grain(166.0, grain_c)
        known = moisture_at(story.history(), moment(164.5))
        assert known is not None
        assert known.is_told
        assert not known.is_known
        return story.flag(166.1, "over_ceiling")

    assert flag(57.0).severity == "caution"
    assert "upper edge" in flag(57.0).meaning
    assert flag(62.0).severity == "act"


def test_the_hottest_place_tells_it() -> None:
    story = Story().kiln()
    for hour in (161, 162):
        story.grain(hour, 51.0, "top")
        story.grain(hour, 54.0, "bottom")
    flag = story.flag(162, "over_ceiling")
    assert flag.place == "bottom"


def test_hot_air_alone_is_not_over_the_ceiling() -> None:
    story = Story().kiln()
    story.read(161, "air_on_temperature", 60.0)
    story.read(163, "air_on_temperature", 60.0)
    assert story.flags(163, "over_ceiling") == []


def test_a_programme_without_a_ceiling_has_none() -> None:
    story = Story("stewed").kiln()
    story.grain(161, 120.0)
    story.grain(163, 120.0)
    assert story.flags(163, "over_ceiling") == []


def stewed(*readings: tuple[float, float]) -> Story:
    story = Story("stewed")
    story.grow()
    story.tell(160, "stew_on")
    for hour, value in readings:
        story.grain(hour, value)
    return story


def test_a_stewing_is_given_an_hour_to_come_hot() -> None:
    assert stewed((160.5, 40.0)).flags(160.6, "cool_stew") == []
    assert stewed((160.5, 40.0), (161.1, 54.9)).flag(161.2, "cool_stew").severity == "caution"


def test_a_stewing_that_never_came_hot_is_told_to_be_heated_and_not_to_be_let_out_or_loaded() -> None:
    story = stewed(*((160.5 + number, 42.0) for number in range(7)))
    for hour in (161.6, 162.6, 163.6, 166.6):
        assert story.flag(hour, "cool_stew")
        assert story.flags(hour, "stage_overdue") == []
        assert "loaded" not in {step.kind for step in next_steps(story.history(), moment(hour))}


def test_what_stewed_too_cool_for_long_is_to_be_smelt_once_it_is_loaded() -> None:
    story = stewed(*((160.5 + number, 42.0) for number in range(4)))
    story.tell(164, "loaded")
    flag = story.flag(165, "cool_stew")
    assert (flag.severity, flag.ends_at) == ("caution", None)
    assert flag.remedy == "Smell it. If it has soured, throw it away."
    assert "Raise" not in next_steps(story.history(), moment(165))[0].what
    story.look(166, smell="clean")
    assert hour_of(story.flag(167, "cool_stew").ends_at) == 166


def test_a_stewing_on_its_floor_is_hot_enough_and_just_below_the_target_a_notice() -> None:
    assert stewed((161.5, 60.0)).flags(162, "cool_stew") == []
    assert stewed((161.5, 59.0)).flag(162, "cool_stew").severity == "notice"


def test_a_stewing_that_stays_under_its_floor_for_an_hour_is_to_be_acted_on() -> None:
    assert stewed((161.2, 58.0), (162.1, 58.0)).flag(162.2, "cool_stew").severity == "notice"
    assert stewed((161.2, 58.0), (162.2, 58.0)).flag(162.3, "cool_stew").severity == "act"
    # It was cool at half past the hour already, and is given its first hour.
    assert stewed((160.5, 42.0), (161.9, 42.0)).flag(162, "cool_stew").severity == "caution"
    assert stewed((160.5, 42.0), (162.0, 42.0)).flag(162.1, "cool_stew").severity == "act"
    cool_twice = stewed((161.2, 58.0), (161.8, 64.0), (162.4, 58.0)).flags(162.5, "cool_stew")
    assert [flag.severity for flag in cool_twice] == ["notice", "notice"]


def test_coming_hot_again_ends_the_cool_stewing() -> None:
    story = stewed((161.5, 50.0), (162, 52.0), (162.5, 64.0))
    flag = story.flag(163, "cool_stew")
    assert (flag.worst, hour_of(flag.ends_at)) == (50.0, 162.5)
    assert story.flags(163, "out_of_limits") == [], "one flag for one cause"


def dried(*weights: float, air_on: float = 52.0) -> Story:
    story = Story().kiln()
    story.read(161, "air_on_temperature", air_on)
    for place, weight in enumerate(weights):
        story.tray(160.2 + place, weight)
    return story


def test_a_tray_that_loses_at_less_than_half_its_steady_rate_has_passed_the_break_point() -> None:
    assert dried(10.0, 9.2, 8.4, 7.6, 7.1).flags(165, "break_point") == []
    flag = dried(10.0, 9.2, 8.4, 7.6, 7.3).flag(165, "break_point")
    assert hour_of(flag.starts_at) == 164.2
    assert flag.severity == "notice"


def test_raising_the_air_within_the_hour_takes_the_break_point_out_of_the_record() -> None:
    story = dried(10.0, 9.2, 8.4, 7.6, 7.3)
    story.read(165, "air_on_temperature", 62.0)
    assert story.flags(165, "break_point") == []


def test_air_off_that_comes_near_air_on_tells_the_break_point_too() -> None:
    story = Story().kiln()
    for hour, off in ((161, 27.0), (162, 27.5), (163, 28.0), (164, 29.0), (165, 42.0)):
        story.read(hour, "air_on_temperature", 52.0)
        story.read(hour, "air_off_temperature", off)
    assert hour_of(story.flag(165, "break_point").starts_at) == 165


def still(*, back: bool) -> Story:
    """Trays and airs every hour; from the fourth the fan stands, for four hours."""
    story = dried(10.0, 9.2, 8.4, 7.6)
    fan = [(hour, 52.0, 28.0) for hour in (161.1, 162.1, 163.1)] + [(hour, 14.0, 20.0) for hour in (163.4, 165, 167)]
    for hour, air_on, air_off in [*fan, *([(167.5, 51.5, 28.0)] if back else [])]:
        story.read(hour, "air_on_temperature", air_on)
        story.read(hour, "air_off_temperature", air_off)
        story.grain(hour, 26.0)
    story.tray(165.1, 7.55)
    story.tray(167.1, 7.5)
    if back:
        story.tray(168.6, 6.5)
    return story


@pytest.mark.parametrize("back", [False, True])
def test_a_bed_that_loses_nothing_while_the_fan_stands_has_not_broken_and_no_thermometer_lies(back: bool) -> None:
    story = still(back=back)
    now = 168.7 if back else 167.2
    assert story.flags(now, "break_point") == []
    assert story.flags(now, "lying") == []
    assert fit(story.history()).broke is None
    assert not [
        step.what
        for step in next_steps(story.history(), moment(now))
        if step.does == "raise" and step.due_at <= moment(now)
    ]


def test_air_that_is_cold_after_a_power_cut_tells_no_break_point() -> None:
    story = Story().kiln()
    for hour in (161, 162, 163):
        story.read(hour, "air_on_temperature", 52.0)
        story.read(hour, "air_off_temperature", 27.0)
    story.tell(163.5, "interruption", {"what": "power cut", "until_at": moment(167).isoformat()})
    story.read(167.2, "air_on_temperature", 20.7)
    story.read(167.2, "air_off_temperature", 17.2)
    assert story.flags(167.3, "break_point") == []
    assert fit(story.history()).broke is None


def test_air_on_read_long_before_is_not_set_against_air_off() -> None:
    story = Story().kiln()
    story.read(160.2, "air_on_temperature", 52.0)
    for hour, off in ((161.5, 27.0), (162, 27.5), (163, 28.0), (164, 29.0), (165, 45.0)):
        story.read(hour, "air_off_temperature", off)
    assert story.flags(165, "break_point") == []


def test_air_already_as_hot_as_the_plan_has_it_asks_for_nothing() -> None:
    assert dried(10.0, 9.2, 8.4, 7.6, 7.3, air_on=82.0).flags(165, "break_point") == []


def weighed_dry(*nets: tuple[str, float]) -> Story:
    story = Story().kiln()
    for vessel, _ in nets:
        story.tray(160.2, 10.0, vessel)
    for vessel, net in nets:
        story.tray(174, net, vessel)
    return story


def test_dry_enough_waits_for_the_wettest_tray() -> None:
    # 10 kg at 44 % hold 5.6 kg dry: at 4.5 % they weigh 5.864 kg.
    assert weighed_dry(("tray 1", 5.86), ("tray 2", 5.9)).flags(174.1, "dry_enough") == []
    flag = weighed_dry(("tray 1", 5.8), ("tray 2", 5.86)).flag(174.1, "dry_enough")
    assert flag.place == "tray 2"
    assert flag.severity == "notice"


def test_heat_off_in_time_takes_dry_enough_out_of_the_record() -> None:
    story = weighed_dry(("tray 1", 5.86))
    story.tell(174.9, "heat_off")
    assert story.flags(176, "dry_enough") == []


def test_heat_left_on_keeps_dry_enough_in_the_record() -> None:
    story = weighed_dry(("tray 1", 5.86))
    story.tell(176, "heat_off")
    assert hour_of(story.flag(177, "dry_enough").ends_at) == 176


def test_malt_that_was_loaded_at_nobody_knows_what_is_only_perhaps_dry_enough() -> None:
    story = Story()
    story.grow()
    story.tell(260, "loaded")
    story.tray(260.2, 10.0, "tray 1")
    story.tell(260.3, "heat_on")
    story.tray(274, 5.75, "tray 1")
    flag = story.flag(274.1, "dry_enough")
    assert flag.title.startswith("Perhaps dry enough")
    assert "test its moisture" in flag.remedy
    assert weighed_dry(("tray 1", 5.8)).flag(174.1, "dry_enough").title.startswith("Dry enough")


def green(moisture_wb: float = 0.43) -> Story:
    """Loaded at what a bag of the floor tells."""
    story = Story().grow()
    story.bag_start()
    story.bag(159.5, moisture_wb)
    story.tell(160, "loaded")
    story.tray(160.05, 1.66)
    story.tell(160.1, "heat_on")
    story.read(160.2, "set_point", 52.0)
    return story


def test_no_grain_on_the_kiln_may_be_wetter_than_it_was_loaded() -> None:
    story = green()
    loaded = moisture_at(story.history(), moment(160.05))
    assert loaded is not None
    for hour in (161.5, 162.5, 163.5):
        story.read(hour, AIR, 51.0)
        later = moisture_at(story.history(), moment(hour))
        assert later is not None
        assert later.is_told
        assert later.upper <= loaded.upper + 0.003


def test_a_tray_that_is_hardly_known_is_not_said_to_be_outside_what_it_may_be_in() -> None:
    for net_kg, hardly in ((0.93, True), (0.965, True), (1.1, False)):
        story = green()
        story.tell(175, "heat_off")
        tray = story.tray(175.1, net_kg)
        history = story.history()
        fact = history.by_id(tray)
        assert fact is not None
        said = meaning(history, fact, moment(175.2), Words(now=moment(175.2)))
        assert ("Known too little" in said.detail) is hardly, (net_kg, said)
        assert ("high: target" in said.text) is not hardly, (net_kg, said)


def test_heat_that_looks_like_a_slip_is_judged_as_it_was_read_and_asked_about_beside() -> None:
    story = hot((161, 46.0))
    story.tell(162, "grain_temperature", {"value": 137.0}, typed={"value": "137", "value_unit": "c"})
    assert {"slip", "over_ceiling"} <= {flag.rule for flag in story.flags(162.5)}
    assert story.flag(162.5, "over_ceiling").severity == "act"
    assert "judged as it was read" in story.flag(162.5, "slip").meaning


def test_a_first_look_that_is_far_over_the_ceiling_is_told_at_once() -> None:
    story = Story().kiln()
    story.grain(167, 61.0)
    assert story.flag(167.02, "over_ceiling").severity == "act"
    calmer = Story().kiln()
    calmer.grain(167, 52.0)
    assert calmer.flags(167.02, "over_ceiling") == []


def test_a_hot_reading_is_asked_about_until_the_next_look_whatever_the_heat_does() -> None:
    story = hot((161, 46.0))
    story.tell(162, "grain_temperature", {"value": 137.0}, typed={"value": "137", "value_unit": "c"})
    story.tell(163, "heat_off")
    assert not story.flag(163.1, "slip").has_ended
    story.tell(164, "grain_temperature", {"value": 45.0})
    assert story.flag(164.1, "slip").has_ended


def test_a_kiln_that_rises_to_what_it_is_set_to_is_no_slip() -> None:
    """As after a power cut: air-on at 21 and then at 62.4 °C, where 62 was set, is no 62.4 °F."""
    cut = [(160.3, "set_point", 62.0), (165.0, AIR, 20.7), (165.0, "grain_temperature", 15.1)]
    risen = [(166.4, AIR, 62.4), (166.42, "grain_temperature", 58.8)]
    assert blown(*cut, *risen).flags(166.5, "slip") == []
    # Grain hotter than its air has not risen with it; nor has air over what it is set to.
    (flag,) = blown(*cut, risen[0], (166.42, "grain_temperature", 67.0)).flags(166.5, "slip")
    assert "67" in flag.title
    assert blown((160.3, "set_point", 40.0), *cut[1:], risen[0]).flags(166.5, "slip") != []


def blown(*told: tuple[float, str, float | None]) -> Story:
    story = Story().kiln()
    story.tell(160.2, "heat_on")
    for hour, kind, value in told:
        story.tell(hour, kind, {} if value is None else {"value": value})
    return story


AIR = "air_on_temperature"


def test_air_that_falls_away_with_the_heat_on_is_told_until_it_is_back_or_the_heat_is_off() -> None:
    fallen = ((160.3, "set_point", 50.0), (163.0, AIR, 49.5), (164.5, AIR, 31.0))
    flag = blown(*fallen).flag(164.6, "air_fell")
    assert (flag.severity, flag.worst, flag.has_ended) == ("act", 31.0, False)
    for after in ((166.0, AIR, 48.0), (166.0, "heat_off", None), (166.0, "paused", None)):
        assert blown(*fallen, after).flag(166.1, "air_fell").has_ended, after


def test_air_that_is_still_rising_or_was_set_lower_or_goes_without_heat_has_not_fallen() -> None:
    for told in (
        ((160.3, "set_point", 50.0), (161.5, AIR, 24.0), (162.5, AIR, 33.0), (164.0, AIR, 49.0)),
        (
            (160.3, "set_point", 60.0),
            (163.0, AIR, 59.0),
            (163.2, "set_point", 42.0),
            (163.3, AIR, 58.0),
            (164.5, AIR, 42.5),
        ),
        ((160.3, "set_point", 50.0), (163.0, AIR, 49.0), (163.5, "paused", None), (164.5, AIR, 25.0)),
    ):
        assert blown(*told).flags(165.0, "air_fell") == [], told


def test_a_set_point_written_down_in_a_pause_does_not_bring_the_heat_back() -> None:
    paused = ((160.3, "set_point", 60.0), (163.0, AIR, 60.0), (164.0, "paused", None), (164.1, "set_point", 60.0))
    assert blown(*paused, (166.0, AIR, 22.0)).flags(166.1, "air_fell") == []
    again = ((166.2, "resumed", None), (167.0, AIR, 24.0))
    assert blown(*paused, *again).flags(167.1, "air_fell") == []
    assert blown(*paused, *again, (167.5, AIR, 23.0)).flag(167.6, "air_fell").severity == "act"


def test_air_that_falls_after_an_interruption_with_an_end_of_its_own_is_told() -> None:
    story = blown((160.3, "set_point", 60.0), (163.0, AIR, 60.0))
    story.tell(164, "interruption", {"what": "fan", "until_at": moment(164.2).isoformat()})
    story.read(166, AIR, 60.0)
    story.read(168, AIR, 22.0)
    assert story.flag(168.1, "air_fell").worst == 22.0


def test_air_lowered_as_it_was_asked_and_read_without_a_set_point_has_not_fallen() -> None:
    story = blown((163.0, AIR, 70.0))
    story.grain(163, 60.0, "middle")
    story.read(164.5, AIR, 50.0)
    assert story.flags(164.6, "air_fell") == []
    story.read(165.5, AIR, 30.0)
    assert story.flag(165.6, "air_fell").remedy.endswith("enter the set point.")


def test_a_kiln_set_hotter_is_given_its_time_to_come_to_it() -> None:
    raised = ((160.3, "set_point", 52.0), (163.0, AIR, 52.0), (163.1, "set_point", 75.0), (163.5, AIR, 52.5))
    assert blown(*raised).flags(163.6, "air_fell") == []
    assert blown(*raised, (164.5, AIR, 53.0)).flag(164.6, "air_fell").worst == 53.0
