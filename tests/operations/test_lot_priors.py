"""What a lot's earlier batches teach its next one."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.judgement.forecasts.forecast import fit
from app.operations.digests import refresh_digest
from app.operations.facts import record_fact
from app.store.batches import Batch
from app.store.digests import MOST_TAUGHT, BatchDigest
from app.store.history import get_history
from tests.writing import BATCH, LOT, NOW, OTHER, add_batch, add_lot, charge, entry, iso

LATER = NOW + timedelta(days=20)
STRANGE_LOT = "lot-strange"
SLOW = ((6.0, "0,565"), (24.0, "0,68"), (40.0, "0,73"))
"""A bag of half a kilo that takes up far less than barley does."""


def steep(session: Session, batch_id: str, begun: datetime) -> None:
    bag = {"vessel": "bag 1", "gross": "0,5", "tare": "0", "moisture": "13", "moisture_unit": "percent"}
    said = [(-0.2, "test_bag_start", bag), (0.0, "steep_on", {})]
    said += [(hour, "test_bag", {"vessel": "bag 1", "gross": net, "tare": "0"}) for hour, net in SLOW]
    said += [(41.0, "cast", {}), (130.0, "abandoned", {})]
    for place, (hour, kind, typed) in enumerate(said):
        at = iso(begun + timedelta(hours=hour))
        record = entry(kind, typed, id=f"{batch_id}-{place}", batch=batch_id, at=at, method="blotted")
        record_fact(session, record, now=LATER)


def end(session: Session, batch_id: str = BATCH) -> None:
    steep(session, batch_id, NOW)
    batch = session.get_one(Batch, batch_id)
    refresh_digest(session, get_history(session, batch_id), batch.last_seq, LATER)


def begin_later(session: Session, batch_id: str, lot: str = LOT) -> None:
    add_batch(session, batch_id, charge(id=f"charge-{batch_id}", lot=lot))
    session.get_one(Batch, batch_id).created_at = LATER
    session.flush()


def test_the_next_batch_of_the_lot_begins_from_what_the_last_one_took_up(session: Session) -> None:
    add_batch(session)
    end(session)
    begin_later(session, OTHER)
    record_fact(session, entry("steep_on", {}, id="water", batch=OTHER, at=iso(LATER)), now=LATER)
    taught = get_history(session, OTHER)
    assert [each["names"][0] for each in (taught.prior or {})["uptake"]] == ["log_gain"]
    told = fit(taught).story
    assert told is not None
    assert told.uptake is not None
    central, sd = told.uptake.state(24.0)
    session.get_one(Batch, OTHER).created_at = NOW
    session.flush()
    alone = fit(get_history(session, OTHER)).story
    assert alone is not None
    assert alone.uptake is not None
    usual, usual_sd = alone.uptake.state(24.0)
    assert central < usual - 0.01
    assert sd < usual_sd


def test_a_batch_learns_nothing_from_one_that_had_not_ended_when_it_was_opened(session: Session) -> None:
    add_batch(session)
    end(session)
    add_batch(session, OTHER, charge(id="charge-other"))
    assert not get_history(session, OTHER).prior
    assert not get_history(session, BATCH).prior


def test_batches_that_end_later_take_nothing_from_what_an_earlier_one_was_taught(session: Session) -> None:
    add_batch(session)
    end(session)
    begin_later(session, OTHER)
    taught = get_history(session, OTHER).prior
    assert taught
    learned = session.get_one(BatchDigest, BATCH)
    for number in range(MOST_TAUGHT + 1):
        add_batch(session, f"later-{number}", charge(id=f"charge-later-{number}"))
        ended_at = LATER + timedelta(days=10 + number)
        kept = {"seq": 1, "is_live": False, "stage": "abandoned", "measures": learned.measures}
        more = {"rules_version": learned.rules_version, "ended_at": ended_at}
        session.add(BatchDigest(batch_id=f"later-{number}", **kept, **more))
    session.flush()
    assert get_history(session, OTHER).prior == taught
    begin_later(session, "the last")
    session.get_one(Batch, "the last").created_at = LATER + timedelta(days=100)
    session.flush()
    assert len((get_history(session, "the last").prior or {})["uptake"]) == MOST_TAUGHT


def test_a_batch_that_was_written_down_after_its_end_teaches_itself_nothing(session: Session) -> None:
    add_batch(session)
    end(session)
    session.get_one(Batch, BATCH).created_at = LATER
    session.flush()
    assert not get_history(session, BATCH).prior


def test_another_lot_teaches_nothing(session: Session) -> None:
    add_batch(session)
    end(session)
    add_lot(session, STRANGE_LOT, "Field on the hill")
    begin_later(session, OTHER, lot=STRANGE_LOT)
    assert not get_history(session, OTHER).prior


def test_a_charge_that_was_struck_out_teaches_nothing(session: Session) -> None:
    add_batch(session)
    end(session)
    gone = {"kind": "withdrawal", "supersedes_id": f"charge-{BATCH}", "typed": {"reason": "wrong lot"}}
    record_fact(session, entry("withdrawal", {"reason": "wrong lot"}, id="gone") | gone, now=LATER)
    begin_later(session, OTHER)
    assert not get_history(session, OTHER).prior


def test_what_a_batch_teaches_otherwise_than_before_has_later_ones_of_its_lot_judged_anew(session: Session) -> None:
    add_batch(session)
    add_lot(session, STRANGE_LOT, "Field on the hill")
    end(session)
    begin_later(session, OTHER)
    begin_later(session, "batch-3", STRANGE_LOT)
    for batch_id in (OTHER, "batch-3"):
        refresh_digest(session, get_history(session, batch_id), session.get_one(Batch, batch_id).last_seq, LATER)
    end_again(session)
    assert session.get(BatchDigest, OTHER) is not None, "nothing was taught otherwise"
    bag = {"vessel": "bag 1", "gross": "0,80", "tare": "0"}
    at = iso(NOW + timedelta(hours=40.5))
    record_fact(session, entry("test_bag", bag, id="one-more", at=at, method="blotted"), now=LATER)
    end_again(session)
    session.expire_all()
    assert session.get(BatchDigest, OTHER) is None
    assert session.get(BatchDigest, "batch-3") is not None, "of another lot"


def end_again(session: Session) -> None:
    batch = session.get_one(Batch, BATCH)
    session.refresh(batch)
    refresh_digest(session, get_history(session, BATCH), batch.last_seq, LATER)
