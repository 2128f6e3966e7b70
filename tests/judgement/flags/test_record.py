"""The record itself: slips, silence, clocks, times, the order of stages, and weighings that can't be read."""

from datetime import timedelta

import pytest

from app.judgement.forecasts.moisture import determination_of
from app.judgement.meaning.meaning import meaning
from app.judgement.programmes.programme import load_builtin
from tests.judgement.flag_story import Story, hour_of, moment


def growing() -> Story:
    story = Story()
    story.grow(cast_hour=40)
    return story


def test_a_fact_that_looks_like_another_unit_is_flagged_and_left_out_of_the_other_rules() -> None:
    story = growing()
    story.grain(44, 15.0)
    doubted = story.tell(46, "grain_temperature", {"value": 59.0}, typed={"value": "59", "value_unit": "c"})
    assert [flag.rule for flag in story.flags(47)] == ["slip"]
    flag = story.flag(47, "slip")
    assert flag.fact_ids == (doubted,)
    assert "59 °F (15.0 °C)" in flag.title


def test_what_was_insisted_on_is_judged_as_it_was_read() -> None:
    story = growing()
    story.grain(45, 15.0)
    typed = {"value": "59", "value_unit": "c", "insisted": "1"}
    story.tell(46, "grain_temperature", {"value": 59.0}, typed=typed)
    assert [flag.rule for flag in story.flags(47)] == ["out_of_limits"]


def test_answered_as_a_false_alarm_a_slip_counts_as_it_was_read() -> None:
    story = growing()
    story.grain(45, 15.0)
    doubted = story.tell(46, "grain_temperature", {"value": 59.0}, typed={"value": "59", "value_unit": "c"})
    story.answer(46.5, "slip", doubted, "seen", "caution")
    assert {flag.rule for flag in story.flags(47)} == {"slip"}
    story.answer(46.6, "slip", doubted, "false_alarm", "caution")
    assert {flag.rule for flag in story.flags(47)} == {"slip", "out_of_limits"}


def test_an_ordinary_reading_is_no_slip() -> None:
    story = growing()
    story.grain(46, 15.0)
    assert story.flags(47) == []


@pytest.mark.parametrize(("hour", "is_flagged"), [(55.9, False), (56.1, True)])
def test_twelve_hours_without_a_reading_while_warm(hour: float, is_flagged: bool) -> None:
    story = growing()
    story.grain(44, 15.0)
    story.tell(50, "turned")
    flags = story.flags(hour, "silent")
    assert [flag.severity for flag in flags] == (["caution"] if is_flagged else [])


def test_cold_grain_may_wait_longer() -> None:
    story = growing()
    story.grain(44, 9.0)
    assert story.flags(70, "silent") == []


def test_a_look_breaks_the_silence_and_a_note_does_not() -> None:
    for kind, values, is_silent in (
        ("inspection", {"findings": {"mould": "no"}}, False),
        ("chit_count", {"looked_at": 100, "counts": {"chitted": 90}}, False),
        ("note", {"text": "mice"}, True),
    ):
        story = growing()
        story.grain(44, 15.0)
        story.tell(50, kind, values)
        assert bool(story.flags(57, "silent")) == is_silent


def test_where_no_temperature_was_ever_taken_it_is_held_to_be_warm() -> None:
    story = Story().begin()
    story.tell(6, "drained")
    assert story.flags(18, "silent") == []
    assert len(story.flags(18.1, "silent")) == 1


def test_a_silence_of_the_past_is_a_notice_that_has_ended() -> None:
    story = growing()
    story.grain(44, 15.0)
    story.grain(60, 15.0)
    flag = story.flag(61, "silent")
    assert (flag.severity, hour_of(flag.starts_at), hour_of(flag.ends_at)) == ("notice", 56, 60)


def test_a_finished_batch_may_be_silent() -> None:
    story = growing()
    story.grain(150, 15.0)
    story.tell(151, "abandoned")
    assert all(flag.ends_at is not None for flag in story.flags(400, "silent"))


@pytest.mark.parametrize(("offset_s", "is_flagged"), [(120.0, False), (121.0, True), (-121.0, True)])
def test_a_clock_two_minutes_off(offset_s: float, is_flagged: bool) -> None:
    story = growing()
    story.tell(44, "turned", clock="now", clock_offset_s=offset_s, device="Anna's phone")
    flags = story.flags(45, "clock_off")
    assert bool(flags) == is_flagged
    assert all(flag.title == "The clock of Anna's phone is off by 2 min" for flag in flags)


def test_a_clock_put_right_ends_the_flag_and_each_device_has_its_own() -> None:
    story = growing()
    story.tell(44, "turned", clock_offset_s=400.0, device="phone 1")
    story.tell(45, "turned", clock_offset_s=500.0, device="phone 2")
    story.tell(46, "turned", clock_offset_s=0.0, device="phone 1")
    assert [hour_of(flag.ends_at) for flag in story.flags(47, "clock_off")] == [46, None]


def test_a_reading_before_the_batch_is_asked_about() -> None:
    story = growing()
    early = story.grain(-3, 15.0)
    assert story.flag(44, "before_the_batch").fact_ids == (early,)


def test_bags_and_float_tests_come_before_the_charge() -> None:
    story = Story().declare()
    story.bag_start(-3)
    story.charge(hour=-2)
    assert story.flags(0, "before_the_batch") == []


def test_a_fact_of_the_future_is_told_and_has_no_say_yet() -> None:
    story = growing()
    story.grain(43, 15.0)
    coming = story.grain(46, 26.0)
    assert [(flag.rule, flag.fact_ids) for flag in story.flags(44)] == [("in_the_future", (coming,))]
    assert [flag.rule for flag in story.flags(46)] == ["out_of_limits"]


def test_five_minutes_ahead_are_let_pass() -> None:
    story = growing()
    story.grain(44.08, 15.0)
    assert story.flags(44, "in_the_future") == []


def test_a_reading_after_the_end_is_told_and_packing_after_it_is_ordinary() -> None:
    story = growing()
    story.tell(150, "abandoned")
    story.tell(151, "note", {"text": "mice"})
    assert story.flags(152, "after_the_end") == []
    late = story.grain(151.5, 15.0)
    assert story.flag(152, "after_the_end").fact_ids == (late,)


def test_the_ordinary_order_of_stages_is_not_strange() -> None:
    story = Story().kiln()
    story.tell(175, "heat_off")
    story.tell(176, "stripped")
    story.tell(178, "finished")
    assert story.flags(179, "strange_order") == []


def test_grain_back_on_the_floor_raises_a_question_and_no_more() -> None:
    story = Story().kiln()
    back = story.tell(161, "cast")
    flag = story.flag(162, "strange_order")
    assert (flag.severity, flag.episode_id) == ("notice", back)
    assert flag.title.startswith("From on the kiln to germination")


def test_a_batch_may_begin_on_the_kiln_but_not_with_the_cast() -> None:
    roast = Story("roasted")
    roast.tell(0, "heat_on")
    assert roast.flags(1, "strange_order") == []
    story = Story()
    story.tell(0, "cast")
    assert len(story.flags(1, "strange_order")) == 1


def test_a_bag_without_a_start_is_told_once_for_each_bag() -> None:
    story = growing()
    story.bag(10, 0.35, vessel="red bag")
    story.bag(20, 0.4, vessel="red bag")
    story.bag(20, 0.4)
    flag = story.flag(44, "no_start")
    assert flag.place == "red bag"
    assert len(flag.fact_ids) == 2


def test_a_tray_first_weighed_long_after_the_loading_has_no_start() -> None:
    for hour, is_flagged in ((160.9, False), (161.2, True)):
        story = Story().kiln()
        story.tray(hour, 9.0)
        story.tray(165, 7.0)
        assert bool(story.flags(166, "no_start")) == is_flagged


MEANT = {"insisted": "1"}


def test_a_bag_lighter_than_its_dry_matter_is_a_caution() -> None:
    # 0.5 kg at 12 % hold 0.44 kg dry, of which a little goes with steep and breath.
    for net, is_flagged in ((0.42, False), (0.38, True)):
        story = growing()
        story.tell(
            44, "test_bag", {"vessel": "bag 1", "gross_kg": net + 0.03, "tare_kg": 0.03, "net_kg": net}, typed=MEANT
        )
        assert bool(story.flags(45, "lighter_than_dry")) == is_flagged


def test_a_bag_too_light_is_told_what_went_in_and_what_must_be_left_of_it() -> None:
    # 500 g at 12 %: 440 g dry went in, and 0.88 of that, 387.2 g, are left at the least.
    story = growing()
    story.tell(44, "test_bag", {"vessel": "bag 1", "gross_kg": 0.41, "tare_kg": 0.03, "net_kg": 0.38}, typed=MEANT)
    title = story.flag(45, "lighter_than_dry").title
    assert "440.0 g went in" in title
    assert "387.2 g of that are left" in title


def test_why_a_bag_tells_no_moisture_is_said_by_its_own_cause() -> None:
    light = {"vessel": "bag 1", "gross_kg": 0.41, "tare_kg": 0.03, "net_kg": 0.38}
    for values, said in (
        (light, "can’t weigh less than the dry matter"),
        (light | {"vessel": "bag 2"}, "Record the start"),
    ):
        story = growing()
        story.tell(44, "test_bag", values)
        fact = next(each for each in story.history().of_kind("test_bag") if each.at == moment(44))
        assert said in meaning(story.history(), fact, moment(44)).detail


def test_a_tray_lighter_than_its_dry_matter_is_a_caution() -> None:
    for net, is_flagged in ((5.7, False), (5.4, True)):
        story = Story().kiln()
        story.tray(160.2, 10.0)
        story.tray(170, net)
        assert bool(story.flags(171, "lighter_than_dry")) == is_flagged


def test_the_start_of_a_tray_is_kept_as_what_it_is_and_one_too_light_is_not_called_a_start() -> None:
    story = Story().kiln()
    story.tray(160.2, 10.0)
    story.tray(170, 5.0)
    history = story.history()
    start, light = (meaning(history, fact, moment(171)) for fact in history.of_kind("tray"))
    assert (start.status, start.text) == ("none", "Tray’s start kept")
    assert light.text == "Kept, but it gives no moisture"
    assert "check the tare" in light.detail


def test_in_a_kitchen_a_long_night_between_two_looks_is_no_silence() -> None:
    kitchen = load_builtin()["kitchen_barley"]
    for hours, is_flagged in ((15.0, False), (17.0, True)):
        story = growing()
        story.programme = kitchen
        for hour in (44, 44 + hours):
            story.grain(hour, 16.0)
        told = [flag for flag in story.flags(45 + hours, "silent") if hour_of(flag.starts_at) > 44]
        assert bool(told) == is_flagged


def caught_up_on(hours_late: float) -> Story:
    """A steep, its drain not told yet, each entry written so many hours after it happened."""
    story = Story().declare().charge()
    story.tell(0, "steep_on", method="still")
    story.read(5, "water_temperature", 25.0)
    for record in story.records:
        record["written_at"] = (moment(5) + timedelta(hours=hours_late)).isoformat()
    return story


def test_while_last_week_is_caught_up_on_nothing_is_red_that_the_next_entry_may_settle() -> None:
    assert {flag.severity for flag in caught_up_on(40).flags(45.1)} == {"notice"}
    in_time = caught_up_on(0.1).flags(45.1)
    assert {"long_under_water", "out_of_limits", "silent"} <= {f.rule for f in in_time if f.severity != "notice"}


def test_the_answer_to_what_was_so_last_week_asks_for_nothing() -> None:
    for hours_late, status, text in (
        (40, "notice", "Water temperature 25.0 °C: far too high, then"),
        (0.1, "act", "Change to cooler water, or drain sooner."),
    ):
        history = caught_up_on(hours_late).history()
        said = meaning(history, history.facts[-1], moment(5 + hours_late + 0.1))
        assert (said.status, said.text) == (status, text)


def test_mould_is_red_whenever_it_is_told() -> None:
    story = caught_up_on(40)
    story.look(5.5, mould="yes")
    story.records[-1]["written_at"] = moment(45).isoformat()
    assert [flag.rule for flag in story.flags(45.1) if flag.severity == "act"] == ["mould"]


def test_a_correction_of_an_old_entry_makes_no_record_late() -> None:
    story = caught_up_on(0.1)
    story.read(5, "water_temperature", 24.5)
    story.records[-1] |= {"supersedes_id": story.records[-2]["id"], "written_at": moment(44).isoformat()}
    assert "long_under_water" in {flag.rule for flag in story.flags(45.1) if flag.severity == "act"}


def steeped(*bags: tuple[float, float]) -> Story:
    """Six hours under water, fourteen in the air, six under water; the bag weighed, kg, of one of 0.5 kg."""
    story = Story().begin()
    story.bag_start()
    story.tell(6, "drained")
    story.tell(20, "steep_on", method="still")
    for hour, net_kg in bags:
        story.tell(hour, "test_bag", {"vessel": "bag 1", "net_kg": net_kg}, method="blotted")
    return story


@pytest.mark.parametrize(
    ("bags", "is_flagged"),
    [
        (((5.9, 0.650), (19.9, 0.665), (23.0, 0.720)), False),
        (((5.9, 0.650), (19.9, 0.645), (23.0, 0.700)), False),
        (((5.9, 0.650), (19.9, 0.665), (23.0, 0.620)), True),
        (((5.9, 0.650), (19.9, 0.765), (23.0, 0.720)), True),
        (((5.9, 0.650), (19.9, 0.665), (23.0, 0.820)), True),
    ],
)
def test_a_bag_gets_no_lighter_in_the_steep_and_takes_up_no_faster_than_before(bags, is_flagged) -> None:
    assert bool(steeped(*bags).flags(23.1, "out_of_row")) == is_flagged


def on_trays(*weighings: tuple[float, dict[str, float]]) -> Story:
    story = Story()
    story.grow()
    story.tell(146, "loaded")
    story.tell(146.2, "heat_on")
    for hour, values in weighings:
        story.tell(hour, "tray", {"vessel": "tray 1"} | values)
    return story


START = (146.1, {"gross_kg": 2.4, "tare_kg": 0.5, "net_kg": 1.9})


@pytest.mark.parametrize(
    ("weighings", "is_flagged"),
    [
        (((149.0, {"gross_kg": 2.2, "tare_kg": 0.5, "net_kg": 1.7}),), False),
        (((149.0, {"net_kg": 1.7}), (151.0, {"net_kg": 1.5})), False),
        (((149.0, {"gross_kg": 2.41, "tare_kg": 0.5, "net_kg": 1.91}),), False),
        (((149.0, {"gross_kg": 2.6, "tare_kg": 0.5, "net_kg": 2.1}),), True),
        (((149.0, {"net_kg": 2.2}),), True),
        (((149.0, {"net_kg": 1.89}), (151.0, {"gross_kg": 1.7, "tare_kg": 0.5, "net_kg": 1.2})), True),
    ],
)
def test_a_tray_gets_no_heavier_in_the_heat_and_is_not_weighed_with_the_grain(weighings, is_flagged) -> None:
    story = on_trays(START, *weighings)
    assert bool(story.flags(151.1, "out_of_row")) == is_flagged


def test_a_load_set_to_one_that_is_drying_is_told_and_a_new_one_after_the_heat_is_not() -> None:
    story = on_trays(START)
    assert story.flags(149, "strange_order") == []
    story.tell(149, "loaded")
    assert story.flag(149.1, "strange_order").severity == "caution"
    after = on_trays(START)
    after.tell(160, "heat_off")
    after.tell(161, "loaded")
    assert not any(flag.severity == "caution" for flag in after.flags(161.1, "strange_order"))


def test_a_tray_known_too_little_is_not_said_to_be_outside_of_what_is_wanted() -> None:
    story = Story().kiln()
    story.records = [record for record in story.records if record["kind"] != "moisture_test"]
    story.tray(160.05, 2.0)
    story.grain(165, 60.0)
    story.tray(172, 1.17)
    history = story.history()
    told = history.of_kind("tray")[-1]
    sample = determination_of(history, told)
    assert sample is not None
    assert sample.moisture_wb < 0.04 < sample.moisture_wb + sample.half_width
    said = meaning(history, told, moment(172.1))
    assert "target" not in said.text
    assert said.detail == "Known too little to say whether it is dry enough: test the malt."


def test_an_answer_ends_in_one_full_stop() -> None:
    story = Story().charge()
    charge = story.history().of_kind("charge")[0]
    said = meaning(story.history(), charge, moment(0))
    assert (said.status, said.detail[-12:]) == ("caution", "harged kept.")


def test_a_bag_that_was_emptied_and_filled_with_less_has_not_got_lighter_in_the_steep() -> None:
    story = steeped((5.9, 0.650))
    story.bag_start(6.2, 0.3)
    story.tell(23, "test_bag", {"vessel": "bag 1", "net_kg": 0.40}, method="blotted")
    assert story.flags(23.1, "out_of_row") == []
    story.tell(24, "test_bag", {"vessel": "bag 1", "net_kg": 0.33}, method="blotted")
    assert "no lighter in the steep" in story.flag(24.1, "out_of_row").title


def test_malt_that_takes_up_damp_without_heat_has_not_got_heavier_in_the_heat() -> None:
    dry, damp = ((160.0, {"net_kg": 1.12}), (185.0, {"net_kg": 1.16}))
    assert on_trays(START, dry, damp).flags(185.1, "out_of_row") != []
    cooled = on_trays(START, dry, damp)
    cooled.tell(161, "heat_off")
    assert cooled.flags(185.1, "out_of_row") == []
    cooled.tell(184, "heat_on")
    assert cooled.flags(185.1, "out_of_row") == []
