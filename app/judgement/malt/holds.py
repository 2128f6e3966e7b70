"""Why malt is held: nobody answers for its grain, nobody knows it, or something stands against it as food."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from app.judgement.history.guard import UNJUDGED
from app.judgement.history.history import BatchInfo, History, LotInfo
from app.judgement.malt.mould import Find, finds_against

LIFTED_BY_A_PERSON = "Held until its flag is answered as a false alarm, or the fact struck out."


@dataclass(frozen=True)
class Hold:
    """What keeps malt in the house, a sentence of each reason. declarable: a declaration of its lots would lift one."""

    reasons: tuple[str, ...]
    declarable: bool

    @property
    def is_held(self) -> bool:
        return bool(self.reasons)


def hold(histories: Sequence[History], now: datetime) -> Hold:
    """What keeps malt of these batches in the house."""
    undeclared = dict.fromkeys(lot.name for history in histories for lot in history.undeclared_lots)
    reasons = [f"Not declared untreated and for food: {', '.join(undeclared)}."] if undeclared else []
    if not histories or any(not history.lots for history in histories):
        reasons.append("Of which grain it was made is not known.")
    reasons += [words for history in histories if (words := against(history, now))]
    return Hold(tuple(reasons), bool(undeclared))


def against(history: History, now: datetime) -> str:
    """What stands against a batch as food, in a sentence; empty where nothing does."""
    if history.is_set_aside:
        return f"Batch {history.batch.number} {UNJUDGED}: whether it is food is not known until an entry is corrected."
    reasons = [f"{find.word} {_where(history, find)}" for find in finds_against(history, now)]
    return f"Batch {history.batch.number} is no food: {', '.join(reasons)}. {LIFTED_BY_A_PERSON}" if reasons else ""


def _where(history: History, find: Find) -> str:
    first = find.facts[0]
    return "in its lot" if first.subject.type == "lot" else f"at hour {history.hour(first.at):.0f}"


def against_lot(lot: LotInfo, now: datetime) -> str:
    """What stands against a lot as food, in a sentence; empty where nothing does."""
    finds = finds_against(History.build(BatchInfo(""), (), lots=(lot,)), now)
    return f"{lot.name} is no food: {', '.join(find.word for find in finds)}." if finds else ""
