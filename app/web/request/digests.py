"""Keeping the digests of ended batches abreast of their facts. A live batch is always judged from its facts.

All this comes after the commit, of which the answer tells: so nothing here raises, and nothing waits for long. A digest
that could not be made is behind its facts; the batch is judged from these where it is shown, until it is made.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from flask import Flask, current_app
from sqlalchemy.exc import OperationalError

from app.config import Settings
from app.errors import Unavailable
from app.judgement.history.history import History
from app.judgement.history.stages import ENDED, all_stages
from app.operations.digests import keep_digest, summed_up
from app.store.batches import find_batch_by_id
from app.store.engine import is_held
from app.store.history import get_history
from app.store.house import list_touched_by
from app.web.request.moment import request_now

MOST_AT_ONCE = 40
"""Digests made anew while somebody waits. Older batches stay behind their facts, and are judged anew where shown."""


def init_app(app: Flask, settings: Settings) -> None:
    app.extensions["digests_left"] = set()


def refresh(*batch_ids: str) -> None:
    """Remember the measures of those of these batches that have ended, each in a unit of work of its own; and of those
    that had to be left before, because somebody else was writing."""
    left: set[str] = current_app.extensions["digests_left"]
    wanted = list(dict.fromkeys((*batch_ids, *sorted(left))))
    left.update(batch_ids)
    for batch_id in wanted[:MOST_AT_ONCE]:
        with _guarded(f"the digest of batch {batch_id} can't be made"):
            try:
                _refresh(batch_id)
            except (Unavailable, OperationalError) as error:
                if isinstance(error, Unavailable) or is_held(error):
                    return
                raise
        left.discard(batch_id)


def refresh_ended(histories: Iterable[History]) -> None:
    """The same for those of these batches that had ended before, or have now: the others have no digest."""
    ended = []
    for history in histories:
        with _guarded(f"whether batch {history.batch.id} has ended can't be said"):
            ended += [history.batch.id] if has_ended(history) else []
    refresh(*ended)


def refresh_touched_by(seq: int) -> None:
    """The same for every batch that a fact touched: a calibration changes whatever was read with the instrument."""
    touched: list[str] = []
    with _guarded(f"which batches fact {seq} touched can't be said"), current_app.extensions["reading"]() as session:
        touched = list_touched_by(session, seq, MOST_AT_ONCE)
    refresh(*touched)


def has_ended(history: History) -> bool:
    begun = all_stages(history)
    return bool(begun) and begun[-1].name in ENDED


def _refresh(batch_id: str) -> None:
    with current_app.extensions["reading"]() as session:
        batch = find_batch_by_id(session, batch_id)
        if batch is None:
            return
        seq, history = batch.last_seq, get_history(session, batch_id)
        if not has_ended(history):
            return
        summed = summed_up(history, request_now())
    with current_app.extensions["writing_briefly"].begin() as session:
        keep_digest(session, batch_id, seq, summed)


@contextmanager
def _guarded(what: str) -> Iterator[None]:
    try:
        yield
    except Exception:
        current_app.logger.exception(what)
