"""Facts that were read once and need not be read again: none is ever changed or removed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Select, bindparam
from sqlalchemy.orm import Session

from app.judgement.facts.shapes import Fact
from app.store.facts import fact, facts_from, select_facts

FACTS, KEEPS = "facts", "keeps_facts"
"""In `Session.info`: a `KeptFacts`; and whether what the session reads is kept there. A unit of work that writes may
only look: what it reads of its own is undone if it fails, and another fact gets the same place."""

MOST_KEPT, MOST_MISSED = 4_000, 400

Key = tuple[int, str]


class KeptFacts:
    """By place and id, for a bounded number of them; safe to share between threads."""

    def __init__(self, most: int = MOST_KEPT) -> None:
        self._most, self._kept = most, dict[Key, Fact]()

    def of(self, keys: Sequence[Key]) -> dict[Key, Fact]:
        kept = self._kept
        return {key: kept[key] for key in keys if key in kept}

    def keep(self, facts: Mapping[Key, Fact]) -> None:
        # One assignment: whoever looks meanwhile sees the old ones or the new ones, whole.
        kept = {**self._kept, **facts}
        self._kept = kept if len(kept) <= self._most else dict(list(kept.items())[-self._most :])


def load_facts(session: Session, query: Select[Any], keys: Select[Any], given: Mapping[str, Any]) -> list[Fact]:
    """The facts of a query in their order, those that are kept without reading them anew.

    query: made with select_facts; keys: fact.seq and fact.id under the same condition, in the same order.
    """
    kept: KeptFacts | None = session.info.get(FACTS)
    if kept is None:
        return facts_from(session.execute(query, given).all())
    wanted = [(seq, id_) for seq, id_ in session.execute(keys, given)]
    known = kept.of(wanted)
    missed = [seq for seq, id_ in wanted if (seq, id_) not in known]
    if missed:
        asked = (_BY_SEQ, {"seqs": missed}) if len(missed) <= MOST_MISSED else (query, given)
        read = {(each.seq or 0, each.id): each for each in facts_from(session.execute(*asked).all())}
        known |= read
        if session.info.get(KEEPS):
            kept.keep(read)
    return [known[key] for key in wanted]


_BY_SEQ = select_facts().where(fact.c.seq.in_(bindparam("seqs", expanding=True)))
