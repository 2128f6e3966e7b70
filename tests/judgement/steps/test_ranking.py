"""The one ranking: what must be done at once is the next step, and nothing beside it asks for the opposite."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app.judgement.facts.kinds import STAGE_KINDS
from app.judgement.history.build import history_from_records
from app.judgement.meaning.meaning import meaning
from app.judgement.programmes.programme import load_builtin
from app.judgement.slips.questions import INSISTED
from app.judgement.steps.next_steps import next_steps, ranked
from tests.judgement.flag_story import Story, hour_of, moment
from tests.judgement.flags.test_inspection import growing
from tests.judgement.plan_run import plan_story
from tests.truth.looks import contradictions

MEANT = {INSISTED: "1"}
START = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
LOOKS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("inspection", {"findings": {"mould": "yes"}}),
    ("inspection", {"findings": {"mould": "no", "steep": "gassy", "smell": "sour"}}),
    ("grain_temperature", {"value": 33.0}),
    ("co2_room", {"value": 20_000.0}),
    ("inspection", {"findings": {"mould": "no", "scorch": "smoke"}}),
)


def first(story: Story, hour: float) -> tuple[str, str]:
    step = next_steps(story.history(), moment(hour))[0]
    return step.order, step.what


def doings(story: Story, hour: float) -> set[str]:
    return {step.doing for step in next_steps(story.history(), moment(hour))}


def remedies(story: Story, hour: float, rule: str) -> list[str]:
    judged = ranked(story.history(), moment(hour)).flags
    return [each.flag.remedy for each in judged if each.is_open and each.flag.rule == rule]


def flags(story: Story, hour: float) -> set[str]:
    return {each.flag.rule for each in ranked(story.history(), moment(hour)).flags if each.is_open}


@pytest.mark.parametrize("key", sorted(load_builtin()))
def test_in_no_programme_is_anybody_told_two_things_that_go_against_each_other(key: str) -> None:
    records = plan_story(load_builtin()[key], START)
    begun = [place for place, record in enumerate(records) if record.get("kind") in STAGE_KINDS]
    told = 0
    for number, place in enumerate(begun):
        at = datetime.fromisoformat(records[place]["earliest_at"]) + timedelta(hours=1)
        kind, values = LOOKS[number % len(LOOKS)]
        seen = records[place] | {"id": "seen", "kind": kind, "values": values, "at": at.isoformat()}
        seen = {
            name: each for name, each in seen.items() if name not in ("earliest_at", "latest_at", "method", "typed")
        }
        for more, waits_h in (([], (15.0, 45.0)), ([seen], (1.1, 15.0))):
            history = history_from_records([*records[: place + 1], *more])
            for wait_h in waits_h:
                now = at + timedelta(hours=wait_h - 1.0)
                to_do = ranked(history, now)
                assert list(contradictions(to_do, now)) == []
                urgent = [each for each in to_do.flags if each.is_open and each.flag.severity == "act"]
                assert not urgent or to_do.steps[0].order
                told += len(urgent)
    assert told > 0


def test_what_can_kill_goes_before_what_spoils_the_batch() -> None:
    story = growing()
    story.grain(60, 27.0)
    assert first(story, 60.1) == ("batch", "Turn the bed")
    story.look(60.2, mould="yes")
    assert first(story, 60.3)[0] == "food"
    story.read(60.4, "co2_room", 20_000.0)
    assert first(story, 60.5) == ("people", "Leave now, open everything, and don't go in alone")


def test_nothing_is_turned_grown_or_dried_above_mould() -> None:
    story = growing()
    story.grain(60, 27.0)
    assert flags(story, 75) >= {"warm_and_wet", "turning_due"}
    story.look(60.2, mould="yes")
    assert flags(story, 75) & {"out_of_limits", "turning_due", "warm_and_wet"} == set()
    kinds = {step.kind for step in next_steps(story.history(), moment(75))}
    assert kinds & {"turned", "growth_count", "loaded"} == set()


def test_what_smoulders_is_let_no_air_to_and_is_looked_at_for_mould_when_it_is_cold() -> None:
    story = Story().kiln()
    story.tell(180, "heat_off")
    assert "Cool it, thin and moving" in {step.what for step in next_steps(story.history(), moment(180.2))}
    story.look(180.5, scorch="smoke", mould="yes")
    steps = next_steps(story.history(), moment(180.6))
    assert (steps[0].order, steps[0].what) == ("fire", "Heat and fuel off, doors shut, spray at hand")
    assert {step.doing for step in steps} & {"cool", "stripped", "pack", "turned"} == set()


def test_a_corner_that_was_too_warm_is_measured_again_within_an_hour_as_its_flag_says() -> None:
    story = growing()
    story.tell(59, "turned")
    story.grain(60, 18.0, "middle")
    story.grain(60.1, 21.5, "corner")
    assert "measure again within an hour" in story.flag(60.2, "out_of_limits").remedy
    for hour in (60.2, 60.9):
        (look,) = [step for step in next_steps(story.history(), moment(hour)) if step.kind == "grain_temperature"]
        assert (look.what, hour_of(look.due_at)) == ("Take the grain’s temperature (corner)", 61.1)
    story.tell(60.5, "turned")
    story.grain(61.4, 16.0, "middle")
    (look,) = [step for step in next_steps(story.history(), moment(61.45)) if step.kind == "grain_temperature"]
    assert (look.what, hour_of(look.due_at)) == ("Take the grain’s temperature (corner)", 61.5)
    story.grain(61.5, 16.5, "corner")
    (look,) = [step for step in next_steps(story.history(), moment(61.6)) if step.kind == "grain_temperature"]
    assert (look.what, hour_of(look.due_at)) == ("Take the grain’s temperature", 69.5)


def test_a_bed_that_was_turned_since_it_was_read_is_measured_and_not_turned_again() -> None:
    story = growing()
    story.grain(60, 15.0, "middle")
    story.grain(60.1, 26.0, "corner")
    first = next_steps(story.history(), moment(60.2))[0]
    assert (first.order, first.kind) == ("batch", "turned")
    story.tell(60.3, "turned")
    first = next_steps(story.history(), moment(60.4))[0]
    assert (first.order, first.kind, first.what) == (
        "batch",
        "grain_temperature",
        "Take the grain’s temperature (corner)",
    )
    story.grain(61.4, 25.5, "corner")
    assert next_steps(story.history(), moment(61.5))[0].kind == "turned"


def test_a_charge_to_be_rejected_is_not_turned() -> None:
    story = growing()
    story.look(50, ergot_kg=0.04)
    steps = next_steps(story.history(), moment(61))
    assert steps[0].what == "Reject the charge: keep it from food and feed"
    assert "turned" not in {step.kind for step in steps}


def test_grain_too_long_under_water_is_drained_and_that_stands_first() -> None:
    story = Story().begin()
    story.read(1, "water_temperature", 14.0)
    step = next_steps(story.history(), moment(18))[0]
    assert (step.order, step.what, step.kind) == ("batch", "Drain", "drained")
    assert step.why.startswith("Under water for 18 h")
    story.tell(18.1, "drained")
    assert "Drain" not in {each.what for each in next_steps(story.history(), moment(18.2))}


def test_grain_that_lay_in_killing_water_is_sampled_before_anything_goes_on_until_it_is_counted() -> None:
    story = Story().begin()
    story.read(1, "water_temperature", 55.0, typed=MEANT)
    assert first(story, 1.1) == ("batch", "Drain")
    story.tell(1.2, "drained")
    for hour in (1.3, 20.0, 30.0):
        step = next_steps(story.history(), moment(hour))[0]
        assert (step.order, step.kind, step.what) == ("batch", "chit_count", "See whether a sample still chits")
        assert "55.0 °C" in step.why
        assert not {"steep_on", "cast", "chit_count"} & doings(story, hour)
    story.chits(30.1, 80)
    assert "sample" not in doings(story, 30.2)


def test_grain_left_under_cold_water_after_the_killing_one_is_sampled_too() -> None:
    story = Story().begin()
    story.read(1, "water_temperature", 55.0, typed=MEANT)
    story.read(1.5, "water_temperature", 14.0)
    assert first(story, 1.6) == ("batch", "See whether a sample still chits")
    assert "drained" in doings(story, 1.6)


def test_warm_water_that_kills_nothing_asks_for_no_sample() -> None:
    story = Story().begin()
    story.read(1, "water_temperature", 30.0)
    story.tell(1.2, "drained")
    assert "sample" not in doings(story, 1.3)


def test_foul_water_is_mended_by_the_drain() -> None:
    story = Story().begin()
    story.look(3, steep="gassy", smell="sour")
    assert first(story, 3.1) == ("food", "Drain, rinse, and let it breathe")
    story.tell(4, "drained")
    assert "spoiling" not in flags(story, 44)
    assert "Drain" not in first(story, 44)[1]


def test_the_air_of_three_days_ago_says_nothing_of_the_room_now() -> None:
    story = growing()
    story.read(50, "co2_room", 20_000.0)
    assert "room_air" in flags(story, 61)
    assert "room_air" not in flags(story, 122)


def test_a_tray_is_weighed_as_it_goes_in_and_not_asked_for_all_night() -> None:
    story = growing()
    story.tell(160, "loaded")
    asked = "Weigh each tray as it goes in"
    assert asked in {step.what for step in next_steps(story.history(), moment(160.1))}
    story.tell(160.2, "heat_on")
    assert asked not in {step.what for step in next_steps(story.history(), moment(160.3))}
    later = next_steps(story.history(), moment(166))
    assert asked not in {step.what for step in later}
    assert "Crush a kernel, or test its moisture" in {step.what for step in later}


def test_while_last_week_is_caught_up_on_one_is_asked_for_what_came_next() -> None:
    story = Story().declare().charge()
    story.tell(0, "steep_on", method="still")
    story.records[-1]["written_at"] = moment(40).isoformat()
    steps = next_steps(story.history(), moment(40.1))
    assert [step.what.partition(" since")[0] for step in steps] == ["Write down what was done"]
    assert steps[0].why == "By the last entry it was under water then. If it still is: drain."
    assert hour_of(steps[0].due_at) == 0


def test_while_last_week_is_caught_up_on_nothing_is_asked_for_before_its_time() -> None:
    story = Story().grow()
    story.tell(60, "turned")
    story.records[-1]["written_at"] = moment(80).isoformat()
    (step,) = next_steps(story.history(), moment(80.1))
    assert step.why == "By the last entry it was germination then. If it still is: take the grain’s temperature."
    story.tell(160, "turned")
    story.records[-1]["written_at"] = moment(190).isoformat()
    (step,) = next_steps(story.history(), moment(190.1))
    assert step.why.endswith("If it still is: load the kiln.")


def test_an_over_long_steep_told_three_times_is_said_once() -> None:
    story = Story().begin()
    for hour in (0.5, 1.0):
        story.tell(hour, "steep_on", method="still")
    assert len(story.flags(16, "long_under_water")) == 1


def test_hot_grain_is_cooled_before_it_is_asked_whether_it_was_read_right() -> None:
    story = Story().kiln()
    story.read(165, "set_point", 135.0)
    story.grain(165.5, 128.0)
    order, what = first(story, 165.6)
    assert (order, what.partition(" to ")[0]) == ("fire", "Lower the air-on")
    assert "slip" in flags(story, 165.6)


def test_a_hot_reading_that_is_past_asks_nobody_to_look_at_the_kiln_at_once() -> None:
    story = Story().kiln()
    doubted = story.read(165, "set_point", 135.0)
    assert story.flag(165.1, "slip").severity == "act"
    story.tell(166, "heat_off")
    assert story.flag(166.1, "slip").severity == "act"
    story.grain(169, 25.0)
    flag = story.flag(169.1, "slip")
    assert (flag.severity, flag.fact_ids) == ("caution", (doubted,))
    assert "Look at the kiln now" not in flag.remedy


def test_a_question_is_followed_by_no_full_stop() -> None:
    story = Story().kiln()
    story.read(165, "set_point", 135.0)
    assert "?." not in next_steps(story.history(), moment(165.1))[0].why


def test_a_slimy_steep_is_drained_at_once_and_not_by_the_plan() -> None:
    story = Story().begin()
    story.look(3, slime="slimy")
    step = next(each for each in next_steps(story.history(), moment(3.1)) if each.doing == "drained")
    assert (step.what, hour_of(step.due_at)) == ("Drain, rinse, and let it breathe", 3)


def test_air_that_fell_is_not_to_be_lowered() -> None:
    story = Story().kiln()
    story.read(163, "air_on_temperature", 60.0)
    story.read(164, "air_on_temperature", 30.0)
    story.grain(164, 58.0, "middle")
    assert first(story, 164.1) == ("food", "Look at fan, fuse and fire now")
    assert "lower" not in doings(story, 164.1)


def test_a_bed_that_lies_cold_and_thin_hides_no_turning_of_another() -> None:
    story = growing()
    for bed in ("bed A", "bed B"):
        story.tell(44, "turned", place=bed)
    story.read(60, "bed_depth", 0.30, place="bed B")
    story.grain(60, 18.0, "bed B")
    story.read(60.1, "bed_depth", 0.04, place="bed A")
    story.grain(60.1, 9.0, "bed A")
    assert "Turn bed B" in {step.what for step in next_steps(story.history(), moment(60.2))}


def unfit() -> Story:
    story = Story()
    story.tell(-40, "germination_test", {"looked_at": 100, "counts": {"day_1": 30, "day_2": 20, "day_3": 3}},
               subject=("lot", "l1"), method="4ml", place="dish 1")  # fmt: skip
    return story


def test_of_a_lot_that_hardly_grows_no_steep_is_begun() -> None:
    story = unfit().declare().charge()
    assert first(story, -0.4) == ("food", "Don’t malt it: what does not grow, rots")
    assert "steep_on" not in doings(story, -0.4)


def test_a_batch_of_a_lot_that_hardly_grows_is_gone_on_with_once_it_is_begun() -> None:
    story = unfit().grow()
    assert first(story, 62) == ("food", "Malt no more of it: what does not grow, rots")
    assert doings(story, 62) >= {"turned", "loaded"}
    assert list(contradictions(ranked(story.history(), moment(62)), moment(62))) == []
    story = unfit().begin()
    story.tell(6, "drained")
    assert "steep_on" in doings(story, 7)


SHUT = "Out now, open nothing, and call the fire brigade"


@pytest.mark.parametrize(
    ("kind", "ppm"), [("co_room", 60.0), ("co_room", 300.0), ("co2_room", 6_000.0), ("co2_room", 20_000.0)]
)
def test_where_it_smoulders_nothing_is_opened_for_the_gas(kind: str, ppm: float) -> None:
    story = Story().kiln()
    story.look(163, scorch="smoke")
    story.read(163.05, kind, ppm)
    to_do = ranked(story.history(), moment(163.1))
    assert remedies(story, 163.1, "room_air") == [f"{SHUT}."]
    assert "scorch" in flags(story, 163.1)
    assert list(contradictions(to_do, moment(163.1))) == []
    if kind == "co2_room" and ppm > 15_000.0:
        assert to_do.steps[0].what == SHUT


def test_once_nothing_smoulders_the_gas_is_aired_again() -> None:
    story = Story().kiln()
    story.look(163, scorch="smoke")
    story.read(163.05, "co_room", 60.0)
    story.look(164, scorch="none")
    assert remedies(story, 164.1, "room_air") == ["Fuel off, open doors and windows, and go out until it is gone."]


def test_carbon_monoxide_goes_before_carbon_dioxide() -> None:
    story = Story().kiln()
    story.read(163.0, "co2_room", 20_000.0)
    story.read(163.05, "co_room", 300.0)
    assert first(story, 163.1) == ("people", "Out now, everybody")
    assert "Fuel off from outside; nobody goes back in." in remedies(story, 163.1, "room_air")[0]


def test_nobody_is_sent_into_a_room_that_is_to_be_left() -> None:
    story = Story().kiln()
    story.read(163, "air_on_temperature", 60.0)
    story.read(164, "air_on_temperature", 30.0)
    assert doings(story, 164.1) >= {"relight", "grain_temperature"}
    story.read(164.05, "co_room", 300.0)
    # Off it may be switched from outside.
    assert doings(story, 164.1) == {"leave", "heat_off"}
    story = growing()
    story.read(60, "co2_room", 20_000.0)
    assert doings(story, 61) == {"leave"}


def test_air_to_be_let_in_before_one_stays_takes_nothing_off_the_plan() -> None:
    story = growing()
    story.read(60, "co2_room", 6_000.0)
    assert doings(story, 61) >= {"turned", "grain_temperature", "loaded"}


@pytest.mark.parametrize("smell", ["musty", "off"])
def test_a_bad_smell_on_the_kiln_is_a_fire_until_it_is_found_to_be_none(smell: str) -> None:
    story = Story().kiln()
    story.look(163, smell=smell)
    assert first(story, 163.1) == ("fire", "Heat off, and look for fire first")
    assert [step.doing for step in next_steps(story.history(), moment(163.1))][:2] == ["heat_off", "hold"]
    assert "off_smell" in flags(story, 163.1)
    story.tell(174, "heat_off")
    story.tell(176, "finished")
    assert first(story, 300)[0] == "food"
    assert "Heat off" not in remedies(story, 300, "off_smell")[0]


def test_a_bed_that_may_be_mouldy_is_not_turned_though_it_is_felted() -> None:
    story = growing()
    assert "turned" in doings(story, 66)
    story.look(60, mould="not_sure", matting="felted")
    assert "turned" not in doings(story, 66)
    assert flags(story, 66) & {"turning_due", "not_sure"} == {"not_sure"}
    story.look(66.1, mould="no", matting="felted")
    assert first(story, 66.2) == ("batch", "Turn the bed")


def test_of_a_batch_that_is_over_no_heat_is_to_be_taken_off() -> None:
    story = Story().kiln()
    story.look(163, scorch="scorched")
    story.tell(174, "heat_off")
    assert "smother" in doings(story, 175)
    story.tell(176, "finished")
    assert doings(story, 300) == set()
    story.look(301, scorch="smoke")
    assert first(story, 301.1)[0] == "fire"
    story.look(302, scorch="none")
    assert doings(story, 302.1) == set()


def test_a_place_that_is_called_above_makes_cold_grain_no_warm_one() -> None:
    story = growing()
    story.grain(50, 8.0, "end, above the drain")
    story.look(50.05, mould="not_sure")
    assert ", below" in story.flag(50.1, "out_of_limits").title
    assert flags(story, 50.1) >= {"out_of_limits", "not_sure"}


def test_mould_found_in_the_lot_is_told_while_the_batch_is_caught_up_on() -> None:
    story = Story().begin()
    for record in story.records:
        record["written_at"] = moment(40).isoformat()
    story.tell(44.95, "inspection", {"findings": {"mould": "yes"}}, subject=("lot", "l1"),
               written_at=moment(44.95).isoformat())  # fmt: skip
    flag = story.flag(45.1, "mould")
    assert (flag.severity, "in the lot" in flag.title) == ("act", True)


def test_what_is_to_be_stopped_is_not_rubbed_out_first() -> None:
    story = growing()
    story.growth(90, 10, 40, 50, 0, 0)
    story.growth(105, 0, 10, 60, 30, 0)
    assert "rub_out" in doings(story, 106)
    story.growth(140, 0, 0, 0, 100, 0)
    assert "stop it now" in meaning(story.history(), story.history().facts[-1], moment(140.1)).detail
    assert "loaded" in doings(story, 140.1)
    assert "rub_out" not in doings(story, 140.1)


def test_chits_are_first_asked_for_from_the_hour_at_which_they_may_be_there_and_not_before() -> None:
    story = Story().begin()
    story.tell(6, "drained")
    (count,) = [step for step in next_steps(story.history(), moment(16.2)) if step.kind == "chit_count"]
    assert hour_of(count.due_at) == 16
    assert not count.is_overdue(moment(16.2))


def test_where_it_is_steeped_again_next_no_count_stands_above_the_steep() -> None:
    story = Story().begin()
    story.tell(6, "drained")
    kinds = [step.kind for step in next_steps(story.history(), moment(20.5))]
    assert kinds == ["grain_temperature", "steep_on"]
