"""What a phone must know of a batch to ask back, and to correct what was kept, while there is no connection."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any

from app.judgement.batch_at import batch_at
from app.judgement.facts.fields import Quantity
from app.judgement.facts.kind_parts import Plausible
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import record_from_fact
from app.judgement.flags.limits import GASES, OPEN_NOTHING, Gas, smoulders
from app.judgement.history.history import History
from app.judgement.history.stages import stages
from app.judgement.malt.looks import ERGOT, GRAVITY, told_at
from app.judgement.programmes.programme import Programme
from app.judgement.slips.masses import by_charge, can_weigh
from app.judgement.slips.plausible import plausible
from app.judgement.wording import Words
from app.science import units

MOST_FACTS = 12
STAGES = ("charged", "immersion", "air_rest", "germination", "stewing", "kilning", "cooling", "finished")
NUMBERED = frozenset({"reading", "weighing", "result"})
"""The shapes of which nothing is kept without a number, unless the entry says why there is none."""

Fields = dict[str, dict[str, list[Any]]]
"""By field and unit: the symbol, then expected, possible and wild, each low and high, in that unit."""

Ranges = dict[str, dict[str, Fields]]


def sheet_of(history: History, words: Words) -> dict[str, Any]:
    """The stage now, which kind begins which, which needs a number, what is expected, how heavy what is weighed of this
    grain may be and can be, what harms, what was said last.
    """
    assert words.now is not None
    begun = stages(history, words.now)
    stage = begun[-1].name if begun else "charged"
    last = history.facts[-MOST_FACTS:]
    return {
        "stage": stage,
        "starts": {name: kind.stage for name, kind in KINDS.items() if kind.stage},
        "needs": [name for name, kind in KINDS.items() if kind.shape_name in NUMBERED],
        "ranges": ranges(history.programme),
        "masses": masses(history, words.now),
        "most": most(history, words.now),
        "grave": grave(stage, smoulders(batch_at(history, words.now))),
        "last": [record_from_fact(fact) for fact in reversed(last)],
    }


@lru_cache(maxsize=64)
def ranges(programme: Programme | None) -> Ranges:
    """By stage and kind."""
    by_kind: Ranges = {}
    for stage in STAGES:
        of_kinds = {name: _of_kind(name, stage, programme) for name in KINDS}
        by_kind[stage] = {name: fields for name, fields in of_kinds.items() if fields}
    return by_kind


def masses(history: History, now: datetime) -> dict[str, Fields]:
    """By kind: what may be weighed of the grain that there is, whichever bag or tray it is in."""
    of_kinds = {name: by_charge(name, {}, history, now) or {} for name in KINDS}
    return {name: _fields(name, known) for name, known in of_kinds.items() if known}


def most(history: History, now: datetime) -> dict[str, float]:
    """By unit: the most that a scale can show of this batch, whatever it is weighed in; empty where none is known."""
    most_kg = can_weigh("tray", {}, history, now)
    units_of = units.units_of("mass") if most_kg < math.inf else ()
    return {unit.key: float(f"{units.from_si(most_kg, unit.key):.4g}") for unit in units_of}


def _of_kind(name: str, stage: str, programme: Programme | None) -> Fields:
    targets = {spec.target for spec in KINDS[name].fields.values() if isinstance(spec, Quantity)}
    expected = {target: plausible(name, stage, programme, target) for target in targets}
    return _fields(name, {target: each for target, each in expected.items() if each is not None})


def _fields(name: str, expected: Mapping[str, Plausible]) -> Fields:
    return {
        field: {unit.key: _in_unit(expected[spec.target], unit) for unit in units.units_of(spec.dimension)}
        for field, spec in KINDS[name].fields.items()
        if isinstance(spec, Quantity) and spec.target in expected
    }


def _in_unit(expected: Plausible, unit: units.Unit) -> list[Any]:
    bounds = [float(units.from_si(bound, unit.key)) for span in expected for bound in span]
    return [unit.symbol, *(float(f"{bound:.4g}") for bound in bounds)]


@lru_cache(maxsize=16)
def grave(stage: str, is_smouldering: bool = False) -> dict[str, list[list[Any]]]:
    """By kind, the gravest first: what an entry at this stage says that can hurt somebody, how grave, and what to do.

    Each as [field, what is chosen in it or {unit: the most that is well}, status, text]. is_smouldering: then nothing
    is opened for the gas.
    """
    looks = [[*finding, each.status, each.text] for finding, each in told_at(stage).items()]
    masses = {unit.key: 0.0 for unit in units.units_of("mass")}
    inspection: list[list[Any]] = [*looks, ["horns", "yes", *ERGOT[:2]], ["ergot", masses, *ERGOT[:2]]]
    return {
        **{kind: _gas(gas, is_smouldering) for kind, gas in GASES.items()},
        "inspection": sorted(inspection, key=lambda row: -GRAVITY.index(row[2])),
        "growth_count": [["mouldy", {"": 0.0}, "caution", "Mouldy: look at all of it, from arm’s length"]],
    }


def _gas(gas: Gas, is_smouldering: bool) -> list[list[Any]]:
    leave, air_it = (OPEN_NOTHING, OPEN_NOTHING) if is_smouldering else (gas.leave, gas.air_it)
    bounds = ((gas.limit.high_act, "act", leave), (gas.limit.high_caution, "caution", air_it))
    beyond = [
        [field, {unit.key: float(units.from_si(bound, unit.key)) for unit in units.units_of("co2")}, status, text]
        for bound, status, text in bounds
        for field in ("value", "highest")
        if bound is not None
    ]
    return [["quality", "over_range", "act", leave], *beyond]
