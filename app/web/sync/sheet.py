"""What a phone must know of a batch to ask back, and to correct what was kept, while there is no connection."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from app.judgement.facts.fields import Quantity
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import record_from_fact
from app.judgement.flags.limits import AIR_IT, LEAVE, ROOM_CO2
from app.judgement.history.history import History
from app.judgement.history.stages import stages
from app.judgement.malt.looks import AMISS, ERGOT
from app.judgement.programmes.programme import Programme
from app.judgement.slips.plausible import Plausible, plausible
from app.judgement.wording import Words
from app.science import units

MOST_FACTS = 12
STAGES = ("charged", "immersion", "air_rest", "germination", "stewing", "kilning", "cooling", "finished")
NUMBERED = frozenset({"reading", "weighing", "result"})
"""The shapes of which nothing is kept without a number, unless the entry says why there is none."""

Ranges = dict[str, dict[str, dict[str, dict[str, list[Any]]]]]


def sheet_of(history: History, words: Words) -> dict[str, Any]:
    """The stage now, which kind begins which, which needs a number, what is usual, what harms, what was said last."""
    assert words.now is not None
    begun = stages(history, words.now)
    last = history.facts[-MOST_FACTS:]
    return {
        "stage": begun[-1].name if begun else "charged",
        "starts": {name: kind.stage for name, kind in KINDS.items() if kind.stage},
        "needs": [name for name, kind in KINDS.items() if kind.shape_name in NUMBERED],
        "ranges": ranges(history.programme),
        "grave": GRAVE,
        "last": [record_from_fact(fact) for fact in reversed(last)],
    }


@lru_cache(maxsize=64)
def ranges(programme: Programme | None) -> Ranges:
    """By stage, kind, field and unit: the symbol, then usual, possible and wild, each low and high, in that unit."""
    found: Ranges = {}
    for stage in STAGES:
        of_kinds = {name: _of_kind(name, stage, programme) for name in KINDS}
        found[stage] = {name: fields for name, fields in of_kinds.items() if fields}
    return found


def _of_kind(name: str, stage: str, programme: Programme | None) -> dict[str, dict[str, list[Any]]]:
    found = {}
    for field, spec in KINDS[name].fields.items():
        known = plausible(name, stage, programme, spec.target) if isinstance(spec, Quantity) else None
        if known is not None and isinstance(spec, Quantity):
            found[field] = {unit.key: _in_unit(known, unit) for unit in units.units_of(spec.dimension)}
    return found


def _in_unit(known: Plausible, unit: units.Unit) -> list[Any]:
    bounds = [float(units.from_si(bound, unit.key)) for span in known for bound in span]
    return [unit.symbol, *(float(f"{bound:.4g}") for bound in bounds)]


def _grave() -> dict[str, list[list[Any]]]:
    """By kind, the gravest first: what an entry says that can hurt somebody, how grave that is, and what to do.

    Each as [field, what is chosen in it or {unit: the most that is well}, status, text].
    """
    ppm = units.units_of("co2")
    beyond = [
        ["value", {unit.key: float(units.from_si(bound, unit.key)) for unit in ppm}, status, text]
        for bound, status, text in ((ROOM_CO2.high_act, "act", LEAVE), (ROOM_CO2.high_caution, "caution", AIR_IT))
        if bound is not None
    ]
    looks = [[*finding, each.status, each.text] for finding, each in AMISS.items()]
    masses = {unit.key: 0.0 for unit in units.units_of("mass")}
    return {
        "co2_room": [["quality", "over_range", "act", LEAVE], *beyond],
        "inspection": [*looks, ["ergot", masses, *ERGOT[:2]]],
        "growth_count": [["mouldy", {"": 0.0}, "caution", "Mouldy: look at all of it, from arm’s length"]],
    }


GRAVE = _grave()
