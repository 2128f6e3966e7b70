"""Judging so that one batch which can't be judged takes no other down: it is set aside, and the rest is as usual."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

from app.judgement.history.history import History

Judged = TypeVar("Judged")

UNJUDGED = "can’t be judged"
"""What is said of such a batch in place of a stage."""

WHY = (
    "Working it out fails, most likely for an entry with a wrong time or number. Until that is corrected or struck out "
    "nothing is said of the batch: no stage, no moisture, no warning. Every entry is kept, and new ones are."
)

_log = logging.getLogger(__name__)


def judged(histories: Iterable[History], judge: Callable[[Sequence[History]], Judged]) -> Judged:
    """What `judge` makes of some batches together.

    Where it raises, each batch that it raises for alone is set aside, and the rest is judged with those. Where none of
    them does, all are set aside; and what it raises even then is raised.
    """
    asked = list(histories)
    try:
        return judge(asked)
    except Exception:
        numbers = ", ".join(str(each.batch.number) for each in asked)
        _log.exception("judging failed among batches %s", numbers)
        sound = {each.batch.id for each in asked if len(asked) > 1 and _can_be(judge, each)}
        if len(sound) == len(asked):
            sound = set()
        return judge([each if each.batch.id in sound else each.set_aside() for each in asked])


def judged_alone(history: History, judge: Callable[[History], Judged]) -> Judged:
    """What `judge` makes of one batch, or of the same batch set aside where it raises."""
    return judged([history], lambda each: judge(each[0]))


def _can_be(judge: Callable[[Sequence[History]], object], history: History) -> bool:
    try:
        judge([history])
    except Exception:
        _log.exception("batch %d is set aside", history.batch.number)
        return False
    return True
