"""Taking a lot in: its name, its intake, and what is known of it at once."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from app.errors import Rejected
from app.judgement.facts.shapes import Remark, Subject, Weighing
from app.operations.lots import create_lot
from app.store.facts import list_facts_about
from app.store.lots import find_lot_by_name, list_lots
from tests.writing import LOT, NOW, add_lot, count_facts, iso, taken_in

DECLARED = {"untreated": "yes", "for_food": "yes", "by": "A. Farmer", "ground": "delivery note 7"}


def facts_about_lot(session: Session) -> list[object]:
    return list(list_facts_about(session, Subject("lot", LOT)))


def test_a_lot_is_taken_in_with_its_weight(session: Session) -> None:
    add_lot(session)
    lot = find_lot_by_name(session, "Field by the river")
    assert lot is not None
    assert (lot.id, lot.species, lot.created_at) == (LOT, "barley", NOW)
    (intake,) = facts_about_lot(session)
    assert isinstance(intake, Weighing)
    assert (intake.kind, intake.net_kg, intake.moisture_wb) == ("intake", 500.0, pytest.approx(0.13))


def test_a_lot_may_be_opened_before_it_is_weighed(session: Session) -> None:
    create_lot(session, lot_id=LOT, name="Hill", species="rye", now=NOW)
    assert facts_about_lot(session) == []


def test_a_declaration_may_come_with_the_lot(session: Session) -> None:
    declared = taken_in(LOT, id="declared-1", kind="declaration", typed=DECLARED)
    create_lot(session, lot_id=LOT, name="Hill", species="rye", now=NOW, facts=[declared])
    (said,) = facts_about_lot(session)
    assert isinstance(said, Remark)
    assert said.findings == DECLARED


def test_the_same_id_again_is_the_same_lot(session: Session) -> None:
    add_lot(session)
    before = count_facts(session)
    add_lot(session)
    assert len(list_lots(session)) == 1
    assert count_facts(session) == before


def test_blanks_around_what_was_typed_are_dropped(session: Session) -> None:
    lot = create_lot(session, lot_id=LOT, name="  Hill ", species="rye", variety=" Old ", supplier=" Nora ", now=NOW)
    assert (lot.name, lot.variety, lot.supplier) == ("Hill", "Old", "Nora")


@pytest.mark.parametrize("name", ["", "   "])
def test_a_lot_needs_a_name(session: Session, name: str) -> None:
    with pytest.raises(Rejected) as caught:
        create_lot(session, lot_id=LOT, name=name, species="rye", now=NOW)
    assert set(caught.value.fields) == {"name"}


def test_two_lots_cannot_share_a_name(session: Session) -> None:
    add_lot(session)
    with pytest.raises(Rejected) as caught:
        create_lot(session, lot_id="lot-2", name=" Field by the river", species="rye", now=NOW)
    assert set(caught.value.fields) == {"name"}
    assert len(list_lots(session)) == 1


def test_an_intake_that_cannot_be_kept_leaves_no_lot_behind(session: Session) -> None:
    intake = taken_in(LOT, id="intake-1", at=iso(NOW + timedelta(days=9)), typed={"net": "500"})
    with pytest.raises(Rejected) as caught, session.begin_nested():
        create_lot(session, lot_id=LOT, name="Hill", species="rye", now=NOW, facts=[intake])
    assert set(caught.value.fields) == {"latest_at"}
    assert list_lots(session) == []
