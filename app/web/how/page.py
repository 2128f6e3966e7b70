"""How a figure came about: the figure as the pages show it, and its explanation in the reader's words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from app.judgement.explained import Explanation, Term
from app.judgement.explained.explanation import SHOWN_FACTS, in_all
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact
from app.judgement.flags import evaluate
from app.judgement.grain.lot_verdict import lot_verdict
from app.judgement.history.history import History, LotInfo
from app.judgement.malt.tests import told
from app.judgement.measures.account import account
from app.judgement.measures.batch import KEYS, measures
from app.judgement.programmes.parts import MARKS, provenance
from app.judgement.wording import Words
from app.science.handbook import chapters, methods
from app.web.summary.forecasts import outlooks
from app.web.summary.glance import glance_at, moisture_said
from app.web.summary.kiln import kiln_view
from app.web.words.account import account_rows
from app.web.words.facts import value_words, who_words
from app.web.words.figures import Figure, unbroken, unbroken_figures
from app.web.words.lot_life import life_rows
from app.web.words.measures import measure_said
from app.web.words.method_links import method_url
from app.web.words.one_more_day import day_view
from app.web.words.power_cut import cut_view
from app.web.words.sleep import sleep_view

Rows = Iterable[Sequence[str | None]]
SHORT = 16
"""Characters of a value that stays on one line."""


@dataclass(frozen=True)
class FactLine:
    """An entry that goes in. id: to see and correct it."""

    id: str
    word: str
    value: str
    when: str
    who: str


@dataclass(frozen=True)
class TermView:
    """What a symbol stands for, and what it rests on. how: mark and source of what is assumed."""

    symbol: str
    what: str
    said: str
    facts: list[FactLine]
    more: int
    how: str


def batch_figure(history: History, words: Words, key: str) -> Figure | None:
    """The figure of a batch as its pages show it; None where they show none of that name."""
    family, _, name = key.partition(".")
    if family in KEYS:
        return _measure(history, words, key)
    find = _FIGURES.get(family)
    return find(history, words, key, name) if find is not None else None


def lot_figure(lot: LotInfo, words: Words, key: str) -> Figure | None:
    assert words.now is not None
    return _of_rows(life_rows(lot_verdict(lot, words.now), words), key)


def fact_figure(fact: Fact, words: Words) -> Figure:
    """What an entry says; a test of the malt in the words that its table has for it."""
    test = told(fact, words)
    return Figure(KINDS[fact.kind].word, test.text if test is not None else value_words(fact, words))


def _measure(history: History, words: Words, key: str) -> Figure | None:
    assert words.now is not None
    flags = evaluate(history, words.now, words) if key.startswith("flags_") else ()
    found = next((each for each in measures(history, words.now, flags) if each.key == key), None)
    return None if found is None or not found.is_known else measure_said(found, words)


def _of_rows(rows: Rows, key: str) -> Figure | None:
    row = next((row for row in rows if row[5] == key), None)
    return None if row is None else Figure(*(part or "" for part in row))


def _kiln(history: History, words: Words, key: str, name: str) -> Figure | None:
    card = kiln_view(history, words)
    return None if card is None else _of_rows([*card.first, *card.more], key)


def _account(history: History, words: Words, key: str, name: str) -> Figure | None:
    assert words.now is not None
    rows = account_rows(account(history, words.now), words)
    row = next((row for row in rows if row[4] == name), None)
    return None if row is None else Figure(f"{row[0]}, of the charge", row[1], f"{row[3]}; {row[2]}")


def _step(history: History, words: Words, key: str, name: str) -> Figure | None:
    step = next((each for each in glance_at(history, words).steps if each.figure == key), None)
    if step is None:
        return None
    return Figure(step.what, step.line.removeprefix(step.what).strip() or step.heading, step.why)


def _watch(history: History, words: Words, key: str, name: str) -> Figure | None:
    night = sleep_view(history, words)
    watch = next((each for each in [*night.watches, *night.later] if each.figure == key), None)
    return None if watch is None else Figure(watch.what, watch.when, watch.why)


def _power(history: History, words: Words, key: str, name: str) -> Figure | None:
    cut = cut_view(history, words)
    return Figure("How long it holds", cut.holds) if cut.figure else None


def _day(history: History, words: Words, key: str, name: str) -> Figure | None:
    day = day_view(history, words)
    return None if day is None else _of_rows(day.rows, key)


def _outlook(history: History, words: Words, key: str, name: str) -> Figure | None:
    return _of_rows((each.row for each in outlooks(history, words)), key)


_FIGURES: dict[str, Any] = {
    "moisture": lambda history, words, key, name: moisture_said(history, words),
    "account": _account,
    "outlook": _outlook,
    "kiln": _kiln,
    "stop": _kiln,
    "step": _step,
    "watch": _watch,
    "power": _power,
    "day": _day,
}


def how_context(figure: Figure, shown: Explanation, words: Words) -> dict[str, Any]:
    """What the page shows."""
    assert words.now is not None
    method = methods().get(shown.method)
    return {
        "figure": figure,
        "at": words.clock(shown.at or words.now),
        "lines": [(line, shown.filled(line)) for line in shown.lines],
        "measured": [_term(term, words) for term in shown.measured],
        "assumed": [_term(term, words) for term in shown.assumed],
        "follows": [_term(term, words) for term in shown.follows],
        "others": _facts(shown.others, words),
        "more": max(len(shown.others) - SHOWN_FACTS, 0),
        "model": shown.model,
        "shares": [
            (share.what, _reach(shown, share.half_width, words), MARKS.get(share.mark, "")) for share in shown.shares
        ],
        "in_all": _reach(shown, in_all(shown.shares), words) if len(shown.shares) > 1 else "",
        "notes": [unbroken_figures(note) for note in shown.notes],
        "method": method,
        "chapter": next((each.title for each in chapters() if method and each.key == method.chapter), ""),
        "method_url": method_url(shown.method),
    }


def _term(term: Term, words: Words) -> TermView:
    how = provenance(term.mark, term.source) if term.mark else ""
    said = unbroken(term.said) if len(term.said) < SHORT else unbroken_figures(term.said)
    more = max(len(term.facts) - SHOWN_FACTS, 0)
    return TermView(term.symbol, term.what, said, _facts(term.facts, words), more, how)


def _facts(facts: Sequence[Fact], words: Words) -> list[FactLine]:
    """The last of them, the newest first."""
    return [
        FactLine(fact.id, KINDS[fact.kind].word, value_words(fact, words), words.clock(fact.at), who_words(fact))
        for fact in reversed(facts[-SHOWN_FACTS:])
    ]


def _reach(shown: Explanation, half_width: float, words: Words) -> str:
    """A half-width in the figure's own unit; of shares in points."""
    if shown.unit in ("wb", "fraction"):
        return f"± {100.0 * half_width:.2f} points"
    if shown.unit == "kg":
        return f"± {words.mass(half_width)}"
    return f"± {half_width:.2g}"
