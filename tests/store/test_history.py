"""From rows to a History: everything that judging a batch needs, and nothing of its neighbours."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.exchange.records import export_records
from app.judgement.facts.shapes import Subject
from app.judgement.history.build import history_from_records
from app.operations.facts import record_fact, withdraw_fact
from app.store.batches import Batch
from app.store.facts import find_fact
from app.store.history import get_history, load_histories
from tests.writing import (
    BATCH,
    LOT,
    NOW,
    OTHER,
    PROGRAMME,
    Record,
    add_batch,
    add_lot,
    charge,
    entry,
    fill_jar,
    iso,
    water,
)

DECLARED = {"untreated": "yes", "for_food": "yes", "by": "A. Farmer", "ground": "delivery note 7"}


def about_lot(kind: str, typed: dict[str, str], *, id: str, lot: str = LOT) -> Record:
    return entry(kind, typed, id=id) | {"subject": {"type": "lot", "id": lot}}


def part(kind: str, source: str, *, id: str, hours: float = 0.0) -> Record:
    typed = {"source": source, "as_is": "10", "moisture": "42", "moisture_unit": "percent"}
    return {"id": id, "kind": kind, "at": iso(NOW + timedelta(hours=hours)), "typed": typed}


def keep(session: Session, *records: Record) -> None:
    for record in records:
        record_fact(session, record, now=NOW)


def test_a_history_holds_the_facts_of_its_batch_and_no_other(session: Session) -> None:
    add_batch(session)
    add_batch(session, OTHER, charge(id="charge-other"))
    keep(session, water(id="mine"), water(id="theirs", batch=OTHER))
    assert [fact.id for fact in get_history(session, BATCH).facts] == [f"charge-{BATCH}", "mine"]
    assert [fact.id for fact in get_history(session, OTHER).facts] == ["charge-other", "theirs"]


def test_facts_stand_in_order_of_time_whatever_the_order_of_arrival(session: Session) -> None:
    add_batch(session)
    for hours in (3, 1, 2):
        keep(session, water(id=f"h{hours}", at=iso(NOW + timedelta(hours=hours))))
    assert [fact.id for fact in get_history(session, BATCH).readings()] == ["h1", "h2", "h3"]


def test_a_history_knows_its_batch_lot_and_programme(session: Session) -> None:
    add_batch(session)
    keep(session, about_lot("declaration", DECLARED, id="declared-1"))
    history = get_history(session, BATCH)
    assert (history.batch.number, history.batch.species, history.batch.programme) == (1, "barley", PROGRAMME)
    assert history.programme is not None
    assert history.programme.digest == PROGRAMME
    assert history.lots[LOT].name == "Field by the river"
    assert history.undeclared_lots == ()


def test_a_struck_out_declaration_holds_the_batch_again(session: Session) -> None:
    add_batch(session)
    assert [lot.id for lot in get_history(session, BATCH).undeclared_lots] == [LOT]
    keep(session, about_lot("declaration", DECLARED, id="declared-1"))
    declared = find_fact(session, "declared-1")
    assert declared is not None
    withdraw_fact(session, declared, new_id="struck-1", now=NOW)
    assert [lot.id for lot in get_history(session, BATCH).undeclared_lots] == [LOT]


def test_an_instrument_s_calibration_reaches_the_readings_of_every_batch(session: Session) -> None:
    add_batch(session)
    calibrated = entry("calibrated", {"amount": "-0.5", "amount_unit": "c"}, id="calibrated-1")
    calibrated |= {"subject": {"type": "instrument", "id": "probe 2"}, "at": iso(NOW - timedelta(days=1))}
    keep(
        session, calibrated, water("12", id="by-2", instrument="probe 2"), water("12", id="by-3", instrument="probe 3")
    )
    values = {reading.id: reading.value for reading in get_history(session, BATCH).readings()}
    assert values == {"by-2": 11.5, "by-3": 12.0}


def test_a_split_off_batch_comes_of_the_lot_of_its_source(session: Session) -> None:
    add_batch(session)
    add_batch(session, OTHER, part("split", f"batch:{BATCH}", id="split-1"))
    add_batch(session, "batch-3", part("split", f"batch:{OTHER}", id="split-2", hours=1))
    for batch_id in (OTHER, "batch-3"):
        assert set(get_history(session, batch_id).lots) == {LOT}


def test_what_is_said_of_the_source_later_on_is_not_inherited(session: Session) -> None:
    add_batch(session)
    add_batch(session, OTHER, part("split", f"batch:{BATCH}", id="split-1"))
    late, early = NOW + timedelta(hours=1), NOW - timedelta(hours=1)
    keep(session, water(id="late", at=iso(late)), water(id="early", at=iso(early)))
    assert [fact.id for fact in get_history(session, OTHER).readings()] == ["early"]


def test_a_merged_batch_keeps_the_lots_of_both(session: Session) -> None:
    add_batch(session)
    add_lot(session, "lot-2", "Hill field")
    add_batch(session, OTHER, charge(id="charge-other", lot="lot-2"))
    merge = part("merge", f"batch:{OTHER}", id="merge-1") | {"subject": {"type": "batch", "id": BATCH}}
    keep(session, merge | {"typed": merge["typed"] | {"target": f"batch:{BATCH}"}})
    assert set(get_history(session, BATCH).lots) == {LOT, "lot-2"}
    assert set(get_history(session, OTHER).lots) == {"lot-2"}


def test_a_roast_comes_of_the_lot_of_the_malt_in_its_jar(session: Session) -> None:
    add_batch(session)
    fill_jar(session, as_is="5")
    add_batch(session, OTHER, part("roast_charge", "pack:pack-1", id="roast-1", hours=1))
    history = get_history(session, OTHER)
    assert [each.source for each in history.charges] == [Subject("pack", "pack-1")]
    assert set(history.lots) == {LOT}
    assert history.readings() == ()


def test_many_histories_take_as_many_statements_as_one(session: Session) -> None:
    ids = [f"batch-{number}" for number in range(1, 13)]
    for batch_id in ids:
        add_batch(session, batch_id)
        keep(session, water(id=f"water-{batch_id}", batch=batch_id))
    session.expire_all()
    said: list[str] = []
    event.listen(session.get_bind(), "before_cursor_execute", lambda *given: said.append(given[2]))
    load_histories(session, ids[:1])
    for_one = len(said)
    session.expire_all()
    said.clear()
    assert set(load_histories(session, ids)) == set(ids)
    assert len(said) == for_one == 6


def test_histories_of_nothing_are_none(session: Session) -> None:
    assert load_histories(session, []) == {}
    assert load_histories(session, ["nowhere"]) == {}
    with pytest.raises(NotFound):
        get_history(session, "nowhere")


def test_the_export_of_a_batch_is_read_as_the_same_history(session: Session) -> None:
    add_batch(session)
    bag = {"vessel": "bag 1", "gross": "312", "gross_unit": "g", "tare": "12", "tare_unit": "g"}
    keep(
        session,
        entry("steep_on", id="steep-1", at=iso(NOW - timedelta(hours=1))),
        entry("test_bag_start", bag, id="bag-1"),
        water("21", id="water-1", at=iso(NOW)),
        water("12", id="water-2", at=iso(NOW), supersedes_id="water-1"),
        about_lot("declaration", DECLARED, id="declared-1"),
    )
    stored = get_history(session, BATCH)
    told: list[dict[str, Any]] = json.loads(json.dumps(list(export_records(session))))
    read = history_from_records(told)
    assert [fact.id for fact in read.facts] == [fact.id for fact in stored.facts]
    assert read.facts == stored.facts
    assert read.chains == stored.chains
    assert read.lots == stored.lots
    assert (read.batch.number, read.batch.programme) == (stored.batch.number, stored.batch.programme)
    assert read.programme == stored.programme


def test_reading_a_history_changes_no_row(session: Session) -> None:
    add_batch(session)
    before = session.execute(select(Batch.__table__)).all()
    get_history(session, BATCH)
    assert not session.dirty
    assert session.execute(select(Batch.__table__)).all() == before
