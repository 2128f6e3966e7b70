"""When a target will be come to, as the end of a sentence; nothing where nobody can tell, or where it is past."""

from __future__ import annotations

from datetime import datetime

from app.judgement.forecasts.forecast import When, forecast_at
from app.judgement.history.history import History
from app.judgement.wording import Words


def until_cast(history: History, now: datetime, words: Words) -> str:
    """With the steeps that are planned, where they lead to it; else as the steep is now."""
    foreseen = forecast_at(history, now)
    planned = foreseen.cast_by_plan
    return about(planned if planned is not None and planned.is_reached else foreseen.cast, now, words)


def until_grown(history: History, now: datetime, words: Words) -> str:
    return about(forecast_at(history, now).grown, now, words)


def until_dry(history: History, now: datetime, words: Words) -> str:
    kiln = forecast_at(history, now).kiln
    return about(kiln.dry if kiln is not None else None, now, words)


def about(when: When | None, now: datetime, words: Words) -> str:
    """The moment with its 80 % interval, or that it is not in sight."""
    if when is None or when.is_past(now):
        return ""
    if when.central is None:
        return ", which is not in sight as it goes"
    if when.low is None or when.high is None:
        return f", at about {words.around(when.central)}"
    return f", at about {words.around(when.central)} ({words.around(max(when.low, now))} to {words.around(when.high)})"
