"""What is left of a batch for others to begin with: how much, how moist, and what stands against it as food."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from app.judgement.forecasts.moisture import Estimate, moisture_at
from app.judgement.history.history import History
from app.judgement.history.stages import ENDED, all_stages
from app.judgement.malt.holds import against
from app.judgement.measures.account import account


@dataclass(frozen=True)
class Left:
    """as_is_kg: None where it isn't known. moisture_wb: None where nothing tells it; is_told: as in `Estimate`.

    is_declared: every lot of it was; is_known: of which grain it is.
    """

    as_is_kg: float | None
    moisture_wb: float | None
    half_width: float
    is_estimate: bool
    is_told: bool
    is_declared: bool
    is_known: bool
    against: str

    def moisture_said(self, percent: Callable[[float, float], str]) -> str:
        """With its half-width; or that it is not known. Nothing where nothing tells it."""
        if self.moisture_wb is None:
            return ""
        about = "about " if self.is_estimate else ""
        return about + percent(self.moisture_wb, self.half_width) if self.is_told else "not known"


def left(history: History, now: datetime) -> Left:
    moisture = moisture_at(history, _until(history, now))
    return Left(
        _as_is_kg(history, moisture, now),
        moisture.moisture_wb if moisture is not None else None,
        moisture.half_width if moisture is not None else 0.0,
        moisture is not None and moisture.is_estimate,
        moisture is not None and moisture.is_told,
        not history.undeclared_lots,
        bool(history.lots),
        against(history, now),
    )


def _until(history: History, now: datetime) -> datetime:
    """Until when its moisture is reckoned: malt that is done keeps it, as far as one knows."""
    begun = all_stages(history)
    return begun[-1].starts_at if begun and begun[-1].name in ENDED else now


def _as_is_kg(history: History, moisture: Estimate | None, now: datetime) -> float | None:
    """What should still be in it: its malt less what was packed or taken, or its dry matter at its moisture."""
    found = account(history, now)
    if found.outturn_as_is_kg is not None:
        weighed = max((fact.at for fact in history.of_kind("outturn")), default=now)
        gone = sum(part.as_is_kg for part in history.departures if part.at >= weighed)
        return max(found.outturn_as_is_kg - gone, 0.0)
    if found.left_dry_kg is None or moisture is None or not moisture.is_told:
        return None
    return found.left_dry_kg / (1.0 - moisture.moisture_wb)
