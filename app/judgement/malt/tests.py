"""What was found out about the malt of a batch: each test with its figures, its method, and what one may say of it.

Nothing here is worked out from how the malt was made: a diastatic power that nobody measured is not known.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Result
from app.judgement.forecasts.moisture import MoistureSample
from app.judgement.history.history import History
from app.judgement.malt.dryness import dried_samples
from app.judgement.wording import Words
from app.science import flour, malt_analysis

PLATO_SD = 0.1
"""How well a hydrometer or refractometer tells °P, and the malt's moisture in points: from memory."""
MOISTURE_POINTS_SD = 0.3

WAYS: Mapping[str, str] = {"tested": "a moisture test", "outturn": "what was told with the outturn"}
WEIGHED = "weight, of a tray or the charge"


class Told(NamedTuple):
    """A test in words: status, what it is, what follows."""

    status: str
    text: str
    detail: str = ""


class Extract(NamedTuple):
    """Extract as fractions of the malt as it is and of its dry matter; sd of the latter."""

    as_is: float
    dry: float
    dry_sd: float


@dataclass(frozen=True)
class MaltMoistureWay:
    """The moisture of the malt by one of three ways. is_used: the one that the figures of the batch go by."""

    way: str
    sample: MoistureSample
    is_used: bool


def results(history: History, kind: str, now: datetime) -> list[Result]:
    """The standing results of one kind about this batch, measured or estimated, up to now."""
    return [
        result
        for result in history.of_shape(Result, kind)
        if result.at <= now and result.quality in ("measured", "estimated")
    ]


def extract_of(test: Result) -> Extract:
    """The extract that a small mash got, as fractions."""
    malt_g, water_g = 1000.0 * test.beside["malt_kg"], 1000.0 * test.beside["water_kg"]
    moisture = 100.0 * test.beside["moisture_wb"]
    as_is, dry = (find(test.value, moisture, malt_g, water_g) for find in _EXTRACTS)
    by_plato = (_dry(test.value + PLATO_SD, moisture, malt_g, water_g) - dry) / 100.0
    by_moisture = (_dry(test.value, moisture + MOISTURE_POINTS_SD, malt_g, water_g) - dry) / 100.0
    return Extract(as_is / 100.0, dry / 100.0, math.hypot(by_plato, by_moisture))


def _dry(plato: float, moisture_percent: float, malt_g: float, water_g: float) -> float:
    """As extract_dry_percent, also a little beyond what the malt can hold."""
    as_is = plato * (moisture_percent + 100.0 * water_g / malt_g) / (100.0 - plato)
    return 100.0 * as_is / (100.0 - moisture_percent)


_EXTRACTS = (malt_analysis.extract_as_is_percent, malt_analysis.extract_dry_percent)


def conversion_of(test: Result) -> float:
    """Power to convert starch against the reference malt tested beside it: 1 is alike, 2 twice as fast."""
    return malt_analysis.conversion_against_reference(test.value, test.beside["reference_min"])


def malt_liquefaction(test: Result) -> float | None:
    """The liquefaction number of the malt's flour, where it was tested in a blend; None where it can't be told."""
    share, alone = test.beside.get("malt_share"), test.beside.get("flour_s")
    if share is None or alone is None:
        return None
    try:
        return flour.malt_liquefaction_from_trial(alone, test.value, share)
    except ValueError:
        return None


def moisture_ways(history: History, now: datetime) -> list[MaltMoistureWay]:
    """The last moisture of the dried malt by each way that told one, the one the figures go by first."""
    last: dict[str, MoistureSample] = {}
    for sample in dried_samples(history):
        if sample.at <= now:
            last[WAYS.get(sample.basis, WEIGHED)] = sample
    used = max(last.values(), key=lambda sample: (sample.at, sample.basis == "tested"), default=None)
    ways = [MaltMoistureWay(way, sample, sample is used) for way, sample in last.items()]
    return sorted(ways, key=lambda each: not each.is_used)


def told(fact: Fact, words: Words) -> Told | None:
    """A malt test in words; None where it is none."""
    tell = TELLERS.get(KINDS[fact.kind].teller)
    return tell(fact, words) if tell is not None and isinstance(fact, Result) else None


def _colour(fact: Result, words: Words) -> Told:
    other = "ebc" if words.unit("colour") == "lovibond" else "lovibond"
    return Told("none", f"Colour {words.quantity('colour', fact.value)} ({words.in_unit(other, fact.value)})")


def _extract(fact: Result, words: Words) -> Told:
    extract = extract_of(fact)
    dry = words.percent(extract.dry, 2.0 * extract.dry_sd)
    return Told("none", f"Extract {dry} of the dry malt", f"{words.percent(extract.as_is)} of the malt as it is.")


def _diastatic_power(fact: Result, words: Words) -> Told:
    other = "wk" if words.unit("diastatic_power") == "lintner" else "lintner"
    power = f"{words.quantity('diastatic_power', fact.value)} ({words.in_unit(other, fact.value)})"
    text = f"Diastatic power {power}, measured"
    if fact.value <= malt_analysis.GRIST_NEEDS_LINTNER:
        return Told("notice", text, "It has little to spare: a grist of it alone may not convert itself.")
    share = malt_analysis.largest_unmalted_share(fact.value)
    return Told("none", text, f"A grist may hold up to {100 * share:.0f} % unmalted grain and still convert itself.")


def _conversion(fact: Result, words: Words) -> Told:
    took, reference = (words.quantity("conversion_time", each) for each in (fact.value, fact.beside["reference_min"]))
    text = f"No more blue after {took}, the reference after {reference}"
    return Told("none", text, f"{conversion_of(fact):.2f} times its power. The house’s own scale, no diastatic power.")


def _falling_number(fact: Result, words: Words) -> Told:
    text = f"Falling number {words.quantity('falling_number', fact.value)}"
    liquefaction = malt_liquefaction(fact)
    if liquefaction is not None:
        return Told("none", text, f"The malt acts with a liquefaction number of {liquefaction:.0f}.")
    if fact.value <= flour.FLOOR_S:
        return Told("notice", text, "That is the instrument’s floor: try a blend of 0.2 % of it in a known flour.")
    return Told("none", text)


TELLERS: Mapping[str, Callable[[Result, Words], Told]] = {
    "colour": _colour,
    "extract": _extract,
    "diastatic_power": _diastatic_power,
    "conversion": _conversion,
    "falling_number": _falling_number,
}
"""By the name that a kind gives of its teller."""


def way_of(tests: Sequence[Result]) -> str:
    """How they were measured, in words; empty where nobody said."""
    methods = dict(KINDS[tests[0].kind].methods)
    return " and ".join(dict.fromkeys(methods[test.method] for test in tests if test.method in methods))
