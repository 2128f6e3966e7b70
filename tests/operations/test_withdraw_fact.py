"""Striking out: a fact more, never one less; and what takes the place of what."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from app.errors import Conflict, Rejected
from app.judgement.facts.shapes import Fact, Reading, Withdrawal
from app.operations.facts import record_fact, withdraw_fact
from app.store.batches import Batch
from app.store.facts import find_fact, find_superseder
from app.store.history import get_history
from tests.writing import BATCH, NOW, add_batch, count_facts, struck, water


@pytest.fixture
def reading(session: Session) -> Fact:
    add_batch(session)
    return record_fact(session, water(), now=NOW).fact


def test_a_struck_fact_stays_in_the_record_with_its_reason(session: Session, reading: Fact) -> None:
    before = count_facts(session)
    kept = withdraw_fact(session, reading, new_id="struck-1", now=NOW, reason="other tub", entered_by="Nora")
    assert count_facts(session) == before + 1
    assert find_fact(session, reading.id) == reading
    assert isinstance(kept.fact, Withdrawal)
    assert (kept.fact.reason, kept.fact.entered_by, kept.fact.subject) == ("other tub", "Nora", reading.subject)
    assert find_superseder(session, reading.id) == kept.fact


def test_a_struck_fact_is_not_in_the_story_any_more(session: Session, reading: Fact) -> None:
    assert get_history(session, BATCH).readings("water_temperature") == (reading,)
    withdraw_fact(session, reading, new_id="struck-1", now=NOW)
    history = get_history(session, BATCH)
    assert history.readings("water_temperature") == ()
    assert reading in {fact for chain in history.chains for fact in chain.facts}


def test_striking_out_marks_the_batch_as_changed(session: Session, reading: Fact) -> None:
    kept = withdraw_fact(session, reading, new_id="struck-1", now=NOW)
    session.expire_all()
    assert session.get_one(Batch, BATCH).last_seq == kept.fact.seq


def test_the_same_button_twice_strikes_out_once(session: Session, reading: Fact) -> None:
    withdraw_fact(session, reading, new_id="struck-1", now=NOW, reason="slip")
    before = count_facts(session)
    again = withdraw_fact(session, reading, new_id="struck-1", now=NOW + timedelta(minutes=2), reason="slip")
    assert not again.is_new
    assert count_facts(session) == before


def test_two_people_strike_out_the_same_fact_once(session: Session, reading: Fact) -> None:
    first = withdraw_fact(session, reading, new_id="struck-1", now=NOW).fact
    with pytest.raises(Conflict) as caught:
        withdraw_fact(session, reading, new_id="struck-2", now=NOW)
    assert caught.value.current == first


def test_a_withdrawal_cannot_be_struck_out_but_the_entry_said_again_restores_it(
    session: Session, reading: Fact
) -> None:
    withdrawal = withdraw_fact(session, reading, new_id="struck-1", now=NOW).fact
    with pytest.raises(Rejected):
        withdraw_fact(session, withdrawal, new_id="struck-2", now=NOW)
    restored = record_fact(session, water("12.5", id="water-2", supersedes_id="struck-1"), now=NOW).fact
    assert get_history(session, BATCH).readings("water_temperature") == (restored,)


def test_a_withdrawal_that_comes_before_its_target_waits_for_it(session: Session) -> None:
    add_batch(session)
    record_fact(session, struck("water-1"), now=NOW)
    target = record_fact(session, water(), now=NOW).fact
    assert isinstance(target, Reading)
    assert get_history(session, BATCH).readings("water_temperature") == ()


def test_a_reason_of_any_length_that_fits_is_kept_and_a_longer_one_refused(session: Session, reading: Fact) -> None:
    with pytest.raises(Rejected) as caught:
        withdraw_fact(session, reading, new_id="struck-1", now=NOW, reason="x" * 501)
    assert set(caught.value.fields) == {"reason"}
    assert withdraw_fact(session, reading, new_id="struck-1", now=NOW, reason="x" * 500).is_new
