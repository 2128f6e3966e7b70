"""Keeping batch_digest up to date: what each batch came to, as of its last fact."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app import ports
from app.judgement import rules_version
from app.judgement.flags import evaluate
from app.judgement.history.build import LEARNED
from app.judgement.history.guard import judged_alone
from app.judgement.history.history import History
from app.judgement.measures.summary import Summary, summary
from app.store.batches import Batch
from app.store.digests import BatchDigest, forget_taught_by
from app.store.history import load_histories

CHUNK = 50
"""Batches whose facts are held in memory at once."""


def refresh_digest(session: Session, history: History, seq: int, now: datetime) -> BatchDigest:
    """Judge the batch, and remember what it came to by its fact `seq`."""
    return keep_digest(session, history.batch.id, seq, summed_up(history, now))


def summed_up(history: History, now: datetime) -> Summary:
    """What a digest is made of. Takes long beside keeping it, and needs no session."""
    return judged_alone(history, lambda sound: summary(sound, now, evaluate(sound, now)))


def keep_digest(session: Session, batch_id: str, seq: int, summed_up: Summary) -> BatchDigest:
    """Remember what the batch came to by its fact `seq`. What was remembered before is replaced, unless that is of a
    later fact. Where it teaches otherwise than before, what later batches of its lots came to is forgotten, to be
    reckoned anew.
    """
    kept = session.get(BatchDigest, batch_id)
    if kept is not None and kept.rules_version == rules_version():
        if kept.seq > seq:
            return kept
        if kept.measures.get(LEARNED) != summed_up.record.get(LEARNED):
            forget_taught_by(session, batch_id)
    digest = kept or BatchDigest(batch_id=batch_id)
    digest.seq = seq
    digest.rules_version = rules_version()
    digest.is_live = summed_up.is_live
    digest.stage = summed_up.stage
    digest.started_at = summed_up.started_at
    digest.ended_at = summed_up.ended_at
    digest.measures = dict(summed_up.record)
    session.add(digest)
    session.flush()
    return digest


def rebuild(session: Session, now: datetime | None = None) -> int:
    """Make the digest of every batch again, and tell of how many."""
    at = now if now is not None else ports.now()
    ids = session.scalars(select(Batch.id).order_by(Batch.number)).all()
    refresh_digests(session, ids, at)
    return len(ids)


def refresh_digests(session: Session, batch_ids: Sequence[str], now: datetime) -> None:
    """Make the digests of these batches again, a few histories in memory at a time."""
    for begin in range(0, len(batch_ids), CHUNK):
        chunk = batch_ids[begin : begin + CHUNK]
        seqs = dict(iter(session.execute(select(Batch.id, Batch.last_seq).where(Batch.id.in_(chunk)))))
        for batch_id, history in load_histories(session, chunk).items():
            refresh_digest(session, history, seqs[batch_id], now)
