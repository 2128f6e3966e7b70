"""What is ahead of one batch: sleep, one more day, and the power cut, in the reader's words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from app.judgement.forecast_band import Value
from app.judgement.history import History
from app.judgement.kinds import KINDS
from app.judgement.one_more_day import OneMoreDay, one_more_day
from app.judgement.power_cut import PowerCut, power_cut
from app.judgement.stages import stages
from app.judgement.watch import Watch
from app.judgement.wording import Words
from app.web.figures import unbroken_figures
from app.web.glance import batch_name, stage_words
from app.web.sleep_words import sleep_view

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


@dataclass(frozen=True)
class CutView:
    """how it stands, how long it holds, and the card itself."""

    cut: PowerCut
    stands: list[StatRow]
    holds: str
    holds_method: str


def ahead_context(history: History, words: Words) -> dict[str, Any]:
    return {**heading(history, words), "sleep": sleep_view(history, words), "day": day_view(history, words)} | {
        "power": cut_view(history, words)
    }


def heading(history: History, words: Words) -> dict[str, Any]:
    """What both pages say of the batch at their head."""
    assert words.now is not None
    found = stages(history, words.now)
    name = batch_name(history.batch.number, history.batch.title)
    return {"name": name, "stage_words": stage_words(found[-1] if found else None, words.now, words)}


def day_view(history: History, words: Words) -> DayView | None:
    """None where the batch is not on the floor."""
    assert words.now is not None
    found = one_more_day(history, words.now)
    if found is None:
        return None
    status, word = VERDICTS[found.verdict]
    missing = [(KINDS[kind].word, what) for kind, what in found.missing]
    return DayView(status, word, [*_cost_rows(found, words), *_growth_rows(found)], missing, _target_words(found))


def _cost_rows(found: OneMoreDay, words: Words) -> list[StatRow]:
    cost = found.cost
    if cost is None:
        return []
    parts = f"breath {words.mass(cost.respired_kg)}, rootlets {words.mass(cost.rootlets_kg)}"
    share = f"{words.percent(cost.share, decimals=1)} of the {words.mass(cost.dry_kg)} of dry matter; estimate"
    lost = words.mass(cost.lost_kg, cost.half_width_kg)
    return [("Dry matter that it costs", _plain(lost), _plain(f"{share}: {parts}"), None, None, LOST)]


LOST = "left_alone.dry_matter_lost_kg_with_sd"


def _growth_rows(found: OneMoreDay) -> list[StatRow]:
    rows: list[StatRow] = []
    if found.gain is not None and found.mean_now.central is not None and found.mean_then.central is not None:
        shown = f"{found.mean_now.central:.2f} → {found.mean_then.central:.2f}"
        note = f"kernel lengths, + {found.gain:.2f}; tomorrow at this hour {_between(found.mean_then, 1.0, 2)}"
        rows.append(("Mean acrospire", shown, _plain(note), None, None, "growth.thermal_time_c_d"))
    grown = found.overgrown
    if grown is not None and grown.now.central is not None and grown.then.central is not None:
        shown = f"{100 * grown.now.central:.0f} → {100 * grown.then.central:.0f} %"
        counted = found.counted.n if found.counted else 0
        note = f"tomorrow {_between(grown.then, 100.0, 0)} %; from the last count of {counted}, moved along"
        rows.append(("Overgrown", _plain(shown), _plain(note), None, None, "left_alone.overgrown_after"))
    return rows


def _between(value: Value, scale: float, decimals: int) -> str:
    low, high = (scale * (edge or 0.0) for edge in (value.low, value.high))
    return f"between {low:.{decimals}f} and {high:.{decimals}f}"


def _target_words(found: OneMoreDay) -> str:
    target = found.target
    if target is None or target.target_low is None or target.target_high is None:
        return ""
    return f"Wanted: a mean acrospire of {target.target_low:g} to {target.target_high:g} kernel lengths."


def cut_view(history: History, words: Words) -> CutView:
    assert words.now is not None
    cut = power_cut(history, words.now, words)
    holds, method = (_holds(cut.first, words), cut.first.method) if cut.first else (cut.card.holds, "")
    return CutView(cut, _stands(cut, words), unbroken_figures(holds), method)


def _holds(first: Watch, words: Words) -> str:
    """By the batch's own clocks and readings."""
    assert words.now is not None
    if first.safe_at <= words.now:
        return f"No longer by itself: {first.what[:1].lower()}{first.what[1:]}. See to it first."
    return f"About until {words.clock(first.safe_at)}: then {first.what[:1].lower()}{first.what[1:]}."


def _stands(cut: PowerCut, words: Words) -> list[StatRow]:
    assert words.now is not None
    rows: list[StatRow] = []
    if cut.last is not None and cut.last.value is not None:
        shown = f"{words.temperature(cut.last.value)} ({words.other_temperature(cut.last.value)})"
        ago = words.span((words.now - cut.last.at).total_seconds() / 3600.0)
        place = f"{cut.last.place}, " if cut.last.place else ""
        rows.append((KINDS[cut.last.kind].word, _plain(shown), f"{place}{ago} ago", None, None, "readings"))
    if cut.moisture is not None:
        shown = words.percent(cut.moisture.moisture_wb, cut.moisture.half_width)
        note = "estimate" if cut.moisture.is_estimate else "determined"
        rows.append(("Moisture", _plain(shown), note, None, None, "moisture.moisture_wb_with_sd"))
    return rows


def _plain(text: str) -> str:
    return unbroken_figures(text)
