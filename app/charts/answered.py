"""Which flags a person has answered, for those who draw them."""

from collections.abc import Sequence
from datetime import datetime

from app.judgement.flags.answers import Key, answered
from app.judgement.flags.base import Flag
from app.judgement.history.history import History


def answered_keys(history: History, flags: Sequence[Flag], now: datetime) -> frozenset[Key]:
    return frozenset(judged.flag.key for judged in answered(history, flags, now) if judged.holds)
