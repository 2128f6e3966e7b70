"""The stock ledger of a lot: what came in, what went into batches, what was put right, and what is left, as it is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.judgement.facts import Fact, Part, Subject, Weighing
from app.judgement.history import order, standing
from app.judgement.superseding import chains

WORDS = {
    "intake": "received",
    "charge": "charged",
    "stock_adjustment": "adjusted",
    "returned": "returned",
    "dispatch": "dispatched",
}
_WEIGHED = frozenset({"intake", "returned", "stock_adjustment"})
OVERDRAWN_BY_KG = 1e-6


@dataclass(frozen=True)
class StockLine:
    """One movement. change_kg: below 0 for what left; balance_kg: what is there after it. batch: where it went."""

    fact: Fact
    at: datetime
    word: str
    change_kg: float
    balance_kg: float
    person: str | None
    entered_by: str | None
    batch: Subject | None = None
    is_estimate: bool = False

    @property
    def note(self) -> str | None:
        return self.fact.note

    @property
    def is_overdrawn(self) -> bool:
        """More has left than there was: a weighing is missing or wrong."""
        return self.balance_kg < -OVERDRAWN_BY_KG


@dataclass(frozen=True)
class StockLedger:
    """Movements in order of time, with totals in kg as it was weighed; charged_kg counts what left as above 0."""

    lines: tuple[StockLine, ...]
    received_kg: float
    charged_kg: float
    adjusted_kg: float
    returned_kg: float

    @property
    def balance_kg(self) -> float:
        return self.lines[-1].balance_kg if self.lines else 0.0

    @property
    def is_overdrawn(self) -> bool:
        """Whether at any time more had left than there was."""
        return any(line.is_overdrawn for line in self.lines)


def stock_ledger(facts: Iterable[Fact], lot_id: str, now: datetime | None = None) -> StockLedger:
    """The ledger of one lot out of facts about it and parts out of it, corrected and struck-out ones among them.

    Facts about other things are passed over. now: what is later has no say yet.
    """
    lot = Subject("lot", lot_id)
    moves = [(fact, change) for fact in sorted(standing(chains(facts)), key=order) for change in _changes(fact, lot)]
    if now is not None:
        moves = [(fact, change) for fact, change in moves if fact.at <= now]
    return StockLedger(
        lines=tuple(_lines(moves, lot)),
        received_kg=_total(moves, "intake"),
        charged_kg=-sum(change for fact, change in moves if isinstance(fact, Part)),
        adjusted_kg=_total(moves, "stock_adjustment"),
        returned_kg=_total(moves, "returned"),
    )


def _changes(fact: Fact, lot: Subject) -> list[float]:
    """By how much the stock changed with this fact: nothing, or one number."""
    if isinstance(fact, Weighing) and fact.kind in _WEIGHED and fact.subject == lot:
        return [fact.net_kg]
    if isinstance(fact, Part):
        return [-fact.as_is_kg] * (fact.source == lot) + [fact.as_is_kg] * (fact.target == lot)
    return []


def _lines(moves: Sequence[tuple[Fact, float]], lot: Subject) -> list[StockLine]:
    lines: list[StockLine] = []
    balance_kg = 0.0
    for fact, change_kg in moves:
        balance_kg += change_kg
        batch = fact.target if isinstance(fact, Part) and fact.target != lot else None
        lines.append(
            StockLine(
                fact=fact,
                at=fact.at,
                word=WORDS.get(fact.kind, fact.kind),
                change_kg=change_kg,
                balance_kg=balance_kg,
                person=fact.person,
                entered_by=fact.entered_by,
                batch=batch if batch is not None and batch.type == "batch" else None,
                is_estimate=fact.quality == "estimated",
            )
        )
    return lines


def _total(moves: Iterable[tuple[Fact, float]], kind: str) -> float:
    return sum(change for fact, change in moves if fact.kind == kind)
