"""The bed: warm and wet, waiting in a heap, hot above, and turning due."""

import pytest

from app.judgement.flags import evaluate
from app.judgement.history.stages import all_stages
from app.judgement.programmes.programme import load_builtin
from app.judgement.watch.bed_ahead import beds_of
from tests.judgement.flag_story import Story, hour_of, moment
from tests.judgement.normal_batches import normal_batch


def warm_bed(value: float, *, cast_wb: float = 0.44, builtin: str = "") -> Story:
    story = Story()
    if builtin:
        story.programme = load_builtin()[builtin]
    story.begin()
    story.bag_start()
    story.tell(6, "drained")
    story.bag(39.8, cast_wb)
    story.tell(40, "cast")
    story.grain(41, value)
    return story


def still_kiln(moisture_wb: float = 0.44) -> Story:
    """Loaded and fired at hour 160, and the fan fails at once."""
    story = Story().kiln(moisture_wb=moisture_wb)
    story.tell(160.1, "interruption", {"what": "the fan stands"})
    return story


@pytest.mark.parametrize(("hour", "severity"), [(46.9, None), (47.1, "caution"), (52.9, "caution"), (53.1, "act")])
def test_warm_and_wet_is_a_matter_of_hours(hour: float, severity: str | None) -> None:
    story = warm_bed(23.0)
    story.grain(46, 23.0)
    flags = story.flags(hour, "warm_and_wet")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


@pytest.mark.parametrize(("value", "is_flagged"), [(21.9, False), (22.0, True), (48.0, True), (48.1, False)])
def test_warm_is_from_22_to_48_degrees(value: float, is_flagged: bool) -> None:
    story = still_kiln()
    story.grain(160.5, value)
    story.grain(167.5, value)
    assert bool(story.flags(168, "warm_and_wet")) == is_flagged


@pytest.mark.parametrize(("value", "is_flagged"), [(26.0, False), (30.0, False), (31.0, True)])
def test_grain_that_is_to_be_grown_warm_is_warm_above_what_is_wanted_of_it(value: float, is_flagged: bool) -> None:
    story = warm_bed(value, builtin="sorghum")
    story.grain(48, value)
    assert bool(story.flags(49, "warm_and_wet")) == is_flagged


def test_wet_is_above_a_quarter_of_water() -> None:
    for moisture_wb, is_flagged in ((0.26, True), (0.22, False)):
        story = still_kiln(moisture_wb)
        for hour in range(161, 168):
            story.tell(hour, "moisture_test", {"value": moisture_wb}, method="oven_two_stage")
        story.grain(160.5, 30.0)
        story.grain(167.5, 30.0)
        assert bool(story.flags(168, "warm_and_wet")) == is_flagged


def test_the_crossing_between_two_readings_is_taken_on_a_straight_line() -> None:
    story = Story()
    story.grow()
    story.grain(42, 20.0)
    story.grain(46, 24.0)
    story.grain(52, 24.0)
    # 22 °C is passed at hour 44; six hours after is hour 50.
    flag = story.flag(52, "warm_and_wet")
    assert hour_of(flag.starts_at) == 50
    assert flag.worst == pytest.approx(8.0)


def test_cooling_down_ends_it() -> None:
    story = warm_bed(24.0)
    story.grain(49, 24.0)
    story.grain(50, 18.0)
    flag = story.flag(60, "warm_and_wet")
    assert hour_of(flag.ends_at) == pytest.approx(49.333, abs=0.001)


def test_stewing_in_a_programme_that_stews_is_exempt() -> None:
    for programme, is_flagged in (("stewed", False), ("base", True)):
        story = Story(programme)
        story.grow()
        story.grain(159, 15.0)
        story.tell(160, "stew_on")
        story.grain(160.5, 40.0)
        story.grain(168, 40.0)
        assert bool(story.flags(168.5, "warm_and_wet")) == is_flagged


def test_warm_and_wet_speaks_for_the_limit_that_the_same_grain_left() -> None:
    story = warm_bed(26.0)
    story.grain(48, 26.0)
    flag = story.flag(48, "warm_and_wet")
    assert story.flags(48, "out_of_limits") == []
    assert flag.severity == "act", "the limit of 25 °C was left: as grave as that"
    assert [rule for rule, _ in flag.stands_for] == ["out_of_limits"]


def test_warm_and_wet_leaves_other_causes_alone() -> None:
    story = still_kiln()
    story.read(161.5, "air_on_temperature", 75.0)
    for hour in (161.5, 164.0, 167.5):
        story.tell(hour, "moisture_test", {"value": 0.43}, method="oven_two_stage")
    story.grain(160.5, 30.0)
    story.grain(167.5, 30.0)
    assert {flag.rule for flag in story.flags(168)} >= {"warm_and_wet", "out_of_limits"}


def test_a_reading_holds_to_the_end_of_its_stage_and_draws_no_line_to_the_next() -> None:
    story = warm_bed(23.0)
    story.tell(50, "loaded")
    story.tell(50.1, "heat_on")
    story.grain(58, 60.0)
    flag = story.flag(60, "warm_and_wet")
    assert flag.worst == pytest.approx(9.0), "from the reading at hour 41 to the loading, and no further"
    assert hour_of(flag.ends_at) == 50
    assert "23.0 °C" in flag.title, "as warm as it was read, and not as the kiln was later"


def test_a_cold_floor_and_a_hot_kiln_are_no_warm_bed_between_them() -> None:
    story = Story().kiln()
    story.grain(166, 60.0)
    assert story.flags(168, "warm_and_wet") == []


MOVING = {
    "heat on": [("heat_on", {})],
    "air into it": [("air_on_temperature", {"value": 18.0})],
    "air out of it": [("air_off_temperature", {"value": 20.0})],
    "a flow of air": [("air_flow", {"value": 0.1})],
    "nothing": [],
    "no flow of air": [("air_flow", {"value": 0.0})],
}


@pytest.mark.parametrize(("facts", "is_flagged"), [(MOVING[key], key.startswith("no")) for key in MOVING], ids=MOVING)
def test_warm_wet_grain_on_the_kiln_dries_where_anything_tells_that_air_moves(
    facts: list[tuple[str, dict[str, float]]], is_flagged: bool
) -> None:
    story = Story()
    story.grow()
    story.grain(159, 15.0)
    story.tell(160, "loaded")
    for kind, values in facts:
        story.tell(160.2, kind, values)
    for hour in (160.5, 164.0, 168.0):
        story.grain(hour, 30.0)
    assert bool(story.flags(168, "warm_and_wet")) == is_flagged


def failed_fan(*after: tuple[float, str, dict[str, object]]) -> Story:
    """On the kiln at hour 160, still wet at hour 162 when the fan fails, and warm from then on."""
    story = Story().kiln()
    story.grain(161, 26.0)
    story.tell(162, "interruption", {"what": "the fan failed"})
    for hour, kind, values in after:
        story.tell(hour, kind, values)
    for hour in (163, 165, 168, 171):
        story.tell(hour, "moisture_test", {"value": 0.42}, method="oven_two_stage")
        story.grain(hour, 32.0)
    return story


def test_a_fan_that_failed_makes_a_warm_bed_of_it_from_then_on() -> None:
    flag = failed_fan().flag(171, "warm_and_wet")
    assert flag.worst == pytest.approx(9.0), "from the failure at hour 162"
    assert flag.ends_at is None


def test_heat_off_does_not_cover_up_the_fan_that_failed() -> None:
    flag = failed_fan((162.2, "heat_off", {})).flag(171, "warm_and_wet")
    assert flag.worst > 7.0


def test_a_pause_on_the_kiln_is_as_still_as_a_failed_fan() -> None:
    story = Story().kiln()
    story.tell(161, "paused")
    for hour in (161.5, 165, 170):
        story.tell(hour, "moisture_test", {"value": 0.42}, method="oven_two_stage")
        story.grain(hour, 30.0)
    flag = story.flag(170, "warm_and_wet")
    assert flag.severity == "act", "as grave as the heap that has waited nine hours"
    assert [rule for rule, _ in flag.stands_for] == ["heap_waiting"]


@pytest.mark.parametrize("again", [("resumed", {}), ("heat_on", {}), ("set_point", {"value": 50.0})])
def test_once_the_air_moves_again_it_dries_again(again: tuple[str, dict[str, object]]) -> None:
    assert failed_fan((164.0, *again)).flags(171, "warm_and_wet") == []


def test_an_interruption_lasts_until_the_end_that_was_written_down() -> None:
    for until_hour, is_flagged in ((164.0, False), (169.0, True)):
        story = failed_fan()
        broken = next(each for each in story.records if each["kind"] == "interruption")
        broken["values"]["until_at"] = moment(until_hour).isoformat()
        assert bool(story.flags(171, "warm_and_wet")) == is_flagged


@pytest.mark.parametrize("seed", range(28))
def test_no_normal_batch_is_warm_and_wet_for_too_long(seed: int) -> None:
    history = normal_batch(seed).history()
    assert len(history.readings("grain_temperature")) > 15
    for now in [fact.at for fact in history.facts][-16::5]:
        found = [flag.title for flag in evaluate(history, now) if flag.rule == "warm_and_wet"]
        assert found == [], now


@pytest.mark.parametrize("seed", range(0, 28, 4))
def test_eight_warm_hours_at_one_place_of_a_normal_floor_are_found_out(seed: int) -> None:
    story = normal_batch(seed)
    cast_at = story.history().of_kind("cast")[0].at
    hour = story.history().hour(cast_at) + 50.0
    for since, value in ((-0.5, 16.0), *((float(each), 26.0) for each in range(9)), (8.5, 16.0)):
        story.say(hour + since, "grain_temperature", {"value": value}, place="corner")
    history = story.history()
    (flag,) = [each for each in evaluate(history, history.facts[-1].at) if each.rule == "warm_and_wet"]
    # By hand: eight hours, and on either side four tenths of the half hour between 16 and 26 °C.
    assert flag.worst == pytest.approx(8.4, abs=0.01)


def test_warm_and_wet_leaves_the_cold_end_of_the_bed_to_its_own_flag() -> None:
    story = warm_bed(15.0)
    for hour in (42, 45, 50):
        story.grain(hour, 23.0, "top")
        story.grain(hour + 1, 11.0, "bottom")
    assert {flag.rule for flag in story.flags(51)} >= {"warm_and_wet", "out_of_limits"}


def test_two_warm_spells_are_two_flags() -> None:
    story = warm_bed(15.0)
    for hour, value in ((42, 24.0), (49, 24.0), (50, 15.0), (60, 15.0), (61, 24.0), (68, 24.0), (69, 15.0)):
        story.grain(hour, value)
    assert len(story.flags(70, "warm_and_wet")) == 2


def test_grain_under_water_is_not_warm_and_wet() -> None:
    story = Story().begin()
    story.bag_start()
    story.bag(0.2, 0.3)
    story.grain(0.5, 24.0)
    story.grain(7.5, 24.0)
    assert story.flags(8, "warm_and_wet") == []


def test_the_longest_place_tells_it_once() -> None:
    story = warm_bed(15.0)
    for hour in (42, 50):
        story.grain(hour, 23.0, "middle")
        story.grain(hour + 0.1, 24.0, "bottom")
    assert len(story.flags(50.5, "warm_and_wet")) == 1


def loaded(temperature_c: float) -> Story:
    story = Story()
    story.grow()
    story.grain(159.5, temperature_c)
    story.tell(160, "loaded")
    return story


@pytest.mark.parametrize(("hour", "severity"), [(161.9, None), (162.1, "caution"), (164.1, "act")])
def test_green_malt_waiting_warm(hour: float, severity: str | None) -> None:
    flags = loaded(19.0).flags(hour, "heap_waiting")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_green_malt_that_was_read_cool_may_wait_from_that_look_on() -> None:
    story = loaded(18.0)
    story.grain(162.5, 18.0)
    assert story.flags(164, "heap_waiting") == []
    assert story.flag(166.6, "heap_waiting").severity == "act"


@pytest.mark.parametrize(("hour", "severity"), [(161.9, None), (162.1, "caution"), (164.1, "act")])
def test_that_nobody_read_how_warm_it_waits_is_no_sign_that_it_is_cool(hour: float, severity: str | None) -> None:
    story = Story()
    story.grow()
    story.tell(160, "loaded")
    assert [flag.severity for flag in story.flags(hour, "heap_waiting")] == ([severity] if severity else [])


def test_what_tells_of_heat_ends_the_waiting_that_nobody_read() -> None:
    story = loaded(15.0)
    story.tray(161.5, 2.0)
    assert story.flags(170, "heap_waiting") == []


@pytest.mark.parametrize(("hour", "severity"), [(165.9, None), (166.1, "caution"), (168.8, "act")])
def test_wet_grain_whose_heat_was_broken_off_waits_as_a_heap_does(hour: float, severity: str | None) -> None:
    story = Story().kiln()
    story.grain(163.5, 40.0)
    story.tell(164, "paused")
    flags = story.flags(hour, "heap_waiting")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    story.tell(168.9, "heat_on")
    assert hour_of(story.flag(170, "heap_waiting").ends_at) == 168.9


def test_dry_malt_may_stand_without_heat() -> None:
    story = Story().kiln()
    story.tell(174, "moisture_test", {"value": 0.06}, method="oven_malt")
    story.tell(174.1, "paused")
    assert story.flags(180, "heap_waiting") == []


def test_a_look_at_the_heap_is_no_fire_under_it_but_hot_air_is() -> None:
    story = loaded(19.0)
    story.grain(161, 20.0)
    assert len(story.flags(162.1, "heap_waiting")) == 1
    story.read(161.5, "air_on_temperature", 50.0)
    assert story.flags(162.1, "heap_waiting") == []


def test_grain_hotter_than_any_heap_was_heated_whether_that_was_written_down_or_not() -> None:
    story = loaded(15.0)
    story.grain(167, 95.0)
    assert {flag.rule for flag in story.flags(167.1) if flag.severity == "act"} >= {"over_ceiling"}
    assert story.flag(167.1, "heap_waiting").has_ended


def test_heat_on_ends_the_waiting() -> None:
    story = loaded(19.0)
    story.tell(161, "heat_on")
    assert story.flags(170, "heap_waiting") == []


def spread_bed(*looks: tuple[float, float, float]) -> Story:
    story = Story()
    story.grow()
    for hour, top, bottom in looks:
        story.grain(hour, top, "top")
        story.grain(hour + 0.1, bottom, "bottom")
    return story


@pytest.mark.parametrize(("top", "severity"), [(17.0, None), (17.1, "caution"), (20.1, "act")])
def test_top_and_bottom_apart(top: float, severity: str | None) -> None:
    flags = spread_bed((44, top, 14.0)).flags(45, "top_to_bottom")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_a_run_of_spread_looks_is_one_flag_with_its_worst() -> None:
    story = spread_bed((91, 17.5, 14.0), (93, 18.2, 14.0), (95, 17.2, 14.0), (97, 15.8, 14.0))
    flag = story.flag(98, "top_to_bottom")
    assert flag.worst == pytest.approx(4.2)
    assert (hour_of(flag.starts_at), hour_of(flag.ends_at)) == (91, 97)
    assert "4.2 °C above the bottom" in flag.title
    assert "7.6 °F above the bottom" in flag.in_units("us").title


def test_readings_hours_apart_are_no_one_look() -> None:
    story = Story()
    story.grow()
    story.grain(44, 18.0, "top")
    story.grain(46, 13.0, "bottom")
    assert story.flags(47, "top_to_bottom") == []


@pytest.mark.parametrize(
    ("hour", "warmth_c", "severity"),
    [
        (49.9, 15.0, None),
        (50.1, 15.0, "caution"),
        (54.1, 15.0, "caution"),
        (50.1, 18.1, "caution"),
        (54.1, 18.1, "act"),
    ],
)
def test_turning_is_due_after_hours_and_is_grave_where_the_bed_is_warm(
    hour: float, warmth_c: float, severity: str | None
) -> None:
    story = Story()
    story.grow(cast_hour=40)
    story.grain(41, warmth_c)
    assert [flag.severity for flag in story.flags(hour, "turning_due")] == ([severity] if severity else [])


def test_a_little_later_than_wanted_is_a_notice_and_no_more() -> None:
    story = Story(programme="base")
    story.programme = load_builtin()["barley_pale"]
    story.grow(cast_hour=40)
    story.grain(44, 15.0)
    assert [flag.severity for flag in story.flags(48.5, "turning_due")] == ["notice"]


def test_where_nothing_was_written_since_the_cast_it_is_only_said_that_no_turning_was() -> None:
    story = Story()
    story.grow(cast_hour=40)
    flag = story.flag(80, "turning_due")
    assert (flag.severity, flag.title) == ("notice", "Turning due: no turning written down for 40 h since the cast")


def test_turning_starts_the_hours_anew_and_the_long_stretch_stays_in_the_record() -> None:
    story = Story()
    story.grow(cast_hour=40)
    story.grain(44, 15.0)
    story.tell(52, "turned")
    flag = story.flag(60, "turning_due")
    assert (hour_of(flag.starts_at), hour_of(flag.ends_at), flag.severity) == (50, 52, "caution")


def test_a_cold_thin_bed_is_not_turned() -> None:
    for depth_m, is_flagged in ((0.09, False), (0.2, True)):
        story = Story()
        story.grow(cast_hour=40)
        story.read(41, "bed_depth", depth_m)
        story.grain(50, 13.0)
        assert bool(story.flags(52, "turning_due")) == is_flagged


def test_a_thin_bed_that_is_warm_is_turned() -> None:
    story = Story()
    story.grow(cast_hour=40)
    story.read(41, "bed_depth", 0.09)
    story.grain(50, 16.0)
    assert story.flag(52, "turning_due").ends_at is None


def test_matting_is_told_with_the_turning() -> None:
    story = Story()
    story.grow(cast_hour=40)
    knit = story.look(48, matting="strands")
    flag = story.flag(51, "turning_due")
    assert knit in flag.fact_ids
    assert "knitting" in flag.meaning


def two_beds(*turned: tuple[float, str | None]) -> Story:
    story = Story()
    story.grow(cast_hour=40)
    for hour in range(42, 90, 6):
        story.grain(hour, 16.0, "bed A middle")
        story.grain(hour, 16.0, "bed B middle")
    for hour, place in turned:
        story.tell(hour, "turned", place=place)
    return story


def test_each_bed_has_a_clock_of_its_own_for_turning() -> None:
    story = two_beds((48, "bed A"), (48.1, "bed B"), (57, "bed A"), (66, "A"))
    flag = story.flag(67, "turning_due")
    assert "Turning due: no turning of bed B written down" in flag.title
    assert (flag.place, flag.ends_at) == ("bed B", None)
    assert two_beds((48, "bed A"), (48.1, "bed B"), (57, "bed A"), (57, "Bed B")).flags(66, "turning_due") == []


def test_a_bed_that_only_temperatures_name_waits_since_the_cast() -> None:
    flag = two_beds((48, "bed A"), (57, "bed A")).flag(58, "turning_due")
    assert "of bed B" in flag.title
    assert "since the cast" in flag.title


def test_turned_without_a_place_means_every_bed() -> None:
    assert two_beds((48, None), (57, None)).flags(66, "turning_due") == []
    flag = two_beds((48, None)).flag(66, "turning_due")
    assert "turning written" in flag.title
    assert flag.place is None


def test_two_beds_apart_are_no_top_and_bottom() -> None:
    story = Story()
    story.grow(cast_hour=40)
    story.grain(50, 20.0, "bed A middle")
    story.grain(50.1, 14.0, "bed B middle")
    assert story.flags(51, "top_to_bottom") == []
    story.grain(50.2, 24.0, "bed A top")
    assert story.flag(51, "top_to_bottom").place == "bed A top"


def test_spots_of_one_bed_are_no_beds() -> None:
    story = Story()
    story.grow(cast_hour=40)
    for hour in (48, 57):
        story.grain(hour - 1, 16.0, "top")
        story.grain(hour - 1, 16.0, "middle")
        story.tell(hour, "turned", place="bottom")
    assert story.flags(66, "turning_due") == []


@pytest.mark.parametrize(
    ("places", "beds"),
    [
        (("left", "right"), [""]),
        (("left, top", "Right of the bed"), [""]),
        (("front half", "back half"), [""]),
        (("bottom", "edge", "centre", "corner"), [""]),
        (("Bed A, left", "bed A right", "bed B"), ["a", "b"]),
        (("left bed", "right bed, middle"), ["left", "right"]),
        (("red tub", "blue tub left"), ["blue tub", "red tub"]),
    ],
)
def test_a_side_is_a_place_within_a_bed_and_a_house_s_own_name_is_a_bed(
    places: tuple[str, ...], beds: list[str]
) -> None:
    story = Story()
    story.grow()
    for place in places:
        story.grain(45, 15.0, place)
    history = story.history()
    (stage,) = [each for each in all_stages(history) if each.name == "germination"]
    found = beds_of(history, stage, moment(46))
    assert [bed.key for bed in found] == beds
    assert [bed.name.casefold().removeprefix("bed ").removesuffix(" bed") for bed in found] == beds
