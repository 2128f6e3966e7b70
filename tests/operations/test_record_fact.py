"""Recording a fact: once, whole, and never over something else."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy.orm import Session

from app.errors import KeptOtherwise, Rejected
from app.judgement.facts.shapes import Part, Reading, Subject
from app.judgement.programmes.programme import load_builtin
from app.operations.facts import record_fact
from app.store.batches import Batch
from app.store.facts import find_fact
from tests.judgement.plan_run import plan_records
from tests.stories import add_story
from tests.writing import BATCH, LOT, NOW, OTHER, Record, add_batch, add_lot, charge, count_facts, entry, iso, water


@pytest.fixture(autouse=True)
def batch(session: Session) -> Batch:
    return add_batch(session)


def last_seq(session: Session, batch_id: str) -> int:
    session.expire_all()
    return session.get_one(Batch, batch_id).last_seq


def part_to(batch_id: str, source: str, *, id: str, kind: str = "split") -> Record:
    typed = {"source": source, "target": f"batch:{batch_id}", "as_is": "10", "moisture": "42"}
    return {"id": id, "kind": kind, "subject": {"type": "batch", "id": batch_id}, "at": iso(NOW), "typed": typed}


def refused(session: Session, record: Record) -> dict[str, str]:
    """The fields that are named when the record is refused; nothing may be kept of it."""
    before = count_facts(session)
    with pytest.raises(Rejected) as caught:
        record_fact(session, record, now=NOW)
    assert count_facts(session) == before
    return caught.value.fields


def test_a_reading_is_kept_in_si_with_what_was_typed(session: Session) -> None:
    typed = {"value": "53,6", "value_unit": "f"}
    kept = record_fact(session, entry("water_temperature", typed, id="water-1"), now=NOW)
    found = find_fact(session, "water-1")
    assert kept.is_new
    assert isinstance(found, Reading)
    assert found.value == pytest.approx(12.0)
    assert dict(found.typed) == typed
    assert (found.received_at, found.seq) == (NOW, kept.fact.seq)


def test_a_repeat_is_stored_once(session: Session) -> None:
    first = record_fact(session, water(), now=NOW)
    before = count_facts(session)
    again = record_fact(session, water(), now=NOW + timedelta(hours=1))
    assert (again.is_new, again.fact) == (False, first.fact)
    assert count_facts(session) == before


def test_the_order_of_the_keys_makes_no_other_body(session: Session) -> None:
    record_fact(session, water(), now=NOW)
    assert not record_fact(session, dict(reversed(water().items())), now=NOW).is_new


def test_another_content_under_the_same_id_is_refused_and_shows_what_was_kept(session: Session) -> None:
    kept = record_fact(session, water("12"), now=NOW).fact
    with pytest.raises(KeptOtherwise) as caught:
        record_fact(session, water("13"), now=NOW)
    assert caught.value.current == kept
    assert find_fact(session, "water-1") == kept


def test_a_fact_marks_its_batch_as_changed_and_no_other(session: Session) -> None:
    add_batch(session, OTHER)
    before = last_seq(session, OTHER)
    kept = record_fact(session, water(), now=NOW)
    assert last_seq(session, BATCH) == kept.fact.seq
    assert last_seq(session, OTHER) == before


def test_a_fact_about_a_lot_marks_every_batch_that_has_grain_of_it(session: Session) -> None:
    add_batch(session, OTHER, part_to(OTHER, f"batch:{BATCH}", id="split-1"))
    declared = {"untreated": "yes", "for_food": "yes", "by": "A. Farmer", "ground": "delivery note"}
    record = {"id": "declared-1", "kind": "declaration", "at": iso(NOW), "typed": declared}
    kept = record_fact(session, record | {"subject": {"type": "lot", "id": LOT}}, now=NOW)
    assert last_seq(session, BATCH) == last_seq(session, OTHER) == kept.fact.seq


def test_a_calibration_marks_every_batch_that_was_read_with_the_instrument(session: Session) -> None:
    add_batch(session, OTHER, charge(id="charge-other"))
    add_batch(session, "batch-3", part_to("batch-3", f"batch:{BATCH}", id="split-1"))
    record_fact(session, water(instrument="probe 2"), now=NOW)
    before = last_seq(session, OTHER)
    calibrated = {"id": "calibrated-1", "kind": "calibrated", "at": iso(NOW), "typed": {"amount": "-0.5"}}
    kept = record_fact(session, calibrated | {"subject": {"type": "instrument", "id": "probe 2"}}, now=NOW)
    assert last_seq(session, BATCH) == last_seq(session, "batch-3") == kept.fact.seq
    assert last_seq(session, OTHER) == before


def test_a_part_marks_both_its_ends_as_changed(session: Session) -> None:
    add_batch(session, OTHER, charge(id="charge-other"))
    kept = record_fact(session, part_to(OTHER, f"batch:{BATCH}", id="merge-1", kind="merge"), now=NOW)
    assert isinstance(kept.fact, Part)
    assert last_seq(session, BATCH) == last_seq(session, OTHER) == kept.fact.seq


def test_grain_that_moves_is_about_one_of_its_ends(session: Session) -> None:
    add_batch(session, OTHER, charge(id="charge-of-other"))
    moved = part_to(OTHER, f"batch:{BATCH}", id="astray")
    assert list(refused(session, moved | {"subject": {"type": "lot", "id": LOT}})) == ["subject"]


def test_grain_cannot_go_into_what_it_came_from(session: Session) -> None:
    add_batch(session, OTHER, part_to(OTHER, f"batch:{BATCH}", id="split-1"))
    assert "source" in refused(session, part_to(BATCH, f"batch:{OTHER}", id="back-1", kind="merge"))
    assert "source" in refused(session, part_to(BATCH, f"batch:{BATCH}", id="self-1", kind="merge"))


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"subject": {"type": "batch", "id": "nowhere"}}, "subject"),
        ({"subject": {"type": "lot", "id": LOT}}, "subject"),
        ({"subject": None}, "subject"),
        ({"subject": {"type": "house", "id": "h" * 61}}, "subject"),
        ({"kind": "brewed"}, "kind"),
        ({"kind": ["note"]}, "kind"),
        ({"id": None}, "id"),
        ({"id": ""}, "id"),
        ({"id": "x" * 37}, "id"),
        ({"id": 7}, "id"),
        ({"at": "yesterday"}, "earliest_at"),
        ({"at": "2026-03-14T09:30:00"}, "earliest_at"),
        ({"at": "0001-01-01T00:00:00+14:00"}, "earliest_at"),
        ({"at": None}, "earliest_at"),
        ({"at": iso(NOW), "earliest_at": iso(NOW), "latest_at": iso(NOW - timedelta(hours=1))}, "latest_at"),
        ({"clock": "sundial"}, "clock"),
        ({"clock": ["now"]}, "clock"),
        ({"clock_offset_s": "much"}, "clock_offset_s"),
        ({"clock_offset_s": True}, "clock_offset_s"),
        ({"clock_offset_s": 1e300, "clock": "now"}, "clock_offset_s"),
        ({"clock_offset_s": 9e9, "clock": "now", "at": "9999-12-31T00:00:00Z"}, "clock_offset_s"),
        ({"quality": "splendid"}, "quality"),
        ({"quality": {}}, "quality"),
        ({"v": 2}, "v"),
        ({"v": 0}, "v"),
        ({"v": "1"}, "v"),
        ({"supersedes_id": 5}, "supersedes_id"),
        ({"supersedes_id": "x" * 37}, "supersedes_id"),
        ({"place": "p" * 61}, "place"),
        ({"note": 3}, "note"),
        ({"typed": ["12"]}, "typed"),
        ({"typed": {"value": "twelve"}}, "value"),
        ({"typed": {"value": "12", "value_unit": "kg"}}, "value"),
        ({"typed": {"value": "500"}}, "value"),
        ({"typed": {}}, "value"),
        ({"values": ["12"]}, "values"),
        ({"values": {"value": "12"}}, "value"),
        ({"values": {"value": True}}, "value"),
        ({"values": {"value": 10**400}}, "value"),
        ({"values": {"value": float("nan")}}, ""),
        ({"note": "\ud800"}, ""),
    ],
)
def test_what_cannot_be_read_is_refused_and_named(session: Session, change: dict[str, Any], field: str) -> None:
    assert field in refused(session, water() | change)


@pytest.mark.parametrize(
    ("kind", "typed", "field"),
    [
        ("test_bag", {"vessel": "bag 1", "gross": "-0.4"}, "gross"),
        ("test_bag", {"vessel": "bag 1", "gross": "0.1", "tare": "0.4"}, "tare"),
        ("test_bag", {"vessel": "bag 1", "gross": "0.4", "net": "0.5"}, "net"),
        ("test_bag", {"vessel": "bag 1", "gross": "0.5", "tare": "0.1", "net": "0.3"}, "net"),
        ("test_bag", {"vessel": "bag 1"}, "gross"),
        ("skimmings", {"net": "3", "of": "2"}, "of"),
        ("moisture_test", {"value": "101"}, "value"),
        ("chit_count", {"looked_at": "50", "chitted": "51"}, "looked_at"),
        ("chit_count", {"looked_at": "50"}, "chitted"),
        ("chit_count", {"looked_at": "50.5", "chitted": "3"}, "looked_at"),
        ("growth_count", {"to_quarter": "4", "lengths": "0.5 0.6"}, "lengths"),
        ("growth_count", {"lengths": "0.5 9"}, "lengths"),
        ("growth_count", {"lengths": "0.5 long"}, "lengths"),
        ("inspection", {"mould": "perhaps"}, "mould"),
        ("interruption", {"what": "power cut", "until": "later"}, "until"),
        ("programme_change", {"programme": "f" * 64}, "programme"),
    ],
)
def test_what_is_impossible_is_refused_at_its_field(
    session: Session, kind: str, typed: dict[str, str], field: str
) -> None:
    assert field in refused(session, entry(kind, typed, id="impossible-1"))


def test_every_wrong_field_is_named_at_once(session: Session) -> None:
    typed = {"value": "twelve", "lowest": "three", "highest": "15"}
    assert set(refused(session, entry("water_temperature", typed, id="water-1"))) == {"value", "lowest"}


def test_a_charge_from_an_unknown_lot_is_refused_at_its_source(session: Session) -> None:
    record = charge(id="charge-9", lot="nowhere") | {"subject": {"type": "batch", "id": BATCH}}
    record["typed"] = record["typed"] | {"target": f"batch:{BATCH}"}
    assert set(refused(session, record)) == {"source"}


def test_now_is_put_right_by_the_offset_of_the_clock_and_a_typed_time_never_is(session: Session) -> None:
    off = {"clock_offset_s": 90.0}
    taken = record_fact(session, water(id="now-1", clock="now", **off), now=NOW).fact
    typed = record_fact(session, water(id="typed-1", clock="typed", **off), now=NOW).fact
    assert (taken.earliest_at, taken.latest_at) == (NOW + timedelta(seconds=90), NOW + timedelta(seconds=90))
    assert (typed.earliest_at, typed.latest_at) == (NOW, NOW)
    assert find_fact(session, "now-1") == taken


def test_a_repeat_from_a_wrong_clock_is_not_shifted_twice(session: Session) -> None:
    record = water(clock="now", clock_offset_s=-3600.0)
    first = record_fact(session, record, now=NOW).fact
    assert record_fact(session, record, now=NOW).fact.at == first.at == NOW - timedelta(hours=1)


@pytest.mark.parametrize("days", [-29, -2, 2])
def test_a_time_that_is_only_unlikely_is_kept_as_it_was_said(session: Session, days: int) -> None:
    at = NOW + timedelta(days=days)
    assert record_fact(session, water(at=iso(at)), now=NOW).fact.at == at


@pytest.mark.parametrize(("days", "field"), [(-4000, "earliest_at"), (-31, "earliest_at"), (3, "latest_at")])
def test_a_time_that_cannot_be_is_refused(session: Session, days: int, field: str) -> None:
    assert set(refused(session, water(at=iso(NOW + timedelta(days=days))))) == {field}


def test_a_span_of_time_stays_a_span(session: Session) -> None:
    record = water(earliest_at=iso(NOW - timedelta(hours=6)), latest_at=iso(NOW))
    kept = record_fact(session, record, now=NOW).fact
    assert kept.is_range
    assert kept.at == NOW - timedelta(hours=3)


def test_a_look_without_a_number_is_kept_when_its_quality_says_so(session: Session) -> None:
    kept = record_fact(session, entry("grain_temperature", id="look-1", quality="all_well"), now=NOW).fact
    assert isinstance(kept, Reading)
    assert kept.value is None


def test_a_fact_about_a_second_lot_leaves_the_batch_alone(session: Session) -> None:
    add_lot(session, "lot-2", "Hill field")
    before = last_seq(session, BATCH)
    record = {"id": "note-1", "kind": "note", "at": iso(NOW), "typed": {"text": "dusty"}}
    kept = record_fact(session, record | {"subject": {"type": "lot", "id": "lot-2"}}, now=NOW).fact
    assert kept.subject == Subject("lot", "lot-2")
    assert last_seq(session, BATCH) == before


# What is roasted was packed before; it comes from no lot.
@pytest.mark.parametrize("key", sorted(key for key, each in load_builtin().items() if each.purpose != "roasted"))
def test_all_that_a_programme_foresees_is_taken_as_a_phone_sends_it(session: Session, key: str) -> None:
    start = NOW - timedelta(hours=1000)
    add_story(session, hours_ago=1000, until=start - timedelta(hours=1), key=key)
    records = plan_records(load_builtin()[key], start)
    assert len(records) > 9
    for record in records:
        assert record_fact(session, record, now=NOW).fact.kind == record["kind"]
