"""What may take the place of what, as the store holds it; and that the order of arrival doesn't matter."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from itertools import permutations

import pytest
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.errors import Conflict, Rejected
from app.judgement.facts.shapes import Fact, Part, Reading, Subject
from app.operations.facts import insert_fact, record_fact, withdraw_fact
from app.store.facts import find_fact, find_superseder
from app.store.history import get_history, load_histories
from app.store.stock import list_stock_kg
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


def grain(id: str, **more: object) -> dict[str, object]:
    return entry("grain_temperature", {"value": "14", "value_unit": "c"}, id=id, **more)


def misfits() -> list[dict[str, object]]:
    """What may have waited for a water temperature of the one batch, and doesn't fit it."""
    return [
        water("13", id="misfit", batch=OTHER, supersedes_id="water-1"),
        grain("misfit", supersedes_id="water-1"),
        struck("water-1", id="misfit", batch=OTHER),
    ]


@pytest.mark.parametrize("place", range(3))
def test_one_that_waited_and_does_not_fit_keeps_no_other_from_it(session: Session, place: int) -> None:
    record_fact(session, misfits()[place], now=NOW)
    record_fact(session, water("21"), now=NOW)
    record_fact(session, water("12", id="water-2", supersedes_id="water-1"), now=NOW)
    assert standing(session) == [("water-2", 12.0)]
    assert find_superseder(session, "water-1") == find_fact(session, "water-2")


@pytest.mark.parametrize("place", range(3))
def test_what_does_not_fit_may_wait_beside_what_does(session: Session, place: int) -> None:
    record_fact(session, misfits()[place], now=NOW)
    record_fact(session, water("12", id="water-2", supersedes_id="water-1"), now=NOW)
    record_fact(session, water("21"), now=NOW)
    assert standing(session) == [("water-2", 12.0)]


def test_of_two_that_fit_only_one_is_taken_though_a_third_does_not(session: Session) -> None:
    record_fact(session, misfits()[0], now=NOW)
    record_fact(session, water("21"), now=NOW)
    theirs = record_fact(session, water("12", id="water-2", supersedes_id="water-1"), now=NOW).fact
    for late in (water("13", id="water-3", supersedes_id="water-1"), struck("water-1", id="struck-2")):
        with pytest.raises(Conflict) as caught:
            record_fact(session, late, now=NOW)
        assert caught.value.current == theirs


def test_two_that_could_both_fit_do_not_both_wait(session: Session) -> None:
    theirs = record_fact(session, water("12", id="water-2", supersedes_id="water-1"), now=NOW).fact
    for late in (water("13", id="water-3", supersedes_id="water-1"), struck("water-1", id="struck-2")):
        with pytest.raises(Conflict) as caught:
            record_fact(session, late, now=NOW)
        assert caught.value.current == theirs


def test_a_restoration_of_another_kind_is_void_once_the_first_fact_is_here_and_gives_room(session: Session) -> None:
    record_fact(session, struck("water-1", id="struck-1"), now=NOW)
    record_fact(session, grain("grain-1", supersedes_id="struck-1"), now=NOW)
    record_fact(session, water("21"), now=NOW)
    record_fact(session, water("12", id="water-2", supersedes_id="struck-1"), now=NOW)
    assert standing(session) == [("water-2", 12.0)]


def test_the_database_itself_takes_no_second_of_the_same_kind(session: Session) -> None:
    first = record_fact(session, water("12", id="water-2", supersedes_id="water-1"), now=NOW).fact
    with pytest.raises(IntegrityError):
        insert_fact(session, replace(first, id="water-3"), "0" * 64, NOW)


def test_stock_and_lists_are_not_moved_by_what_does_not_fit(session: Session) -> None:
    charged = get_history(session, OTHER).charges[0]
    before = list_stock_kg(session)
    late = [
        struck("charge-late", id="misfit", batch=BATCH),
        charge(id="charge-late") | {"subject": {"type": "batch", "id": OTHER}},
    ]
    late[1]["typed"] = late[1]["typed"] | {"target": f"batch:{OTHER}"}
    for record in late:
        record_fact(session, record, now=NOW)
    assert list_stock_kg(session)[charged.source.id] == pytest.approx(before[charged.source.id] - 25.0)


@pytest.mark.parametrize("place", range(3))
def test_any_order_of_arrival_of_a_misfit_gives_the_same_facts(session: Session, place: int) -> None:
    told = [water("21"), water("12", id="water-2", supersedes_id="water-1"), misfits()[place]]
    found = set()
    for order in permutations(told):
        savepoint = session.begin_nested()
        for record in order:
            with suppress(Conflict, Rejected):
                record_fact(session, record, now=NOW)
        found.add(tuple(standing(session)))
        savepoint.rollback()
    assert found == {(("water-2", 12.0),)}


def test_any_order_of_arrival_gives_the_same_story(session: Session) -> None:
    chain = [
        water("21", id="a"),
        water("12", id="b", supersedes_id="a"),
        struck("b", id="c"),
        water("12.5", id="d", supersedes_id="c"),
    ]
    apart = entry("drained", id="e")
    stories = set()
    for place, order in enumerate(permutations(chain)):
        # In every order of the chain, and what is no part of it at each place in turn.
        order = [*order[: place % 5], apart, *order[place % 5 :]]
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
