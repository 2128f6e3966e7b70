"""Beginning a batch with the grain that goes into it, naming it, and packing what comes out."""

from __future__ import annotations

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import Conflict, Rejected
from app.judgement.facts.shapes import Subject
from app.operations.batches import open_batch, rename_batch
from app.store.batches import Batch, get_batch
from app.store.history import get_history
from tests.writing import (
    BATCH,
    LOT,
    NOW,
    OTHER,
    PROGRAMME,
    add_batch,
    add_lot,
    arrival,
    charge,
    count_facts,
    entry,
    fill_jar,
    iso,
)


def parts_of(kind: str, source: str, *, id: str) -> dict[str, object]:
    typed = {"source": source, "as_is": "10", "moisture": "42", "moisture_unit": "percent"}
    return {"id": id, "kind": kind, "at": iso(NOW), "typed": typed}


def test_a_batch_begins_with_its_charge(session: Session) -> None:
    batch = add_batch(session)
    history = get_history(session, batch.id)
    assert (batch.number, batch.revision) == (1, 1)
    assert [(part.kind, part.source, part.as_is_kg) for part in history.charges] == [
        ("charge", Subject("lot", LOT), 25.0)
    ]
    assert history.charges[0].dry_kg == pytest.approx(25 * 0.87)
    assert batch.last_seq == history.charges[0].seq


def test_grain_of_two_lots_may_go_into_one_batch(session: Session) -> None:
    add_lot(session)
    add_lot(session, "lot-2", "Hill field")
    add_batch(session, BATCH, charge(id="c1"), charge(id="c2", lot="lot-2", as_is="15"))
    assert sum(part.as_is_kg for part in get_history(session, BATCH).charges) == 40.0


def test_the_next_batch_has_the_next_number(session: Session) -> None:
    add_batch(session)
    assert add_batch(session, OTHER).number == 2


def test_a_number_of_the_house_s_own_is_kept_and_counted_on_from(session: Session) -> None:
    add_lot(session)
    options = {"species": "barley", "programme": PROGRAMME, "now": NOW}
    open_batch(session, batch_id=BATCH, parts=[arrival(charge(id="c1"))], number=41, **options)
    assert open_batch(session, batch_id=OTHER, parts=[arrival(charge(id="c2"), OTHER)], **options).number == 42
    with pytest.raises(Rejected) as caught:
        open_batch(session, batch_id="batch-3", parts=[arrival(charge(id="c3"), "batch-3")], number=41, **options)
    assert set(caught.value.fields) == {"number"}


def test_the_same_id_again_is_the_same_batch(session: Session) -> None:
    first = add_batch(session)
    before = count_facts(session)
    assert add_batch(session) is first
    assert count_facts(session) == before


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"parts": ()}, "source"),
        ({"programme": "f" * 64}, "programme"),
        ({"parts": [arrival(charge(lot="nowhere"))]}, "source"),
        ({"parts": [arrival(charge()), arrival(charge(id="charge-2", lot="nowhere"))]}, "source"),
        ({"parts": [arrival(charge(), OTHER)]}, "target"),
        ({"parts": [arrival(entry("turned", id="turned-1"))]}, "kind"),
        ({"title": "t" * 81}, "title"),
        ({"vessel": "v" * 61}, "vessel"),
        ({"species": " "}, "species"),
    ],
)
def test_what_a_batch_cannot_begin_with_is_named_and_nothing_stays(
    session: Session, change: dict[str, object], field: str
) -> None:
    add_lot(session)
    before = count_facts(session)
    options: dict[str, object] = {"species": "barley", "programme": PROGRAMME, "parts": [arrival(charge())]}
    with pytest.raises(Rejected) as caught, session.begin_nested():
        open_batch(session, batch_id=BATCH, now=NOW, **options | change)
    assert set(caught.value.fields) == {field}
    assert session.scalar(select(func.count(Batch.id))) == 0
    assert count_facts(session) == before


def test_a_split_off_batch_inherits_what_happened_before_and_not_after(session: Session) -> None:
    from app.operations.facts import record_fact
    from tests.writing import water

    add_batch(session)
    record_fact(session, water(id="before-1", at="2026-03-14T08:00:00Z"), now=NOW)
    record_fact(session, water(id="after-1", at="2026-03-14T11:00:00Z"), now=NOW)
    add_batch(session, OTHER, parts_of("split", f"batch:{BATCH}", id="split-1"))
    assert [fact.id for fact in get_history(session, OTHER).readings()] == ["before-1"]
    assert [fact.id for fact in get_history(session, BATCH).readings()] == ["before-1", "after-1"]
    assert set(get_history(session, OTHER).lots) == {LOT}


def test_a_roast_begins_from_a_pack_of_finished_malt(session: Session) -> None:
    add_batch(session)
    fill_jar(session)
    batch = add_batch(session, OTHER, parts_of("roast_charge", "pack:pack-1", id="roast-1"))
    history = get_history(session, batch.id)
    assert [part.source for part in history.charges] == [Subject("pack", "pack-1")]
    assert set(history.lots) == {LOT}


def test_renaming_counts_the_revision_and_refuses_a_stale_one(session: Session) -> None:
    batch = add_batch(session)
    rename_batch(session, batch, title="  Pale for spring ", revision=1)
    assert (batch.title, batch.revision) == ("Pale for spring", 2)
    with pytest.raises(Conflict) as caught:
        rename_batch(session, batch, title="Something else", revision=1)
    assert caught.value.current is batch
    with pytest.raises(Rejected):
        rename_batch(session, batch, title="t" * 81, revision=2)
    assert get_batch(session, batch.number).title == "Pale for spring"


def test_a_pack_is_filled_once_from_its_batch(session: Session) -> None:
    add_batch(session)
    first = fill_jar(session)
    assert fill_jar(session) is first
    assert [(part.target, part.as_is_kg) for part in get_history(session, BATCH).departures] == [
        (Subject("pack", "pack-1"), 2.5)
    ]


def test_a_pack_needs_a_name(session: Session) -> None:
    add_batch(session)
    with pytest.raises(Rejected) as caught:
        fill_jar(session, name="  ")
    assert set(caught.value.fields) == {"name"}
