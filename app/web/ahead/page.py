"""What is ahead of one batch: sleep, one more day, and the power cut, in the reader's words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from app.judgement.ahead.power_cut import PowerCut, power_cut
from app.judgement.facts.kinds import KINDS
from app.judgement.history.history import History, hours_between
from app.judgement.history.stages import stages
from app.judgement.watch.watch import Watch
from app.judgement.wording import Words
from app.web.summary.glance import batch_name, stage_words
from app.web.words.figures import unbroken_figures
from app.web.words.one_more_day import StatRow, day_view
from app.web.words.sleep import sleep_view


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
    past = stages(history, words.now)
    name = batch_name(history.batch.number, history.batch.title)
    return {"name": name, "stage_words": stage_words(past[-1] if past else None, words.now, words)}


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
    return f"About until {words.around(first.safe_at, is_floor=True)}: then {first.what[:1].lower()}{first.what[1:]}."


def _stands(cut: PowerCut, words: Words) -> list[StatRow]:
    assert words.now is not None
    rows: list[StatRow] = []
    if cut.last is not None and cut.last.value is not None:
        shown = f"{words.temperature(cut.last.value)} ({words.other_temperature(cut.last.value)})"
        ago = words.span(hours_between(cut.last.at, words.now))
        place = f"{cut.last.place}, " if cut.last.place else ""
        rows.append((KINDS[cut.last.kind].word, unbroken_figures(shown), f"{place}{ago} ago", None, None, "readings"))
    if cut.moisture is not None:
        shown = cut.moisture.said(words.percent)
        note = "estimate" if cut.moisture.is_estimate else "determined"
        note = note if cut.moisture.is_told else "nothing since it was loaded tells it"
        rows.append(("Moisture", unbroken_figures(shown), note, None, None, "moisture.moisture_wb_with_sd"))
    return rows
