"""Keeping the digest of an ended batch abreast of its facts. A live batch is always judged from its facts."""

from __future__ import annotations

from flask import current_app

from app.judgement.history import History
from app.judgement.stages import ENDED, all_stages
from app.operations.digests import refresh_digest
from app.store.batches import find_batch_by_id
from app.store.history import get_history
from app.store.house import list_touched_by
from app.web.formatting import request_now

MOST_AT_ONCE = 40
"""Digests made anew while somebody waits. Older batches stay behind their facts, and are judged anew where shown."""


def refresh(batch_id: str) -> None:
    """Remember the measures of a batch that has ended, in a unit of work of its own, after the request's commit."""
    with current_app.extensions["writing"].begin() as session:
        batch = find_batch_by_id(session, batch_id)
        if batch is None:
            return
        history = get_history(session, batch_id)
        if has_ended(history):
            refresh_digest(session, history, batch.last_seq, request_now())


def refresh_touched_by(seq: int) -> None:
    """The same for every batch that a fact touched: a calibration changes whatever was read with the instrument."""
    with current_app.extensions["writing"].begin() as session:
        touched = list_touched_by(session, seq, MOST_AT_ONCE)
    for batch_id in touched:
        refresh(batch_id)


def has_ended(history: History) -> bool:
    begun = all_stages(history)
    return bool(begun) and begun[-1].name in ENDED
