"""What may take the place of what, as the store holds it; and that the order of arrival doesn't matter."""

from __future__ import annotations

from itertools import permutations

import pytest
from sqlalchemy.orm import Session

from app.errors import Conflict, Rejected
from app.judgement.facts import Fact, Part, Reading, Subject
from app.operations.facts import record_fact, withdraw_fact
from app.store.history import get_history, load_histories
from tests.writing import BATCH, LOT, NOW, OTHER, add_batch, charge, count_facts, entry, struck, water


@pytest.fixture(autouse=True)
def batches(session: Session) -> None:
    add_batch(session)
    add_batch(session, OTHER, charge(id="charge-other"))


def standing(session: Session) -> list[tuple[str, float | None]]:
    return [(fact.id, fact.value) for fact in get_history(session, BATCH).of_shape(Reading)]


def refused(session: Session, record: dict[str, object]) -> None:
    before = count_facts(session)
    with pytest.raises(Rejected) as caught:
        record_fact(session, record, now=NOW)
    assert set(caught.value.fields) == {"supersedes_id"}
    assert count_facts(session) == before


def test_a_correction_stands_in_place_of_what_it_corrects(session: Session) -> None:
    record_fact(session, water("21"), now=NOW)
    record_fact(session, water("12", id="water-2", supersedes_id="water-1"), now=NOW)
    assert standing(session) == [("water-2", 12.0)]


def test_a_correction_of_a_correction_stands_alone(session: Session) -> None:
    for number, value in enumerate(("21", "12", "12.5"), start=1):
        earlier = {"supersedes_id": f"water-{number - 1}"} if number > 1 else {}
        record_fact(session, water(value, id=f"water-{number}", **earlier), now=NOW)
    assert standing(session) == [("water-3", 12.5)]


def test_what_another_has_superseded_shows_that_other(session: Session) -> None:
    record_fact(session, water("21"), now=NOW)
    theirs = record_fact(session, water("12", id="water-2", supersedes_id="water-1"), now=NOW).fact
    with pytest.raises(Conflict) as caught:
        record_fact(session, water("13", id="water-3", supersedes_id="water-1"), now=NOW)
    assert caught.value.current == theirs
    assert standing(session) == [("water-2", 12.0)]


def test_mine_aimed_again_at_theirs_is_kept(session: Session) -> None:
    record_fact(session, water("21"), now=NOW)
    record_fact(session, water("12", id="water-2", supersedes_id="water-1"), now=NOW)
    record_fact(session, water("13", id="water-3", supersedes_id="water-2"), now=NOW)
    assert standing(session) == [("water-3", 13.0)]


def test_a_correction_of_another_kind_or_batch_is_refused(session: Session) -> None:
    record_fact(session, water(), now=NOW)
    typed = {"value": "14", "value_unit": "c"}
    refused(session, entry("grain_temperature", typed, id="other-1", supersedes_id="water-1"))
    refused(session, water(id="other-2", batch=OTHER, supersedes_id="water-1"))
    refused(session, struck("water-1", id="other-3", batch=OTHER))


def test_a_restoring_fact_must_be_of_the_kind_that_was_struck_out(session: Session) -> None:
    kept = record_fact(session, water(), now=NOW).fact
    withdraw_fact(session, kept, new_id="struck-1", now=NOW)
    typed = {"value": "14", "value_unit": "c"}
    refused(session, entry("grain_temperature", typed, id="other-1", supersedes_id="struck-1"))


def test_a_fact_cannot_take_its_own_place(session: Session) -> None:
    refused(session, water(supersedes_id="water-1"))


def test_corrections_cannot_go_round_in_a_circle(session: Session) -> None:
    record_fact(session, water(id="a", supersedes_id="b"), now=NOW)
    refused(session, water(id="b", supersedes_id="a"))
    record_fact(session, water(id="c", supersedes_id="a"), now=NOW)
    refused(session, water(id="b", supersedes_id="c"))


def test_a_correction_waits_for_what_it_corrects_and_stands_meanwhile(session: Session) -> None:
    waiting = record_fact(session, water("12", id="water-2", supersedes_id="water-1"), now=NOW)
    assert waiting.is_new
    assert standing(session) == [("water-2", 12.0)]
    record_fact(session, water("21"), now=NOW)
    assert standing(session) == [("water-2", 12.0)]


def test_a_correction_that_does_not_fit_what_it_waited_for_takes_nothing_away(session: Session) -> None:
    record_fact(session, struck("water-1", batch=OTHER), now=NOW)
    record_fact(session, water(), now=NOW)
    assert standing(session) == [("water-1", 12.0)]


def test_any_order_of_arrival_gives_the_same_story(session: Session) -> None:
    told = [
        water("21", id="a"),
        water("12", id="b", supersedes_id="a"),
        struck("b", id="c"),
        water("12.5", id="d", supersedes_id="c"),
        entry("drained", id="e"),
    ]
    stories = set()
    for order in permutations(told):
        savepoint = session.begin_nested()
        for record in order:
            record_fact(session, record, now=NOW)
        history = get_history(session, BATCH)
        chains = tuple((chain.root_id, tuple(fact.id for fact in chain.facts)) for chain in history.chains)
        stories.add((tuple(fact.id for fact in history.facts), chains))
        savepoint.rollback()
    assert len(stories) == 1
    facts, _ = stories.pop()
    assert facts[1:] == ("e", "d") or facts[1:] == ("d", "e")


def test_a_struck_out_charge_leaves_both_the_lot_and_the_batch(session: Session) -> None:
    part = get_history(session, BATCH).charges[0]
    withdraw_fact(session, part, new_id="struck-1", now=NOW)
    assert get_history(session, BATCH).charges == ()
    assert get_history(session, OTHER).charges[0].source == Subject("lot", LOT)


def test_a_split_struck_out_at_its_other_end_leaves_both_batches(session: Session) -> None:
    typed = {"source": f"batch:{BATCH}", "target": f"batch:{OTHER}", "as_is": "10", "moisture": "42"}
    split = record_fact(session, entry("merge", typed, id="merge-1", batch=OTHER), now=NOW).fact
    both = load_histories(session, [BATCH, OTHER])
    assert both[BATCH].departures == (split,) == tuple(part for part in both[OTHER].charges if part.kind == "merge")
    withdraw_fact(session, split, new_id="struck-1", now=NOW)
    for history in load_histories(session, [BATCH, OTHER]).values():
        parts: list[Fact] = [part for part in history.of_shape(Part) if part.kind == "merge"]
        assert parts == []
