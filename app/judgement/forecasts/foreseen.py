"""When a target will be come to, as the end of a sentence; nothing where nobody can tell, or where it is past."""

from __future__ import annotations

from datetime import datetime

from app.judgement.forecasts.forecast import When, forecast_at
from app.judgement.history.history import History
from app.judgement.wording import Words


def until_grown(history: History, now: datetime, words: Words) -> str:
    return about(forecast_at(history, now).grown, now, words)


def until_dry(history: History, now: datetime, words: Words) -> str:
    kiln = forecast_at(history, now).kiln
    return about(kiln.dry if kiln is not None else None, now, words, "in this air")


def about(when: When | None, now: datetime, words: Words, how: str = "as it is") -> str:
    """The one moment, or that it won’t get there; how: as it is, or in which air."""
    if when is None or when.is_past(now):
        return ""
    if when.central is None:
        return f", and won’t get there {how}"
    return f", at about {words.around(when.central)}"
