"""What the page of the house shows: its instruments, its vessels, its air, and all that was said of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from app.judgement.facts.shapes import Action, Fact
from app.judgement.history.calibrations import calibration_at
from app.judgement.history.history import order, standing
from app.judgement.history.superseding import Chain, chains
from app.judgement.wording import Words
from app.store.house import InstrumentUse
from app.web.house.guidance import HOUSE_KINDS, TILES
from app.web.house.saying import amount_words, subject_words, value_words
from app.web.words.fact_rows import FactRow, fact_rows
from app.web.words.grave import last_airs

PER_PAGE = 40


@dataclass(frozen=True)
class InstrumentRow:
    """A thermometer: how often it is named, and what is added to its readings now; empty where nobody said."""

    name: str
    used: str
    correction: str
    is_corrected: bool


@dataclass(frozen=True)
class VesselRow:
    """A vessel, and when it was cleaned last."""

    name: str
    cleaned_at: datetime | None
    how: str


def house_context(
    facts: Sequence[Fact],
    instruments: Sequence[InstrumentUse],
    vessels: Sequence[str],
    words: Words,
    page: int,
    is_shut: Callable[[], bool],
) -> dict[str, Any]:
    """Everything that the page's template asks for."""
    newest_first = sorted(chains(facts), key=lambda chain: order(chain.facts[0]), reverse=True)
    told = sorted(standing(newest_first), key=order)
    shown = newest_first[(page - 1) * PER_PAGE : page * PER_PAGE]
    return {
        "tiles": [(kind, *TILES[kind]) for kind in HOUSE_KINDS],
        "airs": last_airs(told, words, is_shut),
        "instruments": instrument_rows(told, instruments, words),
        "vessels": vessel_rows(told, vessels),
        "rows": [row for chain in shown for row in house_rows(chain, words)],
        "entries": len(newest_first),
        "page": page,
        "has_older": len(newest_first) > page * PER_PAGE,
    }


def instrument_rows(told: Sequence[Fact], used: Sequence[InstrumentUse], words: Words) -> list[InstrumentRow]:
    """Every thermometer that a reading names or a calibration is of: those with a correction first, then by name."""
    assert words.now is not None
    uses = {each.name: each for each in used}
    names = {*uses, *(fact.subject.id for fact in told if fact.subject.type == "instrument")}
    rows = []
    for name in sorted(names, key=str.casefold):
        calibration = calibration_at(told, name, words.now)
        rows.append(InstrumentRow(name, _used_words(uses.get(name), words), *_correction(calibration, words)))
    return sorted(rows, key=lambda row: not row.correction)


def _used_words(use: InstrumentUse | None, words: Words) -> str:
    if use is None:
        return "not named yet"
    return f"{use.entries} {'reading' if use.entries == 1 else 'readings'}, last {words.clock(use.last_at)}"


def _correction(calibration: Action | None, words: Words) -> tuple[str, bool]:
    if calibration is None:
        return "", False
    return f"{amount_words(calibration, words)}, since {words.clock(calibration.at)}", bool(calibration.amount)


def vessel_rows(told: Sequence[Fact], vessels: Sequence[str]) -> list[VesselRow]:
    """Every vessel that a batch was put into or that was cleaned: those cleaned longest ago come first."""
    cleaned = {fact.subject.id: fact for fact in told if fact.kind == "cleaned" and fact.subject.type == "vessel"}
    rows = [VesselRow(name, fact.at, getattr(fact, "what", None) or "") for name, fact in cleaned.items()]
    never = [VesselRow(name, None, "") for name in vessels if name not in cleaned]
    return [*never, *sorted(rows, key=lambda row: (row.cleaned_at is not None, row.cleaned_at))]


def house_rows(chain: Chain, words: Words) -> list[FactRow]:
    """What holds of a chain, then what it corrected: each named with what it is about."""
    return [_named(row, words) for row in fact_rows(chain, words)]


def _named(row: FactRow, words: Words) -> FactRow:
    name, said = subject_words(row.fact), value_words(row.fact, words)
    extra = [row.fact.place or "", f"by {row.fact.instrument}" if row.fact.instrument else "", row.way]
    return replace(
        row,
        word=f"{row.word}: {name}" if name else row.word,
        value="; ".join(each for each in (said.rstrip("."), row.fact.note or "") if each),
        way=", ".join(each for each in extra if each),
    )
