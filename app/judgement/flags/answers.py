"""Answers to flags. An answer is a fact that names a rule and an episode: it moves that flag out of "now"."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.judgement.facts.shapes import Answer
from app.judgement.flags.base import RANK, Flag
from app.judgement.history.history import History

Key = tuple[str, str]


@dataclass(frozen=True)
class JudgedFlag:
    """A flag with the last answer to it. holds: the answer still stands for it. is_open: it asks for something now."""

    flag: Flag
    answer: Answer | None
    holds: bool
    is_open: bool


def answered(history: History, flags: Sequence[Flag], now: datetime) -> list[JudgedFlag]:
    """The flags with their answers: those that ask for something now come first, each part in the order given."""
    last = _last_answers(history, now)
    judged = []
    for flag in flags:
        answer = last.get(flag.key)
        holds = answer is not None and _holds(answer, flag, now)
        judged.append(JudgedFlag(flag, answer, holds, not holds and not flag.has_ended))
    return sorted(judged, key=lambda each: not each.is_open)


def leftover_answers(history: History, flags: Iterable[Flag], now: datetime) -> list[Answer]:
    """Answers that no flag calls for any more: later readings removed the cause. They stay in the record."""
    standing: set[Key] = set()
    for flag in flags:
        standing |= {flag.key, *flag.stands_for}
    return [answer for key, answer in _last_answers(history, now).items() if key not in standing]


def _last_answers(history: History, now: datetime) -> dict[Key, Answer]:
    """The last answer to each rule and episode; an episode named by a fact since corrected is the same episode."""
    given = (answer for answer in history.answers if answer.at <= now)
    return {(answer.rule, history.root_id(answer.episode_id)): answer for answer in given}


def _holds(answer: Answer, flag: Flag, now: datetime) -> bool:
    """Whether the answer still covers the flag: it has got no worse, and the time it was left until hasn't come."""
    if flag.rank > RANK.get(answer.severity, -1):
        return False
    return not (answer.answer == "leaving" and answer.until_at is not None and now >= answer.until_at)
