"""Programme revisions: kept once under their digest, offered one at a time, never changed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.judgement.programmes.programme import load_builtin, revise
from app.operations.programmes import ensure_builtin_programmes, keep_programme
from app.store.batches import get_batch
from app.store.history import get_history
from app.store.programmes import ProgrammeRevision, get_programme, list_programmes
from tests.writing import BATCH, NOW, add_batch

PALE = load_builtin()["barley_pale"]


def offered(session: Session) -> set[str]:
    return {programme.digest for programme in list_programmes(session)}


def test_every_built_in_programme_is_offered(session: Session) -> None:
    assert offered(session) == {programme.digest for programme in load_builtin().values()}


def test_offering_them_again_changes_nothing(session: Session) -> None:
    before = session.scalars(select(ProgrammeRevision.digest).order_by(ProgrammeRevision.digest)).all()
    ensure_builtin_programmes(session, now=NOW)
    assert session.scalars(select(ProgrammeRevision.digest).order_by(ProgrammeRevision.digest)).all() == before


def test_a_programme_comes_back_as_it_was_kept(session: Session) -> None:
    kept = get_programme(session, PALE.digest)
    assert kept.to_dict() == PALE.to_dict()
    assert kept.digest == PALE.digest


def test_a_revision_of_the_house_is_offered_in_place_of_its_parent(session: Session) -> None:
    mine = revise(PALE, {"name": "Pale, our way"})
    assert keep_programme(session, mine, now=NOW) == mine.digest != PALE.digest
    assert mine.digest in offered(session)
    assert PALE.digest not in offered(session)
    assert get_programme(session, mine.digest).parent == PALE.digest


def test_a_revision_kept_twice_is_one(session: Session) -> None:
    mine = revise(PALE, {"name": "Pale, our way"})
    keep_programme(session, mine, now=NOW)
    keep_programme(session, mine, now=NOW)
    found = session.scalars(select(ProgrammeRevision).where(ProgrammeRevision.digest == mine.digest)).all()
    assert len(found) == 1


def test_a_start_after_an_upgrade_keeps_the_house_s_own_revision_on_offer(session: Session) -> None:
    mine = revise(PALE, {"name": "Pale, our way"})
    keep_programme(session, mine, now=NOW)
    ensure_builtin_programmes(session, now=NOW)
    assert mine.digest in offered(session)
    assert PALE.digest not in offered(session)


def test_an_older_built_in_revision_stays_for_its_batches_and_is_not_offered(session: Session) -> None:
    older = replace(PALE, name="Pale, as last year")
    session.execute(delete(ProgrammeRevision).where(ProgrammeRevision.digest == PALE.digest))
    keep_programme(session, older, now=NOW)
    ensure_builtin_programmes(session, now=NOW)
    assert older.digest not in offered(session)
    assert PALE.digest in offered(session)
    assert get_programme(session, older.digest).name == "Pale, as last year"


def test_a_batch_keeps_the_revision_it_began_with(session: Session) -> None:
    batch = add_batch(session)
    keep_programme(session, revise(PALE, {"name": "Pale, our way"}), now=NOW)
    assert get_batch(session, batch.number).programme == PALE.digest
    programme = get_history(session, BATCH).programme_at(NOW)
    assert programme is not None
    assert programme.digest == PALE.digest


def test_an_unknown_revision_is_not_found(session: Session) -> None:
    with pytest.raises(NotFound):
        get_programme(session, "f" * 64)
