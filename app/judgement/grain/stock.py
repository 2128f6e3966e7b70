"""The stock ledgers of lots and of packs: what came in, what went out and where, and what is left, as it is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.judgement.facts.shapes import Fact, Part, Subject, Weighing
from app.judgement.history.history import in_order
from app.judgement.history.superseding import chains

WORDS = {
    "intake": "received",
    "charge": "charged",
    "stock_adjustment": "adjusted",
    "returned": "returned",
    "pack": "packed",
    "roast_charge": "roasted",
    "dispatch": "dispatched",
}
_WEIGHED = frozenset({"intake", "returned", "stock_adjustment"})
OVERDRAWN_BY_KG = 1e-6


@dataclass(frozen=True)
class StockLine:
    """One movement. change_kg: below 0 for what left; balance_kg: what is there after it.

    batch: the one it went into, or came from.
    """

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
class Ledger:
    """Movements in order of time."""

    lines: tuple[StockLine, ...]

    @property
    def balance_kg(self) -> float:
        return self.lines[-1].balance_kg if self.lines else 0.0

    @property
    def is_overdrawn(self) -> bool:
        """Whether at any time more had left than there was."""
        return any(line.is_overdrawn for line in self.lines)


@dataclass(frozen=True)
class StockLedger(Ledger):
    """That of a lot, with totals in kg as it was weighed; charged_kg counts what left as above 0."""

    received_kg: float
    charged_kg: float
    adjusted_kg: float
    returned_kg: float


@dataclass(frozen=True)
class PackLedger(Ledger):
    """That of a pack: what is left is what was packed less what was roasted and what was dispatched, all above 0."""

    packed_kg: float
    packed_dry_kg: float
    roasted_kg: float
    dispatched_kg: float

    @property
    def moisture_wb(self) -> float | None:
        """The moisture of what was packed; None where nothing was."""
        return 1.0 - self.packed_dry_kg / self.packed_kg if self.packed_kg > 0.0 else None


def stock_ledger(facts: Iterable[Fact], lot_id: str, now: datetime | None = None) -> StockLedger:
    """The ledger of one lot out of facts about it and parts out of it, corrected and struck-out ones among them.

    Facts about other things are passed over. now: what is later has no say yet.
    """
    lot = Subject("lot", lot_id)
    moves = _moves(facts, lot, now)
    return StockLedger(
        lines=tuple(_lines(moves, lot)),
        received_kg=_total(moves, "intake"),
        charged_kg=-sum(change for fact, change in moves if isinstance(fact, Part)),
        adjusted_kg=_total(moves, "stock_adjustment"),
        returned_kg=_total(moves, "returned"),
    )


def pack_ledger(facts: Iterable[Fact], pack_id: str, now: datetime | None = None) -> PackLedger:
    """The ledger of one pack out of parts into it and out of it, corrected and struck-out ones among them."""
    pack = Subject("pack", pack_id)
    moves = _moves(facts, pack, now)
    return PackLedger(
        lines=tuple(_lines(moves, pack)),
        packed_kg=_total(moves, "pack"),
        packed_dry_kg=sum(fact.dry_kg for fact, _ in moves if isinstance(fact, Part) and fact.kind == "pack"),
        roasted_kg=-_total(moves, "roast_charge"),
        dispatched_kg=-_total(moves, "dispatch"),
    )


def _moves(facts: Iterable[Fact], own: Subject, now: datetime | None) -> list[tuple[Fact, float]]:
    """The standing facts that changed the stock, in order of time, each with its change."""
    moves = [(fact, change) for fact in in_order(chains(facts)) for change in _changes(fact, own)]
    return [(fact, change) for fact, change in moves if now is None or fact.at <= now]


def _changes(fact: Fact, own: Subject) -> list[float]:
    """By how much the stock changed with this fact: nothing, or one number."""
    if isinstance(fact, Weighing) and fact.kind in _WEIGHED and fact.subject == own:
        return [fact.net_kg]
    if isinstance(fact, Part):
        return [-fact.as_is_kg] * (fact.source == own) + [fact.as_is_kg] * (fact.target == own)
    return []


def _lines(moves: Sequence[tuple[Fact, float]], own: Subject) -> list[StockLine]:
    lines: list[StockLine] = []
    balance_kg = 0.0
    for fact, change_kg in moves:
        balance_kg += change_kg
        other = None if not isinstance(fact, Part) else fact.source if fact.target == own else fact.target
        lines.append(
            StockLine(
                fact=fact,
                at=fact.at,
                word=WORDS.get(fact.kind, fact.kind),
                change_kg=change_kg,
                balance_kg=balance_kg,
                person=fact.person,
                entered_by=fact.entered_by,
                batch=other if other is not None and other.type == "batch" else None,
                is_estimate=fact.quality == "estimated",
            )
        )
    return lines


def _total(moves: Iterable[tuple[Fact, float]], kind: str) -> float:
    return sum(change for fact, change in moves if fact.kind == kind)
