"""Which facts stand: the last of each chain of corrections, unless that one is a withdrawal.

The answer depends on the set of facts only, never on the order in which they arrived.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from app.judgement.facts import Fact, Withdrawal


@dataclass(frozen=True)
class Chain:
    """A fact and what superseded it, oldest first. root_id names the chain, and may be of a fact not here yet."""

    root_id: str
    facts: tuple[Fact, ...]

    @property
    def standing(self) -> Fact | None:
        """The fact that holds now: none where the chain was struck out."""
        last = self.facts[-1]
        return None if isinstance(last, Withdrawal) else last


def can_supersede(later: Fact, earlier: Fact, original_kind: str) -> bool:
    """Whether later may take the place of earlier: same subject, and the chain's own kind or a withdrawal."""
    if later.subject != earlier.subject or later.id == earlier.id:
        return False
    if isinstance(later, Withdrawal):
        return not isinstance(earlier, Withdrawal)
    return later.kind == original_kind


def chains(facts: Iterable[Fact]) -> list[Chain]:
    """Order the facts into chains. A superseder that doesn't fit its target is void: it stands in no chain."""
    by_id = {fact.id: fact for fact in facts}
    successor = {
        fact.supersedes_id: fact
        for fact in sorted(by_id.values(), key=lambda each: each.id)
        if fact.supersedes_id is not None
    }
    found = []
    for fact in by_id.values():
        if fact.supersedes_id is not None and fact.supersedes_id in by_id:
            continue
        links = _follow(fact, successor)
        if not (len(links) == 1 and isinstance(fact, Withdrawal)):
            found.append(Chain(fact.supersedes_id or fact.id, tuple(links)))
    return found


def _follow(first: Fact, successor: Mapping[str, Fact]) -> list[Fact]:
    links = [first]
    while (later := successor.get(links[-1].id)) is not None:
        if not can_supersede(later, links[-1], _original_kind(links, later)) or later in links:
            break
        links.append(later)
    return links


def _original_kind(links: list[Fact], later: Fact) -> str:
    """The kind of the chain; where only a withdrawal is here and its target is not yet, whatever restores it."""
    return next((fact.kind for fact in links if not isinstance(fact, Withdrawal)), later.kind)
