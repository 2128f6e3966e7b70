"""What is left of a lot, as the database adds it up: the same as its ledger says, whatever was corrected."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from app.judgement.grain.stock import stock_ledger
from app.operations.facts import record_fact
from app.store.lots import list_lots, load_lot_stories
from app.store.stock import list_stock_kg
from tests.writing import LOT, NOW, add_batch, charge, iso


def weighing(kind: str, kg: float, id: str, **more: object) -> dict[str, object]:
    about = {"type": "lot", "id": LOT}
    return {"id": id, "kind": kind, "subject": about, "at": iso(NOW), "values": {"net_kg": kg}} | more


def withdrawal(target: str, id: str, about: dict[str, str]) -> dict[str, object]:
    return {"id": id, "kind": "withdrawal", "subject": about, "at": iso(NOW), "supersedes_id": target}


@pytest.fixture
def house(session: Session) -> Session:
    add_batch(session)
    return session


def left(session: Session) -> float:
    (story,) = load_lot_stories(session, list_lots(session))
    added, told = list_stock_kg(session)[LOT], stock_ledger(story.facts, LOT).balance_kg
    assert added == pytest.approx(told)
    return added


def test_intake_less_what_was_charged(house: Session):
    assert left(house) == pytest.approx(475.0)


def test_adjusted_and_returned(house: Session):
    record_fact(house, weighing("stock_adjustment", -20.0, "mice"), now=NOW)
    record_fact(house, weighing("returned", 5.0, "back"), now=NOW)
    assert left(house) == pytest.approx(460.0)


def test_a_corrected_intake_counts_once(house: Session):
    record_fact(house, weighing("intake", 450.0, "right", supersedes_id=f"intake-{LOT}"), now=NOW)
    assert left(house) == pytest.approx(425.0)


def test_a_struck_out_charge_counts_no_more(house: Session):
    record_fact(house, withdrawal("charge-batch-1", "w", {"type": "batch", "id": "batch-1"}), now=NOW)
    assert left(house) == pytest.approx(500.0)


def test_a_charge_that_was_restored_counts_again(house: Session):
    about = {"type": "batch", "id": "batch-1"}
    record_fact(house, withdrawal("charge-batch-1", "w", about), now=NOW)
    typed = {**charge()["typed"], "target": "batch:batch-1", "as_is": "30"}
    again = {"id": "again", "kind": "charge", "subject": about, "at": iso(NOW), "typed": typed, "supersedes_id": "w"}
    record_fact(house, again, now=NOW)
    assert left(house) == pytest.approx(470.0)


def test_a_lot_that_nothing_was_weighed_of_is_not_named(session: Session):
    assert list_stock_kg(session) == {}
