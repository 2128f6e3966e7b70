"""Whatever was recorded, in whatever order: an export read into an empty record is the same record."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app.errors import ChitbookError
from app.exchange.records import export_records, import_records
from app.judgement.programmes.programme import load_builtin
from app.operations.facts import record_fact
from app.operations.programmes import keep_programme
from app.store.base import metadata
from app.store.engine import make_engine, write_session
from app.store.history import get_history
from app.store.types import canonical_json
from app.web.tub.tiles import tub_kinds
from tests.examples import EXAMPLES
from tests.writing import BATCH, NOW, OTHER, Record, add_batch, charge, entry, iso

WORDS = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
Said = tuple[str, int, int, str]
SAID = st.tuples(st.sampled_from([*tub_kinds(), "withdrawal"]), st.integers(-40, 40), st.integers(0, 12), WORDS)


def told(number: int, said: Said) -> Record:
    """The entry of this number; a withdrawal or a correction is of an entry with a lower or a higher number."""
    kind, hours, target, words = said
    at = NOW + timedelta(hours=hours, seconds=number)
    more: dict[str, Any] = {"note": words} if words else {}
    if kind == "withdrawal" or target > 9:
        more["supersedes_id"] = f"said-{target % 10}"
    batch = BATCH if target % 3 else OTHER
    return entry(kind, dict(EXAMPLES[kind]), id=f"said-{number}", batch=batch, at=iso(at), **more)


def house() -> Engine:
    engine = make_engine("sqlite://")
    metadata.create_all(engine)
    return engine


def lines_of(session: Session) -> list[str]:
    return [canonical_json(record) for record in export_records(session)]


@settings(max_examples=10, deadline=None)
@given(st.lists(SAID, max_size=12))
def test_an_export_of_anything_comes_back_the_same(everything: list[Said]) -> None:
    ours, theirs = house(), house()
    with write_session(ours) as session, write_session(theirs) as empty:
        keep_programme(session, load_builtin()["barley_pale"], now=NOW)
        add_batch(session)
        add_batch(session, OTHER, charge(id="charge-other"))
        for number, said in enumerate(everything):
            try:
                record_fact(session, told(number, said), now=NOW)
            except ChitbookError:
                continue
        lines = lines_of(session)
        import_records(empty, lines)
        assert lines_of(empty) == lines
        for batch_id in (BATCH, OTHER):
            before = get_history(session, batch_id)
            after = get_history(empty, batch_id)
            assert after.facts == before.facts
            assert after.chains == before.chains
    ours.dispose()
    theirs.dispose()
