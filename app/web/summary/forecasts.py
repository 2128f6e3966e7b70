"""What comes of a batch if it goes on like this, in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from app.judgement.forecasts.forecast import Forecast, When, forecast_at
from app.judgement.history.history import History
from app.judgement.history.stages import is_live, stages
from app.judgement.wording import Words


@dataclass(frozen=True)
class Outlook:
    """One thing foreseen: what, when or how much, and how sure. key: by which it is explained."""

    what: str
    value: str
    note: str
    key: str

    @property
    def row(self) -> tuple[str, str, str, None, None, str]:
        """As the macro for stats takes it."""
        return (self.what, self.value, self.note, None, None, self.key)


def outlooks(history: History, words: Words) -> list[Outlook]:
    """What comes of the batch if it goes on like this; nothing once it has ended."""
    assert words.now is not None
    if not is_live(stages(history, words.now)):
        return []
    forecast = forecast_at(history, words.now)
    offered = [
        _when("Moisture to cast at, left as it is", forecast.cast, _percent, words, "outlook.cast"),
        _when("Moisture to cast at, by the plan", forecast.cast_by_plan, _percent, words, "outlook.cast_by_plan"),
        _grown_now(forecast),
        _when("Mean acrospire", forecast.grown, _lengths, words, "outlook.grown"),
    ]
    return [each for each in offered if each is not None]


def _when(what: str, when: When | None, show: Any, words: Words, key: str) -> Outlook | None:
    if when is None:
        return None
    assert words.now is not None
    name = f"{what}: {show(when.target, words)}"
    if when.central is None:
        return Outlook(name, "won’t get there", when.reason, key)
    if when.is_past(words.now):
        return Outlook(name, "reached", f"about {words.around(when.central)}", key)
    earliest = words.around(when.low) if when.low is not None else "now"
    latest = words.around(when.high) if when.high is not None else "much later"
    return Outlook(name, f"about {words.around(when.central)}", f"between {earliest} and {latest}", key)


def _grown_now(forecast: Forecast) -> Outlook | None:
    grown = forecast.acrospire
    if grown is None or grown.central is None or grown.low is None or grown.high is None:
        return None
    between = f"between {grown.low:.2f} and {grown.high:.2f}"
    return Outlook("Mean acrospire by now", f"about {grown.central:.2f}", between, "outlook.acrospire")


def _percent(target: float, words: Words) -> str:
    return words.percent(target, decimals=1)


def _lengths(target: float, words: Words) -> str:
    return f"{target:.2f} kernel lengths"
