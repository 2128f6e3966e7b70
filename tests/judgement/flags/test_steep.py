"""The steep: time under water, chits, water taken up, and a steep that spoils."""

import pytest

from tests.judgement.flag_story import Story, hour_of


@pytest.mark.parametrize(
    ("hour", "severity"), [(7.9, None), (8.1, "notice"), (9.9, "notice"), (10.1, "caution"), (14.1, "act")]
)
def test_one_immersion_may_last_so_long_in_still_water_of_16_degrees(hour: float, severity: str | None) -> None:
    story = Story().begin()
    story.read(0.5, "water_temperature", 16.0)
    assert [flag.severity for flag in story.flags(hour, "long_under_water")] == ([severity] if severity else [])


def test_ten_hours_in_water_of_13_degrees_are_as_published_and_no_caution() -> None:
    story = Story().begin()
    story.read(0.5, "water_temperature", 12.7)
    assert story.flags(10.0, "long_under_water") == []
    assert [flag.severity for flag in story.flags(10.3, "long_under_water")] == ["notice"]


def test_a_flag_for_time_under_water_ends_at_the_drain_and_keeps_its_figures() -> None:
    story = Story().begin()
    drained = story.tell(11, "drained")
    flag = story.flag(20, "long_under_water")
    assert drained not in flag.fact_ids
    assert (hour_of(flag.starts_at), hour_of(flag.ends_at), flag.worst) == (8, 11, 11.0)
    assert flag.severity == "caution"


def test_warmer_water_shortens_the_time() -> None:
    story = Story().begin()
    story.read(0.5, "water_temperature", 18.0)
    # Q10 of 2 above 16 °C: 8 h · 2^(−0.2) = 6.96 h.
    assert story.flags(6.9, "long_under_water") == []
    flag = story.flag(7.0, "long_under_water")
    assert flag.severity == "notice"
    assert flag.in_units("metric").title.endswith(" in water of 18.0 °C")
    cool = Story().begin()
    cool.read(0.5, "water_temperature", 16.0)
    assert "in water of" not in cool.flag(8.1, "long_under_water").title


def test_blown_air_lengthens_the_time() -> None:
    story = Story().declare().charge()
    story.tell(0, "steep_on", method="blown")
    assert story.flags(11.9, "long_under_water") == []
    assert story.flag(12.1, "long_under_water").severity == "notice"


def chitted_steep(chitted: int) -> Story:
    story = Story().begin()
    story.tell(6, "drained")
    story.chits(25.9, chitted)
    story.tell(26, "steep_on")
    return story


@pytest.mark.parametrize(("hour", "severity"), [(28.9, None), (29.1, "notice"), (30.1, "caution"), (32.1, "act")])
def test_chitted_grain_under_water_has_less_time(hour: float, severity: str | None) -> None:
    flags = chitted_steep(60).flags(hour, "chitted_under_water")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_grain_that_has_hardly_chitted_has_its_full_time() -> None:
    assert chitted_steep(29).flags(32, "chitted_under_water") == []


def test_chitted_and_under_water_speaks_for_too_long_under_water() -> None:
    story = chitted_steep(60)
    assert story.flags(40.5, "long_under_water") == []
    flag = story.flag(40.5, "chitted_under_water")
    assert flag.severity == "act"
    assert "60 of 100" in flag.title


def test_grain_that_chits_under_water_is_timed_from_when_it_did() -> None:
    story = Story().begin()
    story.chits(0.0, 0)
    story.chits(6.0, 60)
    # A straight line from none to 60 % passes 30 % at hour 3.
    assert story.flags(5.9, "chitted_under_water") == []
    flag = story.flag(7.1, "chitted_under_water")
    assert (flag.severity, flag.worst) == ("caution", pytest.approx(4.1, abs=0.01))


def test_chits_that_come_slowly_are_flagged_at_hour_thirty() -> None:
    story = Story().begin()
    story.tell(6, "drained")
    story.chits(29.5, 10)
    assert story.flags(29.6, "slow_chit") == []
    story.chits(30, 19)
    flag = story.flag(31, "slow_chit")
    assert "19 of 100" in flag.title
    assert flag.severity == "caution"


def test_a_fifth_chitted_at_hour_thirty_is_enough() -> None:
    story = Story().begin()
    story.chits(30, 20)
    assert story.flags(31, "slow_chit") == []


def test_a_later_count_that_is_enough_ends_slow_chit() -> None:
    story = Story().begin()
    story.chits(30, 10)
    story.chits(36, 50)
    assert hour_of(story.flag(37, "slow_chit").ends_at) == 36


@pytest.mark.parametrize(("chitted", "severity"), [(80, None), (79, "notice"), (69, "caution")])
def test_chits_at_the_cast(chitted: int, severity: str | None) -> None:
    story = Story()
    story.grow(cast_hour=40)
    story.chits(39, chitted)
    assert [flag.severity for flag in story.flags(41, "few_chits_at_cast")] == ([severity] if severity else [])


def test_counts_of_one_look_are_put_together() -> None:
    story = Story()
    story.grow(cast_hour=40)
    story.chits(39.0, 75)
    story.chits(39.2, 87)
    assert story.flags(41, "few_chits_at_cast") == []


def test_a_count_long_before_the_cast_says_nothing_of_it() -> None:
    story = Story()
    story.grow(cast_hour=40)
    story.chits(32, 50)
    assert story.flags(41, "few_chits_at_cast") == []


def cast_at(moisture_wb: float) -> Story:
    story = Story().begin()
    story.bag_start()
    story.tell(6, "drained")
    story.bag(39.5, moisture_wb)
    story.tell(40, "cast")
    return story


@pytest.mark.parametrize(
    ("moisture_wb", "rule", "severity"),
    [(0.44, None, None), (0.47, "oversteeped", "notice"), (0.49, "oversteeped", "caution"),
     (0.51, "oversteeped", "act"), (0.41, "dry_at_cast", "notice"), (0.39, "dry_at_cast", "caution")],
)  # fmt: skip
def test_the_water_taken_up_by_the_cast(moisture_wb: float, rule: str | None, severity: str | None) -> None:
    story = cast_at(moisture_wb)
    found = [(flag.rule, flag.severity) for flag in story.flags(41) if flag.rule in ("oversteeped", "dry_at_cast")]
    assert found == ([(rule, severity)] if rule else [])


@pytest.mark.parametrize(("hour", "rules"), [(39.5, {"oversteeped", "dry_at_cast"}), (60, {"bed_moisture"})])
@pytest.mark.parametrize("gross_kg", [0.75, 0.95])
def test_a_bag_on_a_scale_too_coarse_to_tell_is_not_said_to_be_too_dry_or_too_wet(
    gross_kg: float, hour: float, rules: set[str]
) -> None:
    story = Story().begin()
    for at, gross in ((-1, 0.55), (5, 0.7), (20, 0.7), (hour, gross_kg)):
        values = {"vessel": "bag 1", "gross_kg": gross, "tare_kg": 0.05} | ({"moisture_wb": 0.12} if at < 0 else {})
        story.tell(at, "test_bag_start" if at < 0 else "test_bag", values, typed={"gross": f"{gross:g}"})
    story.tell(6, "drained")
    story.tell(40, "cast")
    assert not rules & {flag.rule for flag in story.flags(hour + 2) if flag.severity != "notice"}


def test_oversteeped_is_told_while_it_is_still_under_water() -> None:
    story = Story().begin()
    story.bag_start()
    story.bag(5, 0.475)
    flag = story.flag(5.5, "oversteeped")
    assert flag.ends_at is None
    assert "±" in flag.title


@pytest.mark.parametrize(("at_cast", "rule"), [(0.47, "oversteeped"), (0.41, "dry_at_cast")])
def test_the_water_taken_up_is_said_until_a_weighing_on_the_floor_is_in_range(at_cast: float, rule: str) -> None:
    story = cast_at(at_cast)
    story.bag(60, at_cast)
    assert not story.flag(61, rule).has_ended
    story.bag(70, 0.44)
    assert hour_of(story.flag(71, rule).ends_at) == 70


def test_a_weighing_long_after_the_cast_says_nothing_of_the_steep() -> None:
    story = cast_at(0.44)
    story.bag(45, 0.51)
    assert story.flags(46, "oversteeped") == []


def test_too_dry_is_not_told_before_the_cast() -> None:
    story = Story().begin()
    story.bag_start()
    story.bag(5, 0.32)
    assert story.flags(5.5, "dry_at_cast") == []


def test_a_weighing_before_the_last_water_does_not_tell_that_it_was_cast_too_dry() -> None:
    story = Story().begin()
    story.bag_start()
    story.tell(20, "drained")
    story.bag(34, 0.39)
    story.tell(34, "steep_on", method="still")
    story.tell(37, "cast")
    assert story.flags(37.5, "dry_at_cast") == []


def test_too_dry_at_the_cast_ends_with_the_sprinkling_or_where_a_weighing_shows_it_wet_enough() -> None:
    for mend in (lambda story: story.tell(50, "sprinkled", {"amount": 0.001}), lambda story: story.bag(50, 0.43)):
        story = cast_at(0.39)
        assert story.flag(49, "dry_at_cast").ends_at is None
        mend(story)
        assert hour_of(story.flag(60, "dry_at_cast").ends_at) == 50


def test_a_foaming_steep_is_a_caution_and_sour_beside_it_is_act_now() -> None:
    story = Story().begin()
    story.look(4, steep="foaming")
    assert story.flag(5, "spoiling").severity == "caution"
    story.look(5, steep="foaming", smell="sour")
    flag = story.flag(6, "spoiling")
    assert flag.severity == "act"
    assert "foaming and sour" in flag.title


def test_gas_in_the_steep_warns_of_carbon_dioxide() -> None:
    for findings, is_warned in (({"steep": "gassy"}, True), ({"smell": "sour"}, False)):
        story = Story().begin()
        story.look(4, **findings)
        assert (story.flag(5, "spoiling").caution is not None) == is_warned


def test_a_clear_look_ends_a_spoiling_steep_and_a_silent_one_does_not() -> None:
    story = Story().begin()
    story.look(4, steep="gassy")
    story.look(5)
    assert story.flag(6, "spoiling").ends_at is None
    story.look(7, steep="clear")
    assert hour_of(story.flag(8, "spoiling").ends_at) == 7


def test_a_clear_steep_is_no_flag() -> None:
    story = Story().begin()
    story.look(4, steep="clear", smell="clean")
    assert story.flags(5, "spoiling") == []
