"""What the page of the house shows: its instruments, its vessels, its air, and all that was said of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from app.judgement.facts.shapes import Analysis, Fact, Result, Subject
from app.judgement.history.calibrations import calibration_at
from app.judgement.history.history import in_order, order
from app.judgement.history.superseding import Chain, chains
from app.judgement.upkeep.checks import check_words, is_off
from app.judgement.upkeep.cleaning import Cleaning, Emptied, cleanings
from app.judgement.upkeep.water import WaterFigure, water_figures
from app.judgement.wording import Words
from app.store.house import CORRECTED, HOUSE, MOST_NAMED, WEIGHED, InstrumentUse
from app.web.house.guidance import HOUSE_KINDS, TILES
from app.web.house.saying import amount_words, plan_words, subject_words, value_words
from app.web.words.fact_rows import FactRow, fact_rows
from app.web.words.facts import way_words
from app.web.words.grave import last_airs

PER_PAGE = 40
INSTRUMENTS: Mapping[str, tuple[str, ...]] = {
    "calibrated": CORRECTED,
    "scale_checked": WEIGHED,
    "humidity_checked": ("humidity",),
}
"""By the entry that compares them, the kinds in which instruments of its sort are named."""


@dataclass(frozen=True)
class InstrumentRow:
    """An instrument: how often it is named, and what was found of it last; empty where nobody compared it.

    is_off: it shows what is not so.
    """

    name: str
    used: str
    found: str
    is_off: bool


@dataclass(frozen=True)
class VesselRow:
    """A vessel: when it was cleaned last, and how often it should be. name: empty of the house as a whole."""

    name: str
    cleaned_at: datetime | None
    how: str
    plan: str
    due_at: datetime | None
    is_overdue: bool


@dataclass(frozen=True)
class WaterSheet:
    """The last analysis of the water of one place."""

    fact: Analysis
    how: str
    figures: list[WaterFigure]


def house_context(
    facts: Sequence[Fact],
    used: Mapping[str, Sequence[InstrumentUse]],
    vessels: Sequence[str],
    emptied: Mapping[str, Emptied | None],
    words: Words,
    page: int,
    is_shut: Callable[[], bool],
) -> dict[str, Any]:
    """Everything that the page's template asks for. used: as INSTRUMENTS groups them."""
    newest_first = sorted(chains(facts), key=lambda chain: order(chain.facts[0]), reverse=True)
    told = in_order(newest_first)
    shown = newest_first[(page - 1) * PER_PAGE : page * PER_PAGE]
    return {
        "tiles": [(kind, *TILES[kind]) for kind in HOUSE_KINDS],
        "airs": last_airs(told, words, is_shut),
        "instruments": {kind: instrument_rows(kind, told, used[kind], words) for kind in INSTRUMENTS},
        "vessels": vessel_rows(told, vessels, emptied, words),
        "waters": water_sheets(told, words),
        "rows": [row for chain in shown for row in house_rows(chain, words)],
        "entries": len(newest_first),
        "page": page,
        "has_older": len(newest_first) > page * PER_PAGE,
    }


def instrument_rows(
    kind: str, told: Sequence[Fact], used: Sequence[InstrumentUse], words: Words
) -> list[InstrumentRow]:
    """The instruments that readings named last or entries of this kind compared last: those compared first, then by
    name.
    """
    uses = {each.name: each for each in used}
    compared = [fact for fact in told if fact.kind == kind]
    rows = []
    for name in sorted({*uses, *_named_last(compared)}, key=str.casefold):
        rows.append(InstrumentRow(name, _used_words(uses.get(name), words), *_found(kind, name, compared, words)))
    return sorted(rows, key=lambda row: not row.found)


def _used_words(use: InstrumentUse | None, words: Words) -> str:
    if use is None:
        return "not named yet"
    return f"{use.entries} {'reading' if use.entries == 1 else 'readings'}, last {words.clock(use.last_at)}"


def _found(kind: str, name: str, compared: Sequence[Fact], words: Words) -> tuple[str, bool]:
    assert words.now is not None
    if kind == "calibrated":
        calibration = calibration_at(compared, name, words.now)
        if calibration is None:
            return "", False
        return f"{amount_words(calibration, words)}, since {words.clock(calibration.at)}", bool(calibration.amount)
    checks = [fact for fact in compared if isinstance(fact, Result) and fact.subject.id == name]
    if not checks:
        return "", False
    return f"{check_words(checks[-1], words)}, {words.clock(checks[-1].at)}", is_off(checks[-1])


def vessel_rows(
    told: Sequence[Fact], vessels: Sequence[str], emptied: Mapping[str, Emptied | None], words: Words
) -> list[VesselRow]:
    """The vessels that a batch was put into last, that were cleaned last, and all that have a plan: what is overdue
    first, then what was never cleaned, then what was cleaned longest ago.
    """
    assert words.now is not None
    known = {each.subject: each for each in cleanings(told, emptied)}
    of_batches = [Subject("vessel", name) for name in vessels]
    all_of_them = [known.get(each) or Cleaning(each, None, None, None) for each in dict.fromkeys((*of_batches, *known))]
    lately = {*vessels, *_named_last(each.last for each in known.values() if each.last)}
    shown = [each for each in all_of_them if each.plan or (each.subject != HOUSE and each.subject.id in lately)]
    rows = [_vessel_row(each, words.now) for each in shown]
    return sorted(rows, key=lambda row: (not row.is_overdue, row.cleaned_at is not None, row.cleaned_at))


def _named_last(told: Iterable[Fact]) -> list[str]:
    """What facts are about, those told last first, as many as one looks through."""
    last_first = dict.fromkeys(fact.subject.id for fact in sorted(told, key=order, reverse=True))
    return list(last_first)[:MOST_NAMED]


def _vessel_row(each: Cleaning, now: datetime) -> VesselRow:
    return VesselRow(
        name="" if each.subject == HOUSE else each.subject.id,
        cleaned_at=each.last.at if each.last else None,
        how=(each.last.what or "") if each.last else "",
        plan=plan_words(each.plan) if each.plan else "",
        due_at=each.due_at,
        is_overdue=each.is_overdue(now),
    )


def water_sheets(told: Sequence[Fact], words: Words) -> list[WaterSheet]:
    """The last analysis of each place where water is drawn, the newest first."""
    last = {fact.place: fact for fact in told if isinstance(fact, Analysis) and fact.found}
    return [WaterSheet(fact, way_words(fact), water_figures(fact, words)) for fact in reversed(last.values())]


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
