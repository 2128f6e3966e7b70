"""The tests of a batch's malt as rows, in the reader's words: for the batch's page and for the page of its tests."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from app.judgement.facts.kinds import KINDS, MALT_TESTS
from app.judgement.facts.shapes import Remark, Result
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages
from app.judgement.malt.dryness import UNTOLD, is_untold
from app.judgement.malt.tests import MaltMoistureWay, moisture_ways, told
from app.judgement.wording import Words
from app.web.words.figures import unbroken, unbroken_figures

POWER = ("diastatic_power", "conversion_test")


@dataclass(frozen=True)
class MaltRow:
    """One test, or the moisture by one way. fact_id: to correct it by, and to explain it."""

    word: str
    text: str
    detail: str
    how: str
    at: datetime
    who: str
    fact_id: str
    status: str = "none"


def malt_context(history: History, words: Words) -> dict[str, Any]:
    """What the section on the malt's tests shows. has_malt: whether there is anything to be tested yet; untold: that
    finished malt's moisture is not known."""
    assert words.now is not None
    by_kind = {kind: _rows(history, kind, words) for kind in MALT_TESTS}
    tests = [row for rows in by_kind.values() for row in rows] + _tastings(history)
    told_stages = [stage.name for stage in all_stages(history)]
    is_finished = told_stages[-1:] == ["finished"]
    return {
        "malt_moistures": moisture_rows(history, words),
        "malt_tests": tests,
        "is_power_known": any(by_kind[kind] for kind in POWER),
        "has_malt": bool(tests) or not {"cooling", "finished"}.isdisjoint(told_stages),
        "untold": f"Moisture {UNTOLD}." if is_finished and is_untold(history, words.now) else "",
    }


def measured_rows(history: History, words: Words) -> dict[str, list[MaltRow]]:
    """What may be said of the malt outside the house: by kind of test those that were measured, the newest first."""
    assert words.now is not None
    found = {kind: _rows(history, kind, words, ("measured",)) for kind in MALT_TESTS}
    tested = [way for way in moisture_ways(history, words.now) if way.sample.basis == "tested"]
    found["moisture_test"] = [_moisture_row(way, words) for way in tested if way.sample.fact.quality == "measured"]
    return {kind: rows for kind, rows in found.items() if rows}


def moisture_rows(history: History, words: Words) -> list[MaltRow]:
    """The moisture of the malt and which way told it, with what the other ways told; none where nothing did."""
    assert words.now is not None
    ways = moisture_ways(history, words.now)
    if not ways:
        return []
    used, *others = ways
    also = [f"{_moisture(other, words)} by {other.way}" for other in others]
    return [_moisture_row(used, words, f"Also {' and '.join(also)}." if also else "")]


def _moisture_row(way: MaltMoistureWay, words: Words, detail: str = "") -> MaltRow:
    fact = way.sample.fact
    return MaltRow(
        word="Moisture",
        text=_moisture(way, words),
        detail=detail,
        how=f"by {', '.join(part for part in (way.way, _method(fact.kind, fact.method)) if part)}",
        at=way.sample.at,
        who=fact.person or fact.entered_by or "",
        fact_id=fact.id,
    )


def _moisture(each: MaltMoistureWay, words: Words) -> str:
    return unbroken(words.percent(each.sample.moisture_wb, each.sample.half_width))


def _rows(
    history: History, kind: str, words: Words, qualities: Collection[str] = ("measured", "estimated")
) -> list[MaltRow]:
    """The tests of one kind, the newest first; moisture has rows of its own."""
    results = [fact for fact in history.of_shape(Result, kind) if fact.quality in qualities]
    return [_row(fact, words) for fact in reversed(results) if kind != "moisture_test"]


def _row(fact: Result, words: Words) -> MaltRow:
    said = told(fact, words)
    text = said.text.removeprefix(f"{KINDS[fact.kind].word} ") if said else words.mass(fact.value)
    how = [_method(fact.kind, fact.method), "estimated" if fact.quality == "estimated" else "", fact.note or ""]
    return MaltRow(
        word=KINDS[fact.kind].word,
        text=unbroken_figures(text),
        detail=said.detail if said else "",
        how=", ".join(part for part in how if part),
        at=fact.at,
        who=fact.person or fact.entered_by or "",
        fact_id=fact.id,
        status=said.status if said else "none",
    )


def _tastings(history: History) -> list[MaltRow]:
    """What it smelt and tasted of, in the words of whoever tasted it, the newest first."""
    return [
        MaltRow(
            word=KINDS[fact.kind].word,
            text=f"smells of {fact.findings.get('smell', '–')}; tastes of {fact.findings.get('taste', '–')}",
            detail=fact.text or "",
            how=fact.note or "",
            at=fact.at,
            who=fact.person or fact.entered_by or "",
            fact_id=fact.id,
        )
        for fact in reversed(history.of_shape(Remark, "tasting"))
        if fact.findings
    ]


def _method(kind: str, method: str | None) -> str:
    return dict(KINDS[kind].methods).get(method or "", method or "")
