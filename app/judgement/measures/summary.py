"""A batch in short: how far it came and what it came to. What lists show of it, and what a digest remembers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from app.judgement.forecasts.forecast import fit, learned
from app.judgement.history.build import LEARNED
from app.judgement.history.guard import UNJUDGED
from app.judgement.history.history import History
from app.judgement.history.stages import ENDED, Stage, is_live, stages
from app.judgement.measures.batch import Severe, measures_from_record, measures_record
from app.judgement.measures.left import Left, left
from app.judgement.measures.measure import Measure

BEFORE_ANY_STAGE = "charged"
SPANS, LEFT = "spans", "left"


@dataclass(frozen=True)
class Summary:
    """spans: name, first and last hour of each stage. record: what is known, as plain JSON values: the measures, what
    the batch taught of its lot, and what is left of it.
    """

    is_live: bool
    stage: str
    started_at: datetime | None
    ended_at: datetime | None
    record: Mapping[str, Any]

    @property
    def spans(self) -> Sequence[tuple[str, float, float]]:
        return [(name, start_h, end_h) for name, start_h, end_h in self.record.get(SPANS, ())]

    @property
    def left(self) -> Left | None:
        """What is left of a batch that has ended; None where that may still change with the hour."""
        return Left(**self.record[LEFT]) if LEFT in self.record else None

    @cached_property
    def measures(self) -> dict[str, Measure]:
        return {measure.key: measure for measure in measures_from_record(self.record)}


def summary(history: History, now: datetime, flags: Iterable[Severe]) -> Summary:
    """The batch in short as of now. flags: those of the batch, to be counted."""
    if history.is_set_aside:
        return Summary(True, UNJUDGED, None, None, {})
    past = stages(history, now)
    spans = [
        [each.name, round(history.hour(each.starts_at), 3), round(history.hour(each.ends_at or now), 3)]
        for each in past
    ]
    return Summary(
        is_live=is_live(past),
        stage=past[-1].name if past else BEFORE_ANY_STAGE,
        started_at=history.starts_at,
        ended_at=past[-1].starts_at if past and past[-1].name in ENDED else None,
        record=measures_record(history, now, flags)
        | {SPANS: spans}
        | _taught(history, past)
        | _left(history, now, past),
    )


def _taught(history: History, past: Sequence[Stage]) -> dict[str, Any]:
    """What the lot's next batches may begin from: told by a batch that has ended, for a live one is still learning."""
    taught = {} if is_live(past) else learned(fit(history))
    return {LEARNED: taught} if taught else {}


def _left(history: History, now: datetime, past: Sequence[Stage]) -> dict[str, Any]:
    """Of a batch that has ended, unless something is said of a time to come: then it may change without a fact."""
    facts = [*history.facts, *(fact for lot in history.lots.values() for fact in lot.facts)]
    if is_live(past) or any(fact.at > now for fact in facts):
        return {}
    return {LEFT: asdict(left(history, now))}
