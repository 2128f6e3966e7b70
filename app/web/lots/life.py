"""Is the lot alive? The verdict with its reasons and figures, and the dishes behind it, in the reader's words."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Any

from app.judgement.facts.kind_parts import WATERS
from app.judgement.facts.shapes import Fact, Tally
from app.judgement.grain.germination_tests import DAYS, is_counted_out
from app.judgement.grain.lot_verdict import (
    DORMANT,
    UNTESTED,
    LotVerdict,
    lot_verdict,
)
from app.judgement.history.history import LotInfo
from app.judgement.wording import Words
from app.store.lots import LotStory
from app.web.lots.saying import kept_words
from app.web.words.facts import Said, who_words
from app.web.words.figures import unbroken, unbroken_figures
from app.web.words.lot_life import life_rows

SHOWN_TESTS = 2
LIFE_KINDS = frozenset({"germination_test", "capacity_test"})


@dataclass(frozen=True)
class DishRow:
    """One dish, or one capacity test, of the table."""

    id: str
    dish: str
    water: str
    n: int
    days: tuple[str, ...]
    grown: str
    is_running: bool


@dataclass(frozen=True)
class DishTest:
    """The dishes of one day. title: the day, and who counted."""

    title: str
    rows: list[DishRow]


def life_context(lot: LotInfo, words: Words) -> dict[str, Any]:
    """What the section "Is it alive?" shows."""
    assert words.now is not None
    verdict = lot_verdict(lot, words.now)
    tests = dish_tests(lot, words)
    return {
        "alive": verdict,
        "alive_reasons": [unbroken_figures(reason) for reason in verdict.reasons],
        "alive_limits": [unbroken_figures(limit) for limit in verdict.limits],
        "alive_rows": life_rows(verdict, words),
        "dish_tests": tests[:SHOWN_TESTS],
        "older_tests": tests[SHOWN_TESTS:],
    }


def life_words(lot: LotInfo, words: Words) -> Said:
    """The verdict in a word, for a list of lots."""
    assert words.now is not None
    verdict = lot_verdict(lot, words.now)
    return Said(
        verdict.status, verdict.word, f"tested {verdict.age.days} days ago" if verdict.age and verdict.is_old else ""
    )


def kept_said(story: LotStory, fact: Fact, words: Words) -> Said:
    """What a fact that was just kept means for the lot."""
    assert words.now is not None
    if not isinstance(fact, Tally) or fact.kind not in LIFE_KINDS:
        return kept_words(story, fact, words)
    if fact.kind == "germination_test" and not is_counted_out(fact):
        return Said("none", "The dish is kept, and not counted out.", "Correct it when the next count is in.")
    return said_of(lot_verdict(story.info, words.now))


def said_of(verdict: LotVerdict) -> Said:
    """A verdict as a line: the word, then why."""
    text = {UNTESTED: "The lot is not judged yet.", DORMANT: "The lot is dormant: wait, and test it again."}
    said = text.get(verdict.verdict, f"The lot is {verdict.word}.")
    if not verdict.can_tell:
        said = f"{verdict.word[0].upper()}{verdict.word[1:]}."
    return Said(verdict.status, said, unbroken_figures(" ".join(verdict.reasons)))


def dish_tests(lot: LotInfo, words: Words) -> list[DishTest]:
    """Every dish and capacity test, those of one day together, the newest first."""
    tallies = [fact for fact in lot.facts if isinstance(fact, Tally) and fact.quality == "measured"]
    dishes = sorted(
        (fact for fact in tallies if fact.kind in LIFE_KINDS),
        key=lambda fact: (-fact.at.timestamp(), fact.kind, fact.place or ""),
    )
    days = groupby(dishes, key=lambda fact: f"{words.date(fact.at)}, {who_words(fact)}")
    return [DishTest(title, [_dish_row(fact, words) for fact in facts]) for title, facts in days]


def _dish_row(fact: Tally, words: Words) -> DishRow:
    is_capacity = fact.kind == "capacity_test"
    days = () if is_capacity else tuple(str(fact.counts[day]) if day in fact.counts else "–" for day in DAYS)
    grown = fact.looked_at - fact.counts.get("not_germinated", 0) if is_capacity else sum(fact.counts.values())
    share = unbroken(words.percent(grown / fact.looked_at, decimals=0))
    return DishRow(
        id=fact.id,
        dish=fact.place or ("peroxide" if is_capacity else "dish"),
        water="peroxide" if is_capacity else dict(WATERS).get(fact.method or "", "water not said").split(" of")[0],
        n=fact.looked_at,
        days=days,
        grown=share,
        is_running=not is_capacity and not is_counted_out(fact),
    )
