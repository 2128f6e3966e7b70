"""How a batch stands in a power cut, in the reader's words."""

from __future__ import annotations

from dataclasses import dataclass

from app.judgement.ahead.power_cut import PowerCut, power_cut
from app.judgement.facts.kinds import KINDS
from app.judgement.history.history import History, hours_between
from app.judgement.watch.watch import Watch
from app.judgement.wording import Words
from app.web.words.figures import unbroken_figures
from app.web.words.one_more_day import StatRow


@dataclass(frozen=True)
class CutView:
    """how it stands, how long it holds, and the card itself. figure: by which how long is explained."""

    cut: PowerCut
    stands: list[StatRow]
    holds: str
    figure: str


def cut_view(history: History, words: Words) -> CutView:
    """What to do, how long it holds, and how it stands."""
    assert words.now is not None
    cut = power_cut(history, words.now, words)
    holds, figure = (_holds(cut.first, words), "power") if cut.first else (cut.card.holds, "")
    return CutView(cut, _stands(cut, words), unbroken_figures(holds), figure)


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
        rows.append(
            (
                KINDS[cut.last.kind].word,
                unbroken_figures(shown),
                f"{place}{ago} ago",
                None,
                None,
                f"/facts/{cut.last.id}/how",
            )
        )
    if cut.moisture is not None:
        shown = cut.moisture.said(words.percent)
        note = "estimate" if cut.moisture.is_estimate else "determined"
        note = note if cut.moisture.is_told else "nothing since it was loaded tells it"
        rows.append(("Moisture", unbroken_figures(shown), note, None, None, "moisture"))
    return rows
