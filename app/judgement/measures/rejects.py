"""What floated: the rejects of float tests and of the skimming, by weight on the dry basis or by count.

Light corn, not dead corn: it floats for the air it holds, and husked oats always do.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.judgement.facts.shapes import Fact, Tally, Weighing
from app.judgement.forecasts.moisture import Charged, charged, dry_kg_of, is_of_whole_charge, scale_step_kg
from app.judgement.grain.counts import counted_share
from app.judgement.history.history import History
from app.science.moisture import resolution_sd

WET_MOISTURE_SD = 0.05
"""How far the moisture of wet skimmings may be from what is taken for it, from memory: ± 10 points."""

WAYS = {"drained": "drained", "blotted": "blotted", "dried": "dried"}


@dataclass(frozen=True)
class Rejects:
    """A share of what was floated, with its 95 % interval. basis: weight (dry matter) or count; way: in words.

    n: kernels, where they were counted. is_whole: of the whole charge and not of a sample of it.
    """

    share: float
    low: float
    high: float
    basis: str
    way: str
    at: datetime
    facts: tuple[Fact, ...]
    n: int | None = None
    is_whole: bool = False
    is_estimate: bool = False

    @property
    def half_width(self) -> float:
        return max(self.high - self.share, self.share - self.low)


def float_tests(facts: Iterable[Fact]) -> tuple[Rejects, ...]:
    """The float tests by count among these facts, of a batch or of a lot, in their order."""
    return tuple(
        _by_count(fact) for fact in facts if isinstance(fact, Tally) and fact.kind == "float_count" and fact.looked_at
    )


def rejects(history: History, now: datetime | None = None) -> tuple[Rejects, ...]:
    """Everything known of what floated in this batch, by time. Skimmings of the whole charge are one: their sum."""
    facts = [fact for fact in history.facts if now is None or fact.at <= now]
    told = list(float_tests(facts))
    start = charged(history, now)
    if start is not None:
        skimmings = [
            fact for fact in facts if isinstance(fact, Weighing) and fact.kind == "skimmings" and fact.at >= start.at
        ]
        whole = [skimming for skimming in skimmings if is_of_whole_charge(history, skimming)]
        samples = [[skimming] for skimming in skimmings if skimming not in whole and skimming.of_kg]
        told += [_by_weight(history, start, group) for group in ([whole] if whole else []) + samples]
    return tuple(sorted(told, key=lambda each: each.at))


def reject_share(history: History, now: datetime | None = None) -> Rejects | None:
    """The one share to show: of the whole charge by weight where it was skimmed, else the kernels counted, together."""
    told = rejects(history, now)
    whole = [each for each in told if each.is_whole]
    if whole:
        return whole[-1]
    counted = [fact for each in told if each.basis == "count" for fact in each.facts if isinstance(fact, Tally)]
    if counted:
        return _of_counts(counted)
    return told[-1] if told else None


def _by_count(tally: Tally) -> Rejects:
    return _of_counts([tally])


def _of_counts(tallies: Sequence[Tally]) -> Rejects:
    floated, n = sum(tally.counts.get("floated", 0) for tally in tallies), sum(tally.looked_at for tally in tallies)
    share = counted_share(floated, n)
    return Rejects(
        share.share, share.low, share.high, "count", f"{floated} of {n} kernels", tallies[-1].at, tuple(tallies), n
    )


def _by_weight(history: History, start: Charged, group: Sequence[Weighing]) -> Rejects:
    """Skimmings over the grain they were taken from, both as dry matter; wet ones at a moisture taken for them."""
    is_whole = is_of_whole_charge(history, group[0])
    of_dry_kg = start.dry_kg if is_whole else (group[0].of_kg or 0.0) * (1.0 - start.moisture_wb)
    dry_kg = sum(dry_kg_of(history, each) for each in group)
    sd_kg = math.hypot(*(skimmings_sd_kg(start, each) for each in group))
    share, reach = dry_kg / of_dry_kg, 2.0 * sd_kg / of_dry_kg
    ways = sorted({WAYS.get(each.method or "", "wet or dry not said") for each in group})
    return Rejects(
        share=share,
        low=max(share - reach, 0.0),
        high=min(share + reach, 1.0),
        basis="weight",
        way=f"weighed {' and '.join(ways)}, on the dry basis of the charge",
        at=group[-1].at,
        facts=tuple(group),
        is_whole=is_whole,
        is_estimate=any(is_moisture_assumed(each) or each.quality == "estimated" for each in group),
    )


def skimmings_sd_kg(start: Charged, weighing: Weighing) -> float:
    """Standard uncertainty of the dry matter in skimmings: of the scale, and of the moisture taken for wet ones."""
    moisture_sd = WET_MOISTURE_SD if is_moisture_assumed(weighing) else start.moisture_sd
    return math.hypot(resolution_sd(scale_step_kg(weighing)), weighing.net_kg * moisture_sd)


def is_moisture_assumed(weighing: Weighing) -> bool:
    """Whether what was weighed was wet, and nobody measured how wet."""
    return weighing.moisture_wb is None and weighing.method not in ("dried", "as_is")
