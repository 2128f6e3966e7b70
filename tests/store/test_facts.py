"""Facts as rows and back: every kind round-trips, and each question asked of them gives what it says."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event, select, text
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import fact_from_record, record_from_fact
from app.judgement.facts.shapes import SHAPES, Fact, Part, Subject
from app.operations.facts import insert_fact
from app.store.facts import (
    SHAPE_TABLES,
    fact,
    find_body_sha256,
    find_fact,
    find_superseder,
    last_seq,
    list_facts_about,
    list_facts_after,
    parts_between,
)
from tests.examples import EXAMPLES
from tests.writing import BATCH, LOT, NOW, PROGRAMME, add_batch, iso, water

DIGEST = "d" * 64
ENVELOPE: dict[str, Any] = {
    "earliest_at": iso(NOW - timedelta(hours=1)),
    "latest_at": iso(NOW),
    "written_at": iso(NOW),
    "clock": "now",
    "clock_offset_s": 1.25,
    "place": "top",
    "instrument": "probe 2",
    "person": "Nora",
    "entered_by": "Ada",
    "method": "drained",
    "quality": "estimated",
    "note": "é – ½ 茶 \U0001f33e",
    "device": "phone 3",
    "supersedes_id": "an earlier one",
}


def example(kind: str, **more: Any) -> Fact:
    subject = {"type": sorted(KINDS[kind].subjects)[0], "id": BATCH}
    typed = dict(EXAMPLES[kind]) or ({"programme": PROGRAMME} if kind == "programme_change" else {})
    return fact_from_record({"id": f"{kind}-1", "kind": kind, "subject": subject, "typed": typed, **ENVELOPE, **more})


@pytest.mark.parametrize("kind", KINDS)
def test_a_fact_of_every_kind_comes_back_as_it_was(session: Session, kind: str) -> None:
    told = example(kind)
    kept = insert_fact(session, told, DIGEST, NOW)
    found = find_fact(session, told.id)
    assert found == kept == replace(told, seq=kept.seq, received_at=NOW)
    assert found is not None
    assert dict(found.typed) == dict(told.typed)


@pytest.mark.parametrize("kind", KINDS)
def test_a_stored_fact_of_every_kind_is_read_back_from_its_record(session: Session, kind: str) -> None:
    insert_fact(session, example(kind), DIGEST, NOW)
    found = find_fact(session, f"{kind}-1")
    assert found is not None
    assert fact_from_record(record_from_fact(found)) == found


@pytest.mark.parametrize("shape", SHAPES)
def test_a_shape_s_table_has_a_column_for_each_of_its_fields(shape: str) -> None:
    own = {each.name for each in fields(SHAPES[shape])} - {each.name for each in fields(Fact)}
    ends = {f"{end}_{part}" for end in own & {"source", "target"} for part in ("type", "id")}
    assert set(SHAPE_TABLES[shape].c.keys()) == (own - {"source", "target", "correction"}) | ends | {"fact_seq"}


def test_an_unnamed_end_of_a_row_is_none_and_not_empty(session: Session) -> None:
    insert_fact(session, fact_from_record(water()), DIGEST, NOW)
    found = find_fact(session, "water-1")
    assert found is not None
    assert (found.place, found.note, found.supersedes_id, found.clock_offset_s) == (None, None, None, None)


def test_a_fact_is_found_by_its_id_its_body_and_what_it_supersedes(session: Session) -> None:
    told = example("water_temperature")
    insert_fact(session, told, DIGEST, NOW)
    assert find_body_sha256(session, told.id) == DIGEST
    superseder = find_superseder(session, "an earlier one")
    assert superseder is not None
    assert superseder.id == told.id
    assert find_fact(session, "nothing") is find_superseder(session, "nothing") is None
    assert find_body_sha256(session, "nothing") is None


def test_what_is_about_a_subject_includes_the_parts_that_touch_it(session: Session) -> None:
    add_batch(session)
    assert {each.kind for each in list_facts_about(session, Subject("lot", LOT))} == {"intake", "charge"}
    assert {each.kind for each in list_facts_about(session, Subject("batch", BATCH))} == {"charge"}
    assert [type(each) for each in parts_between(session, [Subject("lot", LOT)])] == [Part]
    assert list_facts_about(session) == []


def test_facts_are_read_on_from_a_seq_in_order_of_arrival(session: Session) -> None:
    seqs = [insert_fact(session, fact_from_record(water(id=f"w{n}")), DIGEST, NOW).seq for n in range(5)]
    assert [each.seq for each in list_facts_after(session, seqs[1] or 0, 2)] == seqs[2:4]
    assert list_facts_after(session, seqs[-1] or 0, 10) == []
    assert last_seq(session) == seqs[-1]


def test_a_seq_is_never_given_out_again(session: Session) -> None:
    gone = insert_fact(session, fact_from_record(water(id="gone")), DIGEST, NOW).seq
    session.execute(text("DELETE FROM fact_reading"))
    session.execute(text("DELETE FROM fact"))
    assert insert_fact(session, fact_from_record(water()), DIGEST, NOW).seq == (gone or 0) + 1


@pytest.mark.parametrize(
    "change",
    [{"id": "water-1"}, {"supersedes_id": "root"}, {"clock": "sundial"}, {"latest_at": NOW - timedelta(days=1)}],
    ids=["an id twice", "two superseders of one", "an unknown clock", "an end before its beginning"],
)
def test_the_database_itself_refuses(session: Session, change: dict[str, Any]) -> None:
    insert_fact(session, fact_from_record(water(supersedes_id="root")), DIGEST, NOW)
    other = replace(fact_from_record(water(id="water-2")), **change)
    with pytest.raises(IntegrityError):
        insert_fact(session, other, DIGEST, NOW)


def test_a_shape_row_cannot_be_without_its_fact(session: Session) -> None:
    with pytest.raises(IntegrityError):
        session.execute(SHAPE_TABLES["reading"].insert().values(fact_seq=999, value=1.0))


def test_reading_many_facts_takes_one_statement(session: Session) -> None:
    for number in range(30):
        insert_fact(session, fact_from_record(water(id=f"w{number}")), DIGEST, NOW)
    said: list[str] = []
    event.listen(session.get_bind(), "before_cursor_execute", lambda *given: said.append(given[2]))
    assert len(list_facts_about(session, Subject("batch", BATCH))) == 30
    assert len(said) == 1
    assert session.scalar(select(fact.c.seq).limit(1)) is not None
