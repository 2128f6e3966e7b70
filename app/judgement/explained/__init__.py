"""How a figure came about, with the values of its own batch, lot or fact put in; by the key that the pages give it."""

from __future__ import annotations

from datetime import datetime

from app.judgement.batch_at import batch_at
from app.judgement.explained import account, ahead, kiln, lots, measures
from app.judgement.explained.explanation import Asked, Explanation, Line, Model, Share, Term
from app.judgement.explained.facts import of_fact
from app.judgement.explained.moisture import of_moment
from app.judgement.history.history import History, LotInfo
from app.judgement.wording import Words

__all__ = ["BATCH_KEYS", "LOT_KEYS", "Explanation", "Line", "Model", "Share", "Term", "of_batch", "of_fact", "of_lot"]

_OF_BATCH = {
    "moisture": lambda asked: of_moment(asked.batch.whole, asked.batch.now, asked.words),
    **measures.EXPLAINED,
    **account.EXPLAINED,
    **kiln.EXPLAINED,
    **ahead.EXPLAINED,
}
BATCH_KEYS = frozenset(_OF_BATCH)
"""Figures of a batch; after a dot follows which of several it is."""

LOT_KEYS = frozenset(lots.EXPLAINED)


def of_batch(history: History, now: datetime, words: Words, key: str) -> Explanation | None:
    """None where the key names no figure, or the batch has none of that name now."""
    family, _, name = key.partition(".")
    explain = _OF_BATCH.get(key) or _OF_BATCH.get(family)
    return explain(Asked(batch_at(history, now), words, name)) if explain is not None else None


def of_lot(lot: LotInfo, now: datetime, words: Words, key: str) -> Explanation | None:
    explain = lots.EXPLAINED.get(key)
    return explain(lot, now, words) if explain is not None else None
