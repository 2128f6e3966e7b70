"""What lies ahead: targets that are not in reach, and a bed on its way past its limit."""

from __future__ import annotations

import pytest

from tests.judgement.flag_story import Story, hour_of


def steeped(*weighings: tuple[float, float]) -> Story:
    story = Story().begin()
    story.bag_start()
    story.tell(6, "drained")
    story.tell(20, "steep_on", method="still")
    for hour, moisture_wb in weighings:
        story.bag(hour, moisture_wb)
    return story


def test_a_lot_that_takes_up_far_too_slowly_is_told_before_the_cast() -> None:
    flag = steeped((5.9, 0.24), (19.9, 0.25), (22, 0.265)).flag(22.1, "not_in_reach")
    assert flag.severity == "caution"
    assert flag.title.startswith("40.0 %, the least for the cast, is not in reach by hour 26")
    # Somewhat less than a hundredth of the dry matter has gone by then: a little drier than it was weighed for.
    assert flag.worst == pytest.approx(0.262, abs=0.004)
    assert "one more steep" in flag.remedy


def test_a_lot_that_goes_as_planned_or_a_little_slower_is_not() -> None:
    for weighings in (((5.9, 0.32), (19.9, 0.34), (22, 0.37)), ((5.9, 0.30), (19.9, 0.33), (22, 0.36))):
        assert steeped(*weighings).flags(22.1, "not_in_reach") == []


def test_one_weighing_says_nothing_against_a_lot() -> None:
    assert steeped((5.9, 0.22)).flags(21, "not_in_reach") == []


def test_it_is_one_flag_however_often_it_is_weighed_and_is_gone_at_the_cast() -> None:
    story = steeped((5.9, 0.24), (19.9, 0.25), (22, 0.265))
    first = story.flag(22.1, "not_in_reach")
    story.bag(24, 0.28)
    assert story.flag(24.1, "not_in_reach").key == first.key
    story.tell(25, "cast")
    assert story.flags(25.1, "not_in_reach") == []
    assert story.flags(25.1, "dry_at_cast")


def grown(*counts: tuple[float, int, int, int, int, int], warmth_c: float = 15.0) -> Story:
    story = Story()
    story.grow()
    for hour in range(42, 150, 6):
        story.grain(hour, warmth_c + 0.1 * (hour % 5))
    for each in counts:
        story.growth(*each)
    return story


def test_growth_that_won_t_come_to_its_range_in_its_days_is_told() -> None:
    story = grown((72, 100, 0, 0, 0, 0), (80, 98, 2, 0, 0, 0), (88, 96, 4, 0, 0, 0), warmth_c=11.0)
    story.growth(112, 92, 8, 0, 0, 0)
    flags = [flag for flag in story.flags(113) if flag.rule in ("not_in_reach", "growth_stalled")]
    assert len(flags) == 1, "one flag for one cause"


def test_slow_growth_by_counts_close_together_is_told_by_the_forecast() -> None:
    story = grown((150, 92, 8, 0, 0, 0), (158, 88, 12, 0, 0, 0))
    flag = story.flag(159, "not_in_reach")
    assert flag.title == "0.7 kernel lengths are not in reach by day 7 of growth"
    assert "2 counts" in flag.meaning
    # Cast at hour 40, seven days on is hour 208: from then on it has simply lasted too long.
    assert {each.rule for each in story.flags(209)} & {"not_in_reach", "stage_overdue"} == {"stage_overdue"}


def test_growth_as_planned_is_in_reach() -> None:
    assert grown((90, 40, 60, 0, 0, 0), (114, 0, 60, 40, 0, 0)).flags(115, "not_in_reach") == []


def curing(air_c: float, humidity: float | None) -> Story:
    story = Story().kiln(moisture_wb=0.44)
    story.read(160.5, "air_on_temperature", 52.0)
    story.tray(160.05, 2.0)
    story.tray(166, 1.3)
    story.read(170, "air_on_temperature", air_c)
    if humidity is not None:
        story.read(170.1, "humidity", humidity, place="below the grain")
    return story


@pytest.mark.parametrize(("humidity", "severity"), [(0.1, None), (0.6, "caution")])
def test_air_too_damp_to_dry_it_is_told(humidity: float, severity: str | None) -> None:
    flags = curing(82.0, humidity).flags(171, "not_in_reach")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    if flags:
        assert "82.0 °C (179.6 °F)" in flags[0].title
        assert "never gets drier than" in flags[0].meaning


def test_while_hotter_air_is_planned_it_need_not_get_dry_in_this_air() -> None:
    # In air of 62 °C the plan wants it down to 10 % and not to 4.5.
    assert curing(62.0, 0.3).flags(171, "not_in_reach") == []


def warming(*readings: tuple[float, float], place: str | None = None) -> Story:
    story = Story()
    story.grow()
    for hour, value_c in readings:
        story.grain(hour, value_c, place)
    return story


def test_a_bed_that_passes_its_limit_before_the_next_look_is_told() -> None:
    flag = warming((41, 16.0), (43, 18.0)).flag(43.1, "bed_limit_ahead")
    # A degree an hour: 20 °C two hours on; the next turn is not due before hour 48.
    assert flag.severity == "caution"
    assert flag.title == "The bed comes to 20.0 °C about hour 45, before the next look at it"
    assert flag.meaning.startswith("It warmed by 1.0 °C an hour over 2 h")
    assert hour_of(flag.starts_at) == 43


def test_a_bed_that_goes_far_past_it_is_graver() -> None:
    assert warming((41, 14.0), (43, 19.0)).flag(43.1, "bed_limit_ahead").severity == "act"


def test_a_bed_that_warms_slowly_or_was_turned_since_is_not() -> None:
    assert warming((41, 15.0), (44, 15.9)).flags(44.1, "bed_limit_ahead") == []
    story = warming((41, 16.0), (43, 18.0))
    story.tell(43.5, "turned")
    assert story.flags(43.6, "bed_limit_ahead") == []


def test_a_warm_bed_is_one_flag_and_not_two() -> None:
    story = warming((41, 16.0), (43, 18.5))
    flags = [flag for flag in story.flags(43.1) if flag.cause == "warm bed"]
    assert [flag.rule for flag in flags] == ["bed_limit_ahead"]
    assert [rule for rule, _ in flags[0].stands_for] == ["out_of_limits"]


def test_a_bed_that_is_past_its_limit_already_is_told_by_the_limit_alone() -> None:
    story = warming((41, 19.0), (43, 21.0))
    assert story.flags(43.1, "bed_limit_ahead") == []
    assert story.flag(43.1, "out_of_limits").severity == "caution"


def test_the_warmest_place_tells_it() -> None:
    story = warming((41, 15.0), (43, 15.0), place="bottom")
    story.grain(41, 16.0, "top")
    story.grain(43, 18.0, "top")
    flag = story.flag(43.1, "bed_limit_ahead")
    assert flag.place == "top"
    assert "(top)" in flag.title


def test_felted_rootlets_want_turning_at_once() -> None:
    story = Story()
    story.grow()
    story.grain(45, 15.0)
    story.look(45, matting="felted")
    assert story.flags(45.9, "turning_due") == []
    flag = story.flag(46.1, "turning_due")
    assert flag.severity == "caution"
    assert hour_of(flag.starts_at) == 46
    story.tell(46.2, "turned")
    assert story.flag(46.3, "turning_due").ends_at is not None
