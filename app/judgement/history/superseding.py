"""Which facts stand: the last of each chain of corrections, unless that one is a withdrawal.

The answer depends on the set of facts only, never on the order in which they arrived.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from app.judgement.facts.shapes import Fact, Withdrawal


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


def could_share_target(one: Fact, other: Fact) -> bool:
    """Whether both could fit one and the same fact: until it comes, only one of such a pair may wait for it. Of any
    others at most one fits, and the rest are void once it is here."""
    is_open = one.kind == other.kind or isinstance(one, Withdrawal) or isinstance(other, Withdrawal)
    return one.subject == other.subject and is_open


def chains(facts: Iterable[Fact]) -> list[Chain]:
    """Order the facts into chains. A superseder that doesn't fit its target is void: it stands in no chain."""
    by_id = {fact.id: fact for fact in facts}
    successors: dict[str, list[Fact]] = {}
    superseders = [fact for fact in by_id.values() if fact.supersedes_id is not None]
    for fact in sorted(superseders, key=lambda fact: fact.id, reverse=True):
        successors.setdefault(fact.supersedes_id or "", []).append(fact)
    settled = []
    for fact in by_id.values():
        if fact.supersedes_id is not None and fact.supersedes_id in by_id:
            continue
        # Most facts were never corrected, and every page asks this of each.
        links = _follow(fact, successors) if fact.id in successors else [fact]
        if not (len(links) == 1 and isinstance(fact, Withdrawal)):
            settled.append(Chain(fact.supersedes_id or fact.id, tuple(links)))
    return settled


def _follow(first: Fact, successors: Mapping[str, Sequence[Fact]]) -> list[Fact]:
    links = [first]
    while (later := _next(links, successors.get(links[-1].id, ()))) is not None:
        links.append(later)
    return links


def _next(links: Sequence[Fact], named: Sequence[Fact]) -> Fact | None:
    fitting = (each for each in named if can_supersede(each, links[-1], original_kind(links, each)))
    return next((each for each in fitting if each not in links), None)


def original_kind(links: Sequence[Fact], later: Fact) -> str:
    """The kind of the chain; where only a withdrawal is here and its target is not yet, whatever restores it."""
    return next((fact.kind for fact in links if not isinstance(fact, Withdrawal)), later.kind)
