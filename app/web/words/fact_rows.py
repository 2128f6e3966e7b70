"""Facts as the rows of a page: what holds, and struck through what it corrected."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Withdrawal
from app.judgement.history.superseding import Chain
from app.judgement.wording import Words
from app.web.words.facts import value_words, way_words, who_words


@dataclass(frozen=True)
class FactRow:
    """One thing that was said. struck: why it no longer holds; it stays to be read."""

    fact: Fact
    word: str
    value: str
    way: str
    at: datetime
    who: str
    struck: str = ""


def fact_rows(chain: Chain, words: Words) -> list[FactRow]:
    """What holds of a chain, then what it corrected, the newest first."""
    last, *earlier = reversed(chain.facts)
    rows = [] if isinstance(last, Withdrawal) else [_fact_row(last, words)]
    for fact, later in zip(earlier, (last, *earlier), strict=False):
        if not isinstance(fact, Withdrawal):
            rows.append(_fact_row(fact, words, struck=_struck_words(later)))
    return rows


def _struck_words(later: Fact) -> str:
    verb = "struck out" if isinstance(later, Withdrawal) else "corrected"
    reason = f": {later.reason}" if isinstance(later, Withdrawal) and later.reason else ""
    return f"{verb} by {who_words(later)}{reason}"


def _fact_row(fact: Fact, words: Words, struck: str = "") -> FactRow:
    value, note = value_words(fact, words), fact.note or ""
    text = "; ".join(part for part in (value.rstrip("."), note) if part)
    return FactRow(fact, KINDS[fact.kind].word, text, way_words(fact), fact.at, who_words(fact), struck)
