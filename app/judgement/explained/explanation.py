"""What an explanation is made of: a formula in symbols, what each stands for, and how unsure that makes the figure."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact
from app.judgement.wording import Words

_SUBSCRIPTS = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")
FIGURES = 5
SHOWN_FACTS = 6


class Asked(NamedTuple):
    """A figure of a batch at a moment; name: which of several, after the dot of its key."""

    batch: BatchAt
    words: Words
    name: str


@dataclass(frozen=True)
class Term:
    """What a symbol stands for: in words, as a person reads it, and as it goes into the formula.

    facts: where it was measured. mark and source: of what was assumed. With neither it follows from others.
    """

    symbol: str
    what: str
    said: str
    value: float
    unit: str = ""
    facts: tuple[Fact, ...] = ()
    mark: str = ""
    source: str = ""


@dataclass(frozen=True)
class Line:
    """symbol = formula, of terms and of lines before; value: what that comes to. said: the same for a reader."""

    symbol: str
    formula: str
    value: float
    unit: str = ""
    said: str = ""


@dataclass(frozen=True)
class Share:
    """A part of the uncertainty, as 95 % half-width in the figure's own unit; the parts add as squares."""

    what: str
    half_width: float
    mark: str = ""


@dataclass(frozen=True)
class Model:
    """A fitted curve: its law, parameters in words, how many measurements went in, and the last of them.

    last: (fact or moment in words, as measured, what it lies off the curve).
    """

    law: str
    parameters: tuple[tuple[str, str], ...]
    n: int
    last: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True)
class Explanation:
    """method: the anchor of the formula or section that it goes by. unit and value: of the figure, as in `Measure`, or
    a moment; None where it is no number. at: the moment that it is of. others: facts that stand in no term.
    """

    method: str
    unit: str
    value: float | datetime | None
    terms: tuple[Term, ...] = ()
    lines: tuple[Line, ...] = ()
    shares: tuple[Share, ...] = ()
    notes: tuple[str, ...] = ()
    model: Model | None = None
    half_width: float | None = None
    at: datetime | None = None
    others: tuple[Fact, ...] = field(default=())

    def filled(self, line: Line) -> str:
        """The formula of a line with the values in place of the symbols."""
        known: dict[str, str] = {term.symbol: put_in(term.value, term.unit) for term in self.terms if term.symbol}
        known |= {each.symbol: put_in(each.value, each.unit) for each in self.lines}
        return fill(line.formula, known)

    @property
    def measured(self) -> tuple[Term, ...]:
        return tuple(term for term in self.terms if term.facts)

    @property
    def assumed(self) -> tuple[Term, ...]:
        return tuple(term for term in self.terms if term.mark and not term.facts)

    @property
    def follows(self) -> tuple[Term, ...]:
        """What was reckoned elsewhere, and goes in here as it is."""
        return tuple(term for term in self.terms if not term.facts and not term.mark)


def fill(formula: str, known: Mapping[str, str]) -> str:
    """Symbols replaced by what they stand for, the longest first."""
    if not known:
        return formula
    symbols = "|".join(re.escape(each) for each in sorted(known, key=len, reverse=True))
    return re.sub(rf"(?<![A-Za-z])(?:{symbols})(?![A-Za-z₀-₉])", lambda found: known[found[0]], formula)


def put_in(value: float, unit: str = "") -> str:
    """A number as it stands in a formula; below 0 in brackets."""
    text = f"{plain(abs(value))}\u00a0{unit}".rstrip("\u00a0")
    return text if value >= 0.0 else f"(−{text})"


def plain(value: float) -> str:
    """Five figures, and never as a power of ten; 0 as it is."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    decimals = max(FIGURES - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def numbered(symbol: str, place: int) -> str:
    return f"{symbol}{str(place).translate(_SUBSCRIPTS)}"


def sum_of(symbol: str, terms: Sequence[Term]) -> tuple[str, tuple[Term, ...]]:
    """The formula that adds terms up, each under a symbol of its own; of many, their sum as one term."""
    if len(terms) == 1:
        only = terms[0]
        return symbol, (Term(symbol, only.what, only.said, only.value, only.unit, only.facts, only.mark, only.source),)
    if len(terms) > SHOWN_FACTS:
        facts = tuple(fact for term in terms for fact in term.facts)
        total = math.fsum(term.value for term in terms)
        name = f"Σ{symbol}"
        return name, (Term(name, f"{terms[0].what} and {len(terms) - 1} more", "", total, terms[0].unit, facts),)
    named = [
        Term(numbered(symbol, place), each.what, each.said, each.value, each.unit, each.facts, each.mark, each.source)
        for place, each in enumerate(terms, 1)
    ]
    return " + ".join(term.symbol for term in named), tuple(named)


def in_all(shares: Iterable[Share]) -> float:
    """The parts together."""
    return math.hypot(*(share.half_width for share in shares))
