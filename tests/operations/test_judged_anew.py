"""A program with other rules remembers what has ended by its own, before it serves a page."""

from __future__ import annotations

from sqlalchemy import select, update

from app.config import Settings
from app.exchange.demo import load_demo
from app.judgement import rules_version
from app.serve import furnish
from app.store.digests import BatchDigest
from app.store.engine import open_database, read_session, write_session
from tests.conftest import NOW


def test_a_program_of_other_rules_judges_what_has_ended_anew(settings: Settings) -> None:
    of_all = select(BatchDigest.batch_id, BatchDigest.measures)
    with open_database(settings.database_url) as engine:
        with write_session(engine) as session:
            load_demo(session, NOW)
            remembered = dict(iter(session.execute(of_all.where(BatchDigest.is_live.is_(False)))))
            session.execute(update(BatchDigest).values(rules_version=1, measures={}))
        furnish(settings)
        with read_session(engine) as session:
            rows = session.scalars(select(BatchDigest).where(BatchDigest.is_live.is_(False))).all()
    assert remembered
    assert {row.rules_version for row in rows} == {rules_version()}
    assert {row.batch_id: row.measures for row in rows} == remembered
