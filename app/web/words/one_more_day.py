"""What one more day on the floor costs and brings, in the reader's words."""

from __future__ import annotations

from dataclasses import dataclass

from app.judgement.ahead.one_more_day import OneMoreDay, one_more_day
from app.judgement.facts.kinds import KINDS
from app.judgement.forecasts.band import Value
from app.judgement.history.history import History
from app.judgement.wording import Words
from app.web.words.figures import unbroken_figures

StatRow = tuple[str, str, str, str | None, str | None, str]
VERDICTS = {
    "gains": ("fine", "it still gains"),
    "inside": ("fine", "in its range, and still there tomorrow"),
    "passes": ("caution", "it leaves its range within the day"),
    "past": ("caution", "past its range: each day only costs"),
    "unknown": ("none", "no range to judge it by"),
}


@dataclass(frozen=True)
class DayView:
    """status and word: the verdict. missing: (entry, what to record)."""

    status: str
    word: str
    rows: list[StatRow]
    missing: list[tuple[str, str]]
    note: str


def day_view(history: History, words: Words) -> DayView | None:
    """None where the batch is not on the floor."""
    assert words.now is not None
    day = one_more_day(history, words.now)
    if day is None:
        return None
    status, word = VERDICTS[day.verdict]
    missing = [(KINDS[kind].word, what) for kind, what in day.missing]
    return DayView(status, word, [*_cost_rows(day, words), *_growth_rows(day)], missing, _target_words(day))


def _cost_rows(day: OneMoreDay, words: Words) -> list[StatRow]:
    cost = day.cost
    if cost is None:
        return []
    parts = f"breath {words.mass(cost.respired_kg)}, rootlets {words.mass(cost.rootlets_kg)}"
    share = f"{words.percent(cost.share, decimals=1)} of the {words.mass(cost.dry_kg)} of dry matter; estimate"
    lost = words.mass(cost.lost_kg, cost.half_width_kg)
    return [
        (
            "Dry matter that it costs",
            unbroken_figures(lost),
            unbroken_figures(f"{share}: {parts}"),
            None,
            None,
            "day.cost",
        )
    ]


def _growth_rows(day: OneMoreDay) -> list[StatRow]:
    rows: list[StatRow] = []
    if day.gain is not None and day.mean_now.central is not None and day.mean_then.central is not None:
        shown = f"{day.mean_now.central:.2f}\u00a0→\u00a0{day.mean_then.central:.2f}"
        note = f"kernel lengths, + {day.gain:.2f}; tomorrow at this hour {_between(day.mean_then, 1.0, 2)}"
        rows.append(("Mean acrospire", shown, unbroken_figures(note), None, None, "day.acrospire"))
    grown = day.overgrown
    if grown is not None and grown.now.central is not None and grown.then.central is not None:
        shown = f"{100 * grown.now.central:.0f}\u00a0→\u00a0{100 * grown.then.central:.0f} %"
        counted = day.counted.n if day.counted else 0
        note = f"tomorrow {_between(grown.then, 100.0, 0)} %; from the last count of {counted}, moved along"
        rows.append(("Overgrown", unbroken_figures(shown), unbroken_figures(note), None, None, "day.overgrown"))
    return rows


def _between(value: Value, scale: float, decimals: int) -> str:
    low, high = (scale * (edge or 0.0) for edge in (value.low, value.high))
    return f"between {low:.{decimals}f} and {high:.{decimals}f}"


def _target_words(day: OneMoreDay) -> str:
    target = day.target
    if target is None or target.target_low is None or target.target_high is None:
        return ""
    return f"Target: mean acrospire {target.target_low:g} to {target.target_high:g} kernel lengths."
