"""The story of a batch: the same facts in any order and any zone are the same story."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.judgement.facts.fields import BadValues
from app.judgement.facts.shapes import Subject
from app.judgement.forecasts.moisture import samples
from app.judgement.history.build import history_from_records
from app.judgement.history.stages import stages
from app.judgement.programmes.programme import load_builtin, revise
from tests.judgement.plan_run import plan_story
from tests.judgement.random_story import THERMOMETER, stories
from tests.judgement.story import BATCH, LOT, ZERO, Story, at, iso

PALE = load_builtin()["barley_pale"]


# --- any order of arrival --------------------------------------------------------------------------------------------


@given(story=stories(), data=st.data())
@settings(max_examples=40, deadline=None)
def test_any_order_of_arrival_gives_the_same_story(story, data):
    told = story.history()
    shuffled = story.history(data.draw(st.permutations(story.records)))
    assert shuffled.facts == told.facts
    assert shuffled.chains == told.chains
    assert stages(shuffled, at(50)) == stages(told, at(50))
    assert samples(shuffled) == samples(told)
    assert shuffled.first_water_at == told.first_water_at


def test_a_withdrawal_that_came_before_its_target_strikes_it_out():
    story = Story()
    story.charge(100.0, 0.12)
    drained = story.say(6.0, "drained")
    story.withdraw(7.0, drained)
    assert story.history(reversed(story.records)).of_kind("drained") == ()


def test_the_same_fact_told_twice_is_one():
    story = Story()
    story.charge(100.0, 0.12)
    assert story.history(story.records * 2).facts == story.history().facts


def test_facts_of_one_moment_go_by_kind_and_then_by_id():
    story = Story()
    for fact_id, kind in (("c", "drained"), ("b", "steep_on"), ("a", "drained")):
        story.say(3.0, kind, id=fact_id)
    assert [fact.id for fact in story.history().facts] == ["b", "a", "c"]


def test_of_two_readings_of_one_minute_the_last_written_is_the_last_word_and_stays_so_when_the_first_is_corrected():
    story = Story()
    for fact_id, value, written in (("b", 14.0, 3.1), ("a", 16.0, 3.2)):
        story.say(3.0, "water_temperature", {"value": value}, id=fact_id, written_at=iso(written))
    assert [fact.id for fact in story.history().facts] == ["b", "a"]
    story.say(3.0, "water_temperature", {"value": 15.0}, id="c", written_at=iso(5.0), supersedes_id="b")
    assert [fact.id for fact in story.history().facts] == ["c", "a"]


# --- the clock -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("zone", "start"),
    [
        ("Europe/Dublin", datetime(2026, 3, 28, 20, 0, tzinfo=UTC)),
        ("Europe/Dublin", datetime(2026, 10, 24, 20, 0, tzinfo=UTC)),
        ("America/New_York", datetime(2026, 11, 1, 0, 0, tzinfo=UTC)),
        ("Australia/Lord_Howe", datetime(2026, 4, 4, 12, 0, tzinfo=UTC)),
    ],
)
def test_a_night_in_which_the_clocks_change_is_as_long_as_it_is(zone, start):
    def record(fact_id, kind, hours):
        moment = (start + timedelta(hours=hours)).astimezone(ZoneInfo(zone))
        return {"id": fact_id, "kind": kind, "subject": BATCH, "at": moment.isoformat()}

    history = history_from_records([record("1", "steep_on", 0), record("2", "drained", 8), record("3", "steep_on", 20)])
    found = stages(history, start + timedelta(hours=24))
    assert [stage.hours(start + timedelta(hours=24)) for stage in found] == [8.0, 12.0, 4.0]
    assert history.hour(start + timedelta(hours=24)) == 24.0
    assert all(fact.at.utcoffset() == timedelta(0) for fact in history.facts)


def test_hour_zero_is_the_first_water_and_hours_before_it_are_negative():
    story = Story()
    story.charge(100.0, 0.12, hour=-3.0)
    story.say(0.0, "steep_on")
    assert story.history().first_water_at == at(0)
    assert story.history().hour(at(-3)) == pytest.approx(-3.0)
    assert story.history().hour(at(5.5)) == pytest.approx(5.5)


def test_a_float_test_of_the_whole_charge_is_first_water():
    story = Story()
    story.charge(100.0, 0.12, hour=-3.0)
    story.say(2.0, "steep_on")
    story.say(0.0, "skimmings", {"net_kg": 1.0})
    assert story.history().first_water_at == at(0)


def test_a_float_test_out_of_all_that_was_charged_is_first_water_too():
    story = Story()
    story.charge(100.0, 0.12, hour=-3.0)
    story.say(2.0, "steep_on")
    story.say(0.0, "skimmings", {"net_kg": 1.0, "of_kg": 100.0})
    assert story.history().first_water_at == at(0)


def test_a_float_test_of_a_sample_is_not():
    story = Story()
    story.charge(100.0, 0.12, hour=-3.0)
    story.say(2.0, "steep_on")
    story.say(0.0, "skimmings", {"net_kg": 0.02, "of_kg": 1.0})
    story.say(0.5, "float_count", {"looked_at": 100, "counts": {"floated": 2}})
    assert story.history().first_water_at == at(2)


def test_a_roast_begins_with_its_charge():
    history = history_from_records(plan_story(load_builtin()["roasted"], ZERO))
    assert history.first_water_at is None
    assert history.starts_at == history.charges[0].at


def test_a_batch_of_nothing_has_no_beginning():
    history = Story().history([])
    assert (history.starts_at, history.hour(at(4)), history.programme) == (None, 0.0, None)


# --- calibrations ----------------------------------------------------------------------------------------------------


def read(story, hour, value=10.0, **more):
    return story.say(hour, "grain_temperature", {"value": value}, **({"instrument": "thermometer 1"} | more))


def calibrate(story, hour, amount, until=None, **more):
    values = {"amount": amount} | ({"until_at": at(until).isoformat()} if until is not None else {})
    return story.say(hour, "calibrated", values, subject=THERMOMETER, **more)


def values(story):
    return [reading.value for reading in story.history().readings("grain_temperature")]


def test_readings_are_corrected_from_a_date_to_a_date_and_none_is_rewritten():
    story = Story()
    for hour in (1, 5, 9):
        read(story, hour)
    calibrate(story, 3, -3.0, until=7)
    assert values(story) == [10.0, 7.0, 10.0]
    assert [reading.correction for reading in story.history().readings()] == [0.0, -3.0, 0.0]
    assert story.records[1]["values"] == {"value": 10.0}


def test_the_newest_calibration_holds_and_a_zero_puts_it_right_again():
    story = Story()
    for hour in (1, 5, 9):
        read(story, hour)
    calibrate(story, 0, 1.0)
    calibrate(story, 4, 2.0)
    calibrate(story, 8, 0.0)
    assert values(story) == [11.0, 12.0, 10.0]


def test_a_calibration_that_is_struck_out_has_no_say():
    story = Story()
    read(story, 5)
    struck = calibrate(story, 0, 1.0)
    story.withdraw(6.0, struck, subject=THERMOMETER)
    assert values(story) == [10.0]


def test_only_temperatures_of_that_instrument_are_corrected():
    story = Story()
    read(story, 5, instrument="thermometer 2")
    read(story, 6, instrument=None)
    story.say(7, "ph", {"value": 6.5}, instrument="thermometer 1")
    calibrate(story, 0, 1.0)
    assert values(story) == [10.0, 10.0]
    assert story.history().readings("ph")[0].value == 6.5


def test_the_extremes_of_a_max_min_thermometer_are_corrected_too():
    story = Story()
    story.say(5, "grain_temperature", {"value": 15.0, "lowest": 11.0, "highest": 21.0}, instrument="thermometer 1")
    calibrate(story, 0, 0.5)
    (reading,) = story.history().readings()
    assert (reading.value, reading.lowest, reading.highest) == (15.5, 11.5, 21.5)


# --- programmes, lots, parts -----------------------------------------------------------------------------------------


def test_the_programme_is_that_of_the_last_change_before():
    other = revise(PALE, {"limits/cast_moisture/target/high": 0.47})
    story = Story("barley_pale")
    story.say(0.0, "steep_on")
    story.say(20.0, "programme_change", {"programme": other.digest})
    records = [{"record": "batch", "id": "batch-1", "programme": PALE.digest}, *story.records]
    history = history_from_records([*records, {"record": "programme", "content": other.to_dict()}])
    assert history.programme_at(at(19)) == PALE
    assert history.programme_at(at(20)) == other
    assert history.programme == other


def test_a_programme_that_nobody_knows_is_none():
    story = Story()
    story.say(0.0, "steep_on")
    history = history_from_records([{"record": "batch", "id": "batch-1", "programme": "f" * 64}, *story.records])
    assert history.programme is None


def declared(**findings):
    story = Story()
    story.charge(100.0, 0.12)
    said = {"untreated": "yes", "for_food": "yes", "by": "Anna", "ground": "letter"} | findings
    story.say(-24.0, "declaration", {"findings": said}, subject=LOT)
    return story


def test_a_batch_is_held_until_every_lot_in_it_is_declared():
    story = declared()
    assert story.history().undeclared_lots == ()
    story.charge(10.0, 0.12, lot="lot-2")
    assert [lot.id for lot in story.history().undeclared_lots] == ["lot-2"]


def test_a_later_declaration_that_says_otherwise_holds_it_again():
    story = declared()
    said = {"untreated": "not_sure", "for_food": "yes", "by": "Ben", "ground": "dust"}
    story.say(-1.0, "declaration", {"findings": said}, subject=LOT)
    assert [lot.id for lot in story.history().undeclared_lots] == ["lot-1"]


def test_a_lot_whose_charge_was_struck_out_is_no_lot_of_the_batch():
    story = declared()
    wrong = story.charge(10.0, 0.12, lot="lot-2")
    story.withdraw(1.0, wrong)
    assert set(story.history().lots) == {"lot-1"}


def test_the_moisture_of_a_lot_is_that_of_the_last_test_before():
    story = declared()
    story.say(-100.0, "intake", {"net_kg": 500.0, "moisture_wb": 0.15}, subject=LOT)
    story.say(-50.0, "moisture_test", {"value": 0.13}, subject=LOT, method="oven_grain")
    lot = story.history().lots["lot-1"]
    assert lot.moisture_fact(at(-101)) is None
    assert lot.moisture_fact(at(-60)).kind == "intake"
    assert lot.moisture_fact(at(0)).value == 0.13


def test_what_comes_in_and_what_goes_out_are_told_apart():
    story = Story()
    story.charge(100.0, 0.12)
    story.split(40.0, 50.0, 0.44)
    history = story.history()
    assert [part.kind for part in history.charges] == ["charge"]
    assert [part.kind for part in history.departures] == ["split"]


def test_a_split_that_was_struck_out_at_its_other_end_is_undone_here():
    story = Story()
    story.charge(100.0, 0.12)
    other = {"type": "batch", "id": "batch-2"}
    ends = {"source": BATCH, "target": other}
    split = story.say(40.0, "split", {**ends, "as_is_kg": 50.0, "moisture_wb": 0.44}, subject=other)
    assert len(story.history().departures) == 1
    story.withdraw(41.0, split, subject=other)
    assert story.history().departures == ()


# --- finding one's way -----------------------------------------------------------------------------------------------


def test_every_correction_is_kept_in_its_chain():
    story = Story()
    first = read(story, 5, 41.0)
    second = read(story, 5, 14.0, supersedes_id=first)
    history = story.history()
    assert [fact.id for fact in history.chains[0].facts] == [first, second]
    assert history.root_id(second) == first
    assert history.by_id(first) is None
    assert history.by_id(second).value == 14.0
    assert history.root_id("unknown") == "unknown"


def test_what_was_worked_out_once_is_remembered():
    calls = []

    def count(history):
        calls.append(history)
        return len(history.facts)

    history = Story().history([])
    assert history.once(count) == history.once(count) == 0
    assert len(calls) == 1


def test_the_last_before_a_moment_may_be_of_that_moment():
    story = Story()
    for hour in (1.0, 2.0, 3.0):
        read(story, hour)
    history = story.history()
    facts = history.readings("grain_temperature")
    assert history.last_before(at(2), facts).at == at(2)
    assert history.last_before(at(0.9), facts) is None


def test_records_about_one_batch_need_no_record_of_it():
    story = Story()
    read(story, 5)
    history = history_from_records(story.records)
    assert history.batch.id == "batch-1"
    assert history.facts[0].subject == Subject("batch", "batch-1")


@pytest.mark.parametrize("others", [[], [{**BATCH, "id": "batch-2"}]])
def test_records_that_are_not_about_one_batch_are_refused(others):
    story = Story()
    for place, subject in enumerate(others):
        read(story, 5 + place)
        read(story, 6 + place, subject=subject)
    with pytest.raises(BadValues):
        history_from_records(story.records)


def test_two_records_of_batches_are_refused():
    with pytest.raises(BadValues, match="more than one batch"):
        history_from_records([{"record": "batch", "id": "a"}, {"record": "batch", "id": "b"}])
