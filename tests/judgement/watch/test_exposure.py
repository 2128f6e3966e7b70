"""Hours and degree-hours above the kiln's ceiling, by the moisture."""

import pytest

from app.judgement.meaning.meaning import meaning
from app.judgement.watch.exposure import kiln_exposure, kiln_exposures
from app.science.enzymes import hours_and_degree_hours_above
from tests.judgement.flag_story import Story, moment


def kilned(*readings: tuple[float, float, str | None], moisture_wb: float = 0.44) -> Story:
    story = Story().kiln(moisture_wb=moisture_wb)
    for hour, value, place in readings:
        story.grain(hour, value, place)
    return story


def test_a_rise_through_the_ceiling_is_counted_from_the_crossing() -> None:
    # At 44 % the ceiling is 50 °C. From 40 to 60 in two hours: one hour above, five degree-hours.
    story = kilned((161, 40.0, None), (163, 60.0, None))
    story.tell(163, "heat_off")
    found = kiln_exposure(story.history(), moment(163))
    assert found is not None
    assert found.hours == pytest.approx(1.0)
    assert found.degree_hours == pytest.approx(5.0)
    assert found.worst_excess_c == pytest.approx(10.0)
    assert found.measured_hours == pytest.approx(2.0)


def test_the_ceiling_rises_as_the_grain_dries() -> None:
    story = kilned((161, 55.0, None), (163, 55.0, None))
    story.tell(161, "moisture_test", {"value": 0.30}, method="oven_two_stage")
    story.tell(163, "moisture_test", {"value": 0.20}, method="oven_two_stage")
    story.tell(163, "heat_off")
    found = kiln_exposure(story.history(), moment(163))
    assert found is not None
    # The moisture passes 25 % after an hour.
    assert found.hours == pytest.approx(1.0, abs=0.02)
    assert found.degree_hours == pytest.approx(5.0 * found.hours)


def test_what_the_spans_say_is_what_the_area_under_straight_lines_says() -> None:
    readings = [(161, 47.0), (162, 53.0), (163, 49.0), (164, 58.0), (165, 45.0)]
    story = kilned(*((hour, value, None) for hour, value in readings))
    story.tell(165, "heat_off")
    found = kiln_exposure(story.history(), moment(165))
    expected = hours_and_degree_hours_above([hour for hour, _ in readings], [value for _, value in readings], 50.0)
    assert found is not None
    assert found.hours == pytest.approx(expected.hours)
    assert found.degree_hours == pytest.approx(expected.degree_hours)
    assert sum(span.hours for span in found.spans) == pytest.approx(expected.hours, abs=0.26)
    assert sum(span.degree_hours for span in found.spans) == pytest.approx(expected.degree_hours)


def test_the_hottest_place_comes_first() -> None:
    story = kilned((161, 52.0, "top"), (161, 56.0, "bottom"), (162, 52.0, "top"), (162, 56.0, "bottom"))
    places = [each.place for each in kiln_exposures(story.history(), moment(162))]
    assert places == ["bottom", "top"]


def test_the_last_reading_holds_for_an_hour_and_no_longer() -> None:
    story = kilned((161, 51.0, None))
    history = story.history()
    for hour, expected in ((161.5, 0.5), (162, 1.0), (170, 1.0)):
        found = kiln_exposure(history, moment(hour))
        assert found is not None
        assert found.hours == pytest.approx(expected)


def test_a_reading_that_holds_is_judged_by_the_air_in_which_it_was_read_and_not_by_hotter_air_after_it() -> None:
    """A layer at 69.5 °C in air of 70 is dry; in the 84 that came after it, it would pass for wet."""
    story = Story().kiln()
    story.tell(160, "bed_depth", {"value": 0.3})
    for hour, on_c, off_c in ((161.2, 70.0, 30.0), (162.2, 70.0, 30.0), (163.2, 70.0, 31.0), (164.5, 84.0, 60.0)):
        story.read(hour, "air_on_temperature", on_c)
        story.read(hour + 0.02, "air_off_temperature", off_c)
    story.grain(163.25, 69.5, "middle")
    story.tell(163.3, "set_point", {"value": 84.0})
    found = kiln_exposure(story.history(), moment(164.6))
    assert found is not None
    assert found.measured_hours == pytest.approx(1.0)
    assert found.hours == 0.0


def test_no_exposure_without_grain_on_the_kiln_or_without_a_ceiling() -> None:
    assert kiln_exposure(Story().kiln().history(), moment(170)) is None
    stewed = Story("stewed").kiln()
    stewed.grain(161, 120.0)
    assert kiln_exposure(stewed.history(), moment(162)) is None


def test_grain_below_its_ceiling_has_measured_hours_and_no_exposure() -> None:
    found = kiln_exposure(kilned((161, 40.0, None), (163, 49.0, None)).history(), moment(163))
    assert found is not None
    assert (found.hours, found.degree_hours, found.spans) == (0.0, 0.0, ())
    assert found.measured_hours == pytest.approx(2.0)


def test_a_programme_changed_on_the_kiln_judges_what_follows_by_its_own_ceiling() -> None:
    from app.judgement.history.build import history_from_records
    from app.judgement.programmes.programme import revise

    story = kilned((161, 55.0, None), (162, 55.0, None), (163, 55.0, None))
    hotter = revise(story.programme, {"ceiling/0/grain_c": 58})
    story.tell(162, "programme_change", {"programme": hotter.digest})
    story.tell(163, "heat_off")
    history = history_from_records(story.all_records(), {each.digest: each for each in (story.programme, hotter)})
    found = kiln_exposure(history, moment(163))
    assert found is not None
    assert found.hours == pytest.approx(1.0)


def test_hours_without_heat_are_not_measured_by_the_readings_on_either_side() -> None:
    # 55 °C at 44 % is five over its ceiling; from 161.5 to 165 the kiln was cold, and nobody read it there.
    story = kilned((161, 55.0, None), (165.5, 55.0, None), (166, 55.0, None))
    story.tell(161.5, "paused")
    story.tell(165, "resumed")
    story.tell(166, "heat_off")
    found = kiln_exposure(story.history(), moment(166))
    assert found is not None
    assert found.measured_hours == pytest.approx(1.0)
    assert found.hours == pytest.approx(1.0)


def read_after_heat_off(off: float, value: float, *before: tuple[float, float, str | None]) -> Story:
    """At 44 % the ceiling is 50 °C; heat off at hour 163, and the grain read so long after it."""
    story = kilned(*before)
    story.tell(163, "heat_off")
    story.grain(163 + off, value)
    return story


def test_grain_read_hotter_soon_after_heat_off_was_as_hot_at_the_end_and_the_span_ends_there() -> None:
    story = read_after_heat_off(2 / 60, 60.0, (161, 40.0, None))
    found = kiln_exposure(story.history(), moment(170))
    assert found is not None
    assert found.degree_hours == pytest.approx(5.0)
    assert [span.ends_at for span in found.spans] == [moment(163)]
    assert story.flag(170, "over_ceiling").fact_ids[-1] == story.records[-1]["id"]


def test_the_only_look_at_the_grain_tells_how_hot_it_was_though_it_came_after_heat_off() -> None:
    story = read_after_heat_off(2 / 60, 135.6)
    found = kiln_exposure(story.history(), moment(170))
    assert found is not None
    assert (found.hours, found.worst_excess_c) == (0.0, pytest.approx(85.6))
    flag = story.flag(170, "over_ceiling")
    assert flag.severity == "act"
    assert flag.title.endswith("over its ceiling of 50.0 °C (122.0 °F)")
    said = meaning(story.history(), story.history().readings("grain_temperature")[-1], moment(163.05))
    assert said.status == "act"
    assert "over its ceiling" in said.text


def test_grain_that_has_cooled_since_or_was_read_long_after_heat_off_tells_nothing_of_the_kiln() -> None:
    before = (162, 55.0, None)
    held = kiln_exposure(kilned(before).history(), moment(163))
    for off, value in ((5 / 60, 45.0), (20 / 60, 70.0)):
        found = kiln_exposure(read_after_heat_off(off, value, before).history(), moment(170))
        assert held is not None
        assert found is not None
        assert (found.hours, found.degree_hours) == (held.hours, held.degree_hours)


def test_grain_read_under_heat_that_came_back_is_counted_once() -> None:
    story = kilned((162, 40.0, None))
    story.tell(163, "heat_off")
    story.tell(163 + 5 / 60, "heat_on")
    story.grain(163 + 10 / 60, 60.0)
    found = kiln_exposure(story.history(), moment(163 + 10 / 60))
    assert found is not None
    assert found.hours == 0.0
