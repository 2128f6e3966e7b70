"""Why a weighing that was kept tells no moisture: it is a start, or something about it doesn't fit."""

from __future__ import annotations

from app.judgement.facts.shapes import Fact, Weighing
from app.judgement.forecasts.moisture import charged
from app.judgement.grain.moisture_samples import tray_start
from app.judgement.history.history import History


def no_moisture(history: History, fact: Fact) -> tuple[str, str, str]:
    """Status, what it is, and what follows from it."""
    start = tray_start(history, fact) if isinstance(fact, Weighing) and fact.kind == "tray" else None
    if start is not None and start.id == fact.id:
        return "none", "Tray’s start kept", "Its next weighing tells the moisture."
    return "notice", "Kept, but it gives no moisture", _why_no_moisture(history, fact)


def _why_no_moisture(history: History, fact: Fact) -> str:
    if fact.kind == "test_bag":
        vessel = getattr(fact, "vessel", "") or "this bag"
        starts = [
            weighing
            for weighing in history.of_shape(Weighing, "test_bag_start")
            if weighing.vessel == getattr(fact, "vessel", None)
        ]
        if any(start.at <= fact.at for start in starts):
            return (
                f"{vessel} can’t weigh less than the dry matter in it: look at tare, unit and vessel, and correct it."
            )
        if starts:
            return f"{vessel} was weighed at its start only after this: look at the times."
        return f"Record the start of {vessel} (its weight before the steep): then this counts too."
    if charged(history) is None:
        return "Nothing was charged yet."
    return "It weighs less than its own dry matter: check the tare."
