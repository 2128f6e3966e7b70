"""What lists remember of each batch: made again from the facts at any time, and never more than a memory."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from app.judgement import rules_version
from app.judgement.measures.batch import measures, measures_from_record
from app.operations import digests
from app.operations.digests import rebuild, refresh_digest
from app.operations.facts import record_fact
from app.store.batches import Batch
from app.store.digests import BatchDigest, list_live_ids
from app.store.history import get_history
from tests.writing import BATCH, NOW, add_batch, charge, entry, iso

LATER = NOW + timedelta(days=9)


def batch(session: Session, batch_id: str = BATCH) -> Batch:
    session.expire_all()
    return session.get_one(Batch, batch_id)


def refresh(session: Session, batch_id: str = BATCH) -> BatchDigest:
    found = batch(session, batch_id)
    return refresh_digest(session, get_history(session, batch_id), found.last_seq, LATER)


def finish(session: Session, batch_id: str = BATCH) -> None:
    for place, kind in enumerate(("steep_on", "cast", "loaded", "heat_off", "outturn", "finished")):
        moment = iso(NOW + timedelta(days=place))
        typed = {"net": "20,5", "moisture": "4,5", "moisture_unit": "percent"} if kind == "outturn" else {}
        record_fact(session, entry(kind, typed, id=f"{kind}-{batch_id}", batch=batch_id, at=moment), now=LATER)


def test_a_digest_remembers_the_measures_that_the_batch_has(session: Session) -> None:
    add_batch(session)
    finish(session)
    remembered = {measure.key: measure for measure in measures_from_record(refresh(session).measures)}
    judged = {measure.key: measure for measure in measures(get_history(session, BATCH), LATER) if measure.is_known}
    assert remembered["malting_loss"].value == pytest.approx(1 - 20.5 * 0.955 / (25 * 0.87))
    assert {key: remembered[key] for key in judged} == judged
    assert remembered["flags_act"].is_known


def test_a_digest_says_where_the_batch_is_and_since_when(session: Session) -> None:
    add_batch(session)
    first = refresh(session)
    assert (first.is_live, first.stage, first.ended_at) == (True, "charged", None)
    finish(session)
    last = refresh(session)
    assert (last.is_live, last.stage, last.ended_at) == (False, "finished", NOW + timedelta(days=5))
    assert last.started_at == NOW


def test_a_digest_carries_the_fact_and_the_rules_it_was_made_from(session: Session) -> None:
    add_batch(session)
    digest = refresh(session)
    assert (digest.seq, digest.rules_version) == (batch(session).last_seq, rules_version())


def test_refreshing_twice_keeps_one_row(session: Session) -> None:
    add_batch(session)
    refresh(session)
    finish(session)
    refresh(session)
    assert session.scalar(select(func.count()).select_from(BatchDigest)) == 1


def test_a_fact_that_comes_after_its_digest_makes_the_batch_doubtful_again(session: Session) -> None:
    add_batch(session)
    finish(session)
    refresh(session)
    assert list_live_ids(session, rules_version()) == []
    record_fact(session, entry("note", {"text": "dressed"}, id="note-1", at=iso(LATER)), now=LATER)
    assert list_live_ids(session, rules_version()) == [BATCH]


def test_older_rules_make_the_batch_doubtful_again(session: Session) -> None:
    add_batch(session)
    finish(session)
    refresh(session)
    assert list_live_ids(session, rules_version() + 1) == [BATCH]


def remembered(session: Session) -> dict[str, object]:
    names = ("seq", "rules_version", "is_live", "stage", "started_at", "ended_at", "measures")
    return {row.batch_id: {name: getattr(row, name) for name in names} for row in session.scalars(select(BatchDigest))}


def test_rebuilding_from_nothing_gives_what_was_there(session: Session) -> None:
    for place in range(3):
        add_batch(session, f"batch-{place}", charge(id=f"charge-{place}"))
    finish(session, "batch-1")
    for place in range(3):
        refresh(session, f"batch-{place}")
    before = remembered(session)
    session.execute(delete(BatchDigest))
    session.expunge_all()
    assert rebuild(session, LATER) == 3
    assert remembered(session) == before


def test_rebuilding_takes_every_batch_though_they_come_in_portions(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(digests, "CHUNK", 2)
    for place in range(5):
        add_batch(session, f"batch-{place}", charge(id=f"charge-{place}"))
    assert rebuild(session, LATER) == 5
    assert set(remembered(session)) == {f"batch-{place}" for place in range(5)}


def test_rebuilding_an_empty_folder_makes_nothing(session: Session) -> None:
    assert rebuild(session, LATER) == 0


def test_a_rebuild_without_a_moment_takes_the_present_one(session: Session) -> None:
    add_batch(session)
    assert rebuild(session) == 1
    assert session.get_one(BatchDigest, BATCH).measures["charged_kg"]["value"] == 25.0
