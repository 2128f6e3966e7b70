"""Which batch comes first, over all pages of the home page. To judge them all at each look would take too long."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.judgement.history.guard import judged_alone
from app.judgement.wording import Words
from app.store.batches import list_last_seqs
from app.store.history import load_histories
from app.web.summary.glance import Glance, glance_at

MOST_JUDGED = 40
"""The newest of them. More only seem to be live, while digests are behind after an upgrade."""

HOLDS_FOR = timedelta(minutes=5)
"""How long a batch keeps its place with nothing new said of it: what is due moves slowly."""

Key = tuple[bool, bool, bool, float]


@dataclass(frozen=True)
class Place:
    """Where a batch stood: as of its fact `seq`, and of a moment."""

    seq: int
    at: datetime
    key: Key

    def holds(self, seq: int, now: datetime) -> bool:
        return self.seq == seq and timedelta() <= now - self.at <= HOLDS_FOR


@dataclass
class Places:
    """The places known, by batch. Lost with the process, and worked out anew."""

    known: dict[str, Place] = field(default_factory=dict)

    def in_order(self, session: Session, live_ids: Sequence[str], words: Words) -> list[str]:
        """The most urgent first; one statement, and five where a batch has no place yet."""
        assert words.now is not None
        near = list(live_ids[:MOST_JUDGED])
        seqs = list_last_seqs(session, near)
        held = {key: place for key in near if (place := self.known.get(key)) and place.holds(seqs[key], words.now)}
        missing = [key for key in near if key not in held]
        for key, history in load_histories(session, missing).items():
            glance = judged_alone(history, lambda each: glance_at(each, words))
            held[key] = Place(seqs[key], words.now, order_of(glance))
        self.known = held
        return sorted(near, key=lambda key: held[key].key) + list(live_ids[MOST_JUDGED:])


def order_of(glance: Glance) -> Key:
    """What must be done now, then what is overdue, then what is due soonest; what has ended comes last."""
    return (not glance.is_live, glance.status != "act", *glance.urgency)
