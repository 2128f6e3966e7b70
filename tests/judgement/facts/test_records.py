"""Facts as records: what goes out comes back the same, and what can't be read is named."""

import json
import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.judgement.facts.envelope import FORM_VERSION
from app.judgement.facts.fields import BadValues, Choice, Count, Lengths, Moment, Quantity, Reference, Text
from app.judgement.facts.kind_parts import QUALITIES
from app.judgement.facts.kinds import KINDS, RANK, STAGE_KINDS
from app.judgement.facts.records import (
    checked_values,
    fact_from_record,
    kind_named,
    record_from_fact,
    values_from_typed,
)
from app.judgement.facts.shapes import SHAPES, Part, Subject
from app.judgement.history.stages import WORDS
from tests.judgement.story import BATCH, iso

FIRST = datetime(2020, 1, 1, tzinfo=UTC)
MOMENTS = st.integers(0, 10**9).map(lambda seconds: FIRST + timedelta(seconds=seconds))
IDS = st.text(st.characters(codec="ascii", categories=("L", "N")), min_size=1, max_size=36)
WORDS_OF_ONES_OWN = st.text(min_size=1, max_size=40).filter(lambda text: text.strip() == text)
every_kind = pytest.mark.parametrize("name", sorted(KINDS))


# --- any fact, out and back ------------------------------------------------------------------------------------------


def values_of(spec):
    """What one field may hold."""
    match spec:
        case Quantity():
            return st.floats(spec.low if spec.low is not None else -1e6, spec.high if spec.high is not None else 1e6)
        case Count():
            return st.integers(spec.low, 200)
        case Choice():
            return st.sampled_from([key for key, _ in spec.options])
        case Moment():
            return MOMENTS.map(datetime.isoformat)
        case Reference():
            return st.builds(lambda kind, key: {"type": kind, "id": key}, st.sampled_from(sorted(spec.types)), IDS)
        case Lengths():
            return st.lists(st.floats(0.0, 5.0), min_size=1, max_size=20)
        case Text():
            return WORDS_OF_ONES_OWN
    raise AssertionError(f"no values for {spec}")


def put(values, target, value):
    outer, _, inner = target.partition(".")
    if inner:
        values.setdefault(outer, {})[inner] = value
    else:
        values[outer] = value


@st.composite
def values_of_kind(draw, kind):
    values = {}
    for spec in kind.fields.values():
        if spec.required or draw(st.booleans()):
            put(values, spec.target, draw(values_of(spec)))
    if kind.shape_name == "weighing":
        values.pop("of_kg", None)
        net = draw(st.floats(0.0, 1000.0))
        tare = draw(st.none() | st.floats(0.0, 100.0))
        values |= {"net_kg": net, "tare_kg": tare, "gross_kg": None if tare is None else net + tare}
    if kind.name == "extract_mash":
        malt_kg, ratio = draw(st.floats(0.05, 1.0)), draw(st.floats(1.0, 5.0))
        values["value"] = draw(st.floats(0.0, 10.0))
        values["beside"] = {"malt_kg": malt_kg, "water_kg": ratio * malt_kg, "moisture_wb": draw(st.floats(0.0, 0.3))}
    if kind.name == "sieve_test":
        values["value"] = draw(st.floats(0.1, 100.0))
    if kind.shape_name == "analysis":
        values.setdefault("found", {"ph": draw(st.floats(0.0, 14.0))})
    if kind.shape_name == "tally":
        values.setdefault("counts", {})
        if "lengths" in values:
            values["counts"] = {}
        elif not values["counts"]:
            values["counts"] = {draw(st.sampled_from(classes(kind))): 3}
        values["looked_at"] = sum(values["counts"].values()) + len(values.get("lengths", ())) + draw(st.integers(1, 9))
    return {key: value for key, value in values.items() if value is not None}


def classes(kind):
    return [spec.target.split(".")[1] for spec in kind.fields.values() if spec.target.startswith("counts.")]


@st.composite
def records(draw):
    kind = KINDS[draw(st.sampled_from(sorted(KINDS)))]
    first = draw(MOMENTS)
    record = {
        "id": draw(IDS),
        "kind": kind.name,
        "subject": {"type": draw(st.sampled_from(sorted(kind.subjects))), "id": draw(IDS)},
        "earliest_at": first.isoformat(),
        "latest_at": (first + timedelta(minutes=draw(st.integers(0, 600)))).isoformat(),
        "values": draw(values_of_kind(kind)),
        "typed": draw(st.dictionaries(IDS, WORDS_OF_ONES_OWN, max_size=3)),
        "clock": draw(st.sampled_from(["now", "typed"])),
        "quality": draw(st.sampled_from([key for key, _ in QUALITIES])),
    }
    optional = {"place": 60, "instrument": 60, "person": 80, "entered_by": 80, "note": 5000, "device": 80}
    for name in optional:
        if draw(st.booleans()):
            record[name] = draw(WORDS_OF_ONES_OWN)
    if draw(st.booleans()):
        record["written_at"] = draw(MOMENTS).isoformat()
        record["clock_offset_s"] = draw(st.floats(-1e5, 1e5))
    return record


@given(record=records())
def test_any_fact_goes_out_as_json_and_comes_back_the_same(record):
    fact = fact_from_record(record)
    sent = json.loads(json.dumps(record_from_fact(fact), allow_nan=False))
    back = fact_from_record(sent)
    assert back == fact
    assert dict(back.typed) == dict(fact.typed)
    assert record_from_fact(back) == record_from_fact(fact)


@given(record=records())
def test_what_was_sent_is_what_is_kept(record):
    fact = fact_from_record(record)
    assert (fact.id, fact.kind, fact.subject) == (record["id"], record["kind"], Subject(**record["subject"]))
    assert fact.earliest_at == datetime.fromisoformat(record["earliest_at"])
    assert fact.earliest_at <= fact.at <= fact.latest_at
    for key, value in record["values"].items():
        kept = getattr(fact, key)
        if isinstance(value, float):
            assert kept == value


# --- what was typed --------------------------------------------------------------------------------------------------


def typed(kind, quality="measured", **fields):
    return values_from_typed(KINDS[kind], fields, quality)


def refused(kind, **fields):
    with pytest.raises(BadValues) as caught:
        typed(kind, **fields)
    return set(caught.value.fields)


def test_a_decimal_comma_and_a_decimal_point_are_the_same():
    assert typed("grain_temperature", value="1,5") == typed("grain_temperature", value="1.5") == {"value": 1.5}


def test_what_was_typed_in_other_units_is_kept_in_si():
    assert typed("grain_temperature", value="149", value_unit="f")["value"] == pytest.approx(65.0)
    assert typed("test_bag", vessel="1", net="1", net_unit="lb")["net_kg"] == pytest.approx(0.45359237)
    assert typed("moisture_test", value="12", value_unit="percent")["value"] == pytest.approx(0.12)


def test_a_calibration_in_fahrenheit_is_a_difference():
    assert typed("calibrated", amount="9", amount_unit="f")["amount"] == pytest.approx(5.0)


def test_net_follows_from_gross_and_tare():
    found = typed("tray", vessel="2", gross="1842", gross_unit="g", tare="500", tare_unit="g")
    assert found["net_kg"] == pytest.approx(1.342)


def test_gross_alone_is_net():
    assert typed("tray", vessel="2", gross="1,2")["net_kg"] == pytest.approx(1.2)


@pytest.mark.parametrize(
    ("fields", "wrong"),
    [
        ({}, {"gross"}),
        ({"gross": "1", "tare": "2"}, {"tare"}),
        ({"gross": "1", "net": "2"}, {"net"}),
        ({"gross": "3", "tare": "1", "net": "1"}, {"net"}),
        ({"net": "-1"}, {"net"}),
        ({"net": "much"}, {"net"}),
        ({"net": "1", "net_unit": "c"}, {"net"}),
        ({"net": "nan"}, {"net"}),
    ],
)
def test_a_weighing_that_cannot_be_is_refused_by_field(fields, wrong):
    assert refused("tray", vessel="2", **fields) == wrong


def test_a_stock_adjustment_may_be_below_nothing():
    assert typed("stock_adjustment", net="-4,5")["net_kg"] == -4.5


def test_more_skimmed_off_than_was_looked_through_is_refused():
    assert refused("skimmings", net="2", of="1") == {"of"}


@pytest.mark.parametrize(
    ("kind", "fields", "wrong"),
    [
        ("moisture_test", {"value": "101"}, {"value"}),
        ("moisture_test", {}, {"value"}),
        ("humidity", {"value": "101", "value_unit": "percent"}, {"value"}),
        ("ph", {"value": "15"}, {"value"}),
        ("inspection", {"mould": "maybe", "smell": "clean"}, {"mould"}),
        ("chit_count", {"looked_at": "100", "chitted": "101"}, {"looked_at"}),
        ("chit_count", {"looked_at": "0", "chitted": "0"}, {"looked_at"}),
        ("chit_count", {"looked_at": "100", "chitted": "8,5"}, {"chitted"}),
        ("chit_count", {"looked_at": "100"}, {"chitted"}),
        ("growth_count", {}, {"to_quarter"}),
        ("growth_count", {"over": "2", "lengths": "0.5 0.6"}, {"lengths"}),
        ("growth_count", {"lengths": "0.5 9"}, {"lengths"}),
    ],
)
def test_what_cannot_be_is_refused_by_field(kind, fields, wrong):
    assert refused(kind, **fields) == wrong


@pytest.mark.parametrize("scorch", ["smoke", "scorched"])
def test_where_it_smoulders_mould_is_no_question(scorch):
    values = typed("inspection", scorch=scorch, text="acrid smoke, glowing")
    assert values["findings"] == {"scorch": scorch}
    assert checked_values(KINDS["inspection"], values) == values
    assert refused("inspection", scorch="none") == {"mould"}
    assert refused("inspection", scorch=scorch, mould="maybe") == {"mould"}


def test_every_wrong_field_is_named_at_once():
    assert refused("charge", source="lot:1", target="batch:1", as_is="heavy", moisture="wet") == {"as_is", "moisture"}


def test_no_chit_is_a_count():
    assert typed("chit_count", looked_at="50", chitted="0")["counts"] == {"chitted": 0}


def test_the_number_looked_at_follows_from_a_whole_tally():
    assert typed("growth_count", half_to_three_quarters="20", over="1", broken="2")["looked_at"] == 23


@pytest.mark.parametrize("text", ["0,7 0,8 0,9", "0.7; 0.8; 0.9", "0.7\n0.8\n0.9"])
def test_lengths_are_typed_as_one_likes(text):
    assert typed("growth_count", lengths=text)["lengths"] == (0.7, 0.8, 0.9)


def test_a_reading_that_could_not_be_taken_needs_no_value():
    for quality in ("not_possible", "all_well", "over_range"):
        assert typed("grain_temperature", quality) == {}
    assert refused("grain_temperature") == {"value"}


def test_the_dry_matter_of_a_part_follows_from_its_moisture():
    found = typed("charge", source="lot:1", target="batch:1", as_is="100", moisture="12", moisture_unit="percent")
    assert found["dry_kg"] == pytest.approx(88.0)


# --- records that can't be read --------------------------------------------------------------------------------------


def water(**changes):
    record = {"id": "w", "kind": "water_temperature", "subject": BATCH, "at": iso(3), "values": {"value": 12.0}}
    return {key: value for key, value in (record | changes).items() if value is not ...}


def named(record):
    with pytest.raises(BadValues) as caught:
        fact_from_record(record)
    return set(caught.value.fields)


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"id": ...}, {"id"}),
        ({"id": "x" * 37}, {"id"}),
        ({"id": 7}, {"id"}),
        ({"kind": "phlogiston"}, {"kind"}),
        ({"kind": None}, {"kind"}),
        ({"subject": ...}, {"subject"}),
        ({"subject": {"type": "batch"}}, {"subject"}),
        ({"subject": {"type": "lot", "id": "lot-1"}}, {"subject"}),
        ({"at": ...}, {"earliest_at", "latest_at"}),
        ({"at": "yesterday"}, {"earliest_at", "latest_at"}),
        ({"at": "2026-03-01T06:30:00"}, {"earliest_at", "latest_at"}),
        ({"earliest_at": iso(4), "latest_at": iso(3)}, {"latest_at"}),
        ({"values": {"value": "hot"}}, {"value"}),
        ({"values": {"value": math.nan}}, {"value"}),
        ({"values": {"value": True}}, {"value"}),
        ({"values": [12.0]}, {"values"}),
        ({"values": {}, "typed": {}}, {"value"}),
        ({"typed": "12"}, {"typed"}),
        ({"quality": "so so"}, {"quality"}),
        ({"clock": "sundial"}, {"clock"}),
        ({"place": "x" * 61}, {"place"}),
        ({"note": "x" * 5001}, {"note"}),
        ({"v": FORM_VERSION + 1}, {"v"}),
        ({"clock_offset_s": "late"}, {"clock_offset_s"}),
    ],
)
def test_a_record_that_cannot_be_read_names_the_key(changes, wrong):
    assert named(water(**changes)) == wrong


def test_a_time_in_any_zone_is_kept_in_utc():
    fact = fact_from_record(water(at="2026-01-05T10:00:00+01:00"))
    assert fact.at == datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
    assert fact.at.tzinfo is UTC
    assert not fact.is_range


def test_a_span_is_dated_at_its_middle():
    fact = fact_from_record(water(earliest_at=iso(2), latest_at=iso(6)))
    assert fact.at == datetime.fromisoformat(iso(4))
    assert fact.is_range


def test_a_key_that_this_program_does_not_know_is_passed_over():
    assert fact_from_record(water(phase_of_the_moon="full")) == fact_from_record(water())


def test_a_record_with_only_what_was_typed_is_read_like_the_form():
    record = water(values=..., typed={"value": "53,6", "value_unit": "f"})
    assert fact_from_record(record).value == pytest.approx(12.0)


def test_a_part_knows_its_ends_as_text_or_as_an_object():
    as_text = {"source": "lot:l", "target": "batch:b", "as_is": "10", "moisture": "12"}
    as_object = {"source": {"type": "lot", "id": "l"}, "target": {"type": "batch", "id": "b"}}
    values = as_object | {"as_is_kg": 10.0, "moisture_wb": 0.12}
    one = fact_from_record({"id": "p", "kind": "charge", "subject": BATCH, "at": iso(0), "typed": as_text})
    other = fact_from_record({"id": "p", "kind": "charge", "subject": BATCH, "at": iso(0), "values": values})
    assert isinstance(one, Part)
    assert one == other
    assert one.source == Subject("lot", "l")


# --- the list of kinds -----------------------------------------------------------------------------------------------


@every_kind
def test_each_kind_has_a_word_a_shape_and_something_to_be_about(name):
    kind = kind_named(name)
    assert kind.word
    assert kind.subjects
    assert kind.shape is SHAPES[kind.shape_name]


@every_kind
def test_each_field_of_a_kind_fills_a_field_of_its_shape(name):
    kind = KINDS[name]
    known = set(kind.shape.__dataclass_fields__)
    for field, spec in kind.fields.items():
        assert spec.target.split(".")[0] in known, field
        assert spec.word, field


def test_the_stages_that_kinds_start_are_those_that_have_a_word():
    assert set(STAGE_KINDS.values()) == set(WORDS)


def test_no_two_kinds_share_a_rank():
    assert sorted(RANK.values()) == list(range(len(KINDS)))


def test_at_one_moment_a_charge_comes_before_water_and_water_before_the_drain():
    assert RANK["charge"] < RANK["steep_on"] < RANK["drained"] < RANK["cast"] < RANK["loaded"] < RANK["heat_off"]
