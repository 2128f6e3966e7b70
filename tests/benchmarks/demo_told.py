"""The demo malthouse, told again step by step, and asked on the way: what comes later has not been done yet."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app.exchange.demo import demo_steps
from app.judgement.history.history import History
from app.judgement.history.stages import ENDED, all_stages
from app.operations.digests import refresh_digest
from app.store.batches import list_batches
from app.store.engine import write_session
from app.store.history import load_histories

NOW = datetime(2026, 10, 1, 9, 0, tzinfo=UTC)
Asked = tuple[str, datetime]


def whole_demo(engine: Engine) -> list[History]:
    """The batches of the demo as they stand at NOW. The record is empty before and after."""
    with write_session(engine) as session:
        for step in demo_steps(session, NOW):
            step.do()
        _remember(session, NOW, {})
        found = load_histories(session, [batch.id for batch in list_batches(session)])
        session.rollback()
    return sorted(found.values(), key=lambda history: history.batch.number)


def told_again(engine: Engine, asked: Iterable[Asked]) -> dict[Asked, History | None]:
    """The History of each batch at each moment that is asked for; None where the batch had not been opened."""
    found: dict[Asked, History | None] = {}
    with write_session(engine) as session:
        steps, looked_at = demo_steps(session, NOW), dict[str, int]()
        for batch_id, moment in sorted(asked, key=lambda each: each[1]):
            while steps and steps[0].written_at <= moment:
                steps.pop(0).do()
            _remember(session, moment, looked_at)
            found[batch_id, moment] = load_histories(session, [batch_id]).get(batch_id)
        session.rollback()
    return found


def _remember(session: Session, now: datetime, looked_at: dict[str, int]) -> None:
    """What the app does after each entry: the digest of a batch that has ended keeps abreast of its facts.

    looked_at: by batch, up to which fact that is done.
    """
    seqs = {batch.id: batch.last_seq for batch in list_batches(session)}
    behind = [batch_id for batch_id, seq in seqs.items() if looked_at.get(batch_id) != seq]
    for batch_id, history in load_histories(session, behind).items():
        begun = all_stages(history)
        if begun and begun[-1].name in ENDED:
            refresh_digest(session, history, seqs[batch_id], now)
    looked_at |= seqs
