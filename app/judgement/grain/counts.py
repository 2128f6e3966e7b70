"""What the counts of kernels say: growth, chits, rub-outs and squeeze tests, each share with its interval."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import fmean, stdev

from app.judgement.facts.kind_parts import GROWTH_CLASSES, SET_ASIDE_CLASSES
from app.judgement.facts.shapes import Tally
from app.judgement.history.history import History
from app.science import growth as science
from app.science.control_charts import half_width_of_mean
from app.science.proportions import wilson_interval

OVERGROWN_AS = 1.125
"""What an overgrown kernel counts as in a mean from classes, in kernel lengths: a convention, printed with the mean."""


@dataclass(frozen=True)
class CountedShare:
    """So many of so many, with the 95 % interval (Wilson) of the share."""

    found: int
    n: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.found / self.n

    @property
    def half_width(self) -> float:
        """The longer arm of the interval: a Wilson interval is lopsided near 0 and 1."""
        return max(self.high - self.share, self.share - self.low)


def counted_share(found: int, n: int) -> CountedShare:
    """The share with its interval; n at least 1."""
    low, high = wilson_interval(float(found), float(n))
    return CountedShare(found, n, low, high)


@dataclass(frozen=True)
class GrowthCount:
    """Acrospires, in kernel lengths. n: kernels with a length; set_aside: looked at, but broken, mouldy or not sure.

    low, high: how low and high the mean can be, for the classes hide where in them the kernels lie (equal where each
    was measured); hidden: how far off the mean itself may be for it. mean_sd: standard uncertainty of the mean, for
    the number counted.
    """

    fact: Tally
    at: datetime
    n: int
    mean: float
    sd: float
    mean_sd: float
    low: float
    high: float
    hidden: float
    overgrown: CountedShare
    ungrown: CountedShare
    evenness: float
    set_aside: Mapping[str, int]
    is_from_lengths: bool

    @property
    def half_width(self) -> float:
        """Of the mean, 95 %: the wider the fewer were counted."""
        return half_width_of_mean(self.mean_sd * math.sqrt(self.n), self.n)


@dataclass(frozen=True)
class ShareCount:
    """One tally as shares: of each of its classes, of the kernels looked at."""

    fact: Tally
    at: datetime
    n: int
    shares: Mapping[str, CountedShare]


def growth_counts(history: History) -> tuple[GrowthCount, ...]:
    """Every growth count of which something can be said, in order of time."""
    return history.once(_growth_counts)


def _growth_counts(history: History) -> tuple[GrowthCount, ...]:
    counts = (growth_of(tally) for tally in history.of_shape(Tally, "growth_count"))
    return tuple(count for count in counts if count is not None)


def growth_of(tally: Tally, overgrown_as: float = OVERGROWN_AS) -> GrowthCount | None:
    """What a growth count says; None where fewer than two kernels have a length: one tells no spread."""
    aside = {name: tally.counts[name] for name in SET_ASIDE_CLASSES if tally.counts.get(name)}
    if tally.lengths:
        return _from_lengths(tally, tally.lengths, aside) if len(tally.lengths) > 1 else None
    classes = {name: tally.counts.get(name, 0) for name in GROWTH_CLASSES}
    n = sum(classes.values())
    if n < 2:
        return None
    mean, mean_sd = science.mean_acrospire_with_sd(classes, overgrown_as)
    low, high = science.acrospire_bounds(classes)
    return GrowthCount(
        fact=tally,
        at=tally.at,
        n=n,
        mean=mean,
        sd=science.acrospire_sd(classes, overgrown_as),
        mean_sd=mean_sd,
        low=low,
        high=high,
        hidden=science.hidden_by_classes(classes),
        overgrown=counted_share(classes["over"], n),
        ungrown=counted_share(classes["to_quarter"], n),
        evenness=science.evenness_share(classes),
        set_aside=aside,
        is_from_lengths=False,
    )


def _from_lengths(tally: Tally, lengths: Sequence[float], aside: Mapping[str, int]) -> GrowthCount:
    n, mean, sd = len(lengths), fmean(lengths), stdev(lengths)
    classes = classes_of(lengths)
    return GrowthCount(
        fact=tally,
        at=tally.at,
        n=n,
        mean=mean,
        sd=sd,
        mean_sd=sd / math.sqrt(n),
        low=mean,
        high=mean,
        hidden=0.0,
        overgrown=counted_share(classes["over"], n),
        ungrown=counted_share(classes["to_quarter"], n),
        evenness=science.evenness_share(classes),
        set_aside=aside,
        is_from_lengths=True,
    )


def classes_of(lengths: Sequence[float]) -> dict[str, int]:
    """How many lengths fall in each class; one on an edge belongs to the longer class, but exactly 1 is not over."""
    counts = dict.fromkeys(GROWTH_CLASSES, 0)
    names = tuple(GROWTH_CLASSES)
    for length in lengths:
        counts["over" if length > 1.0 else names[min(int(length / 0.25), 3)]] += 1
    return counts


def chit_counts(history: History) -> tuple[ShareCount, ...]:
    """Every chit count, in order of time; the share is under "chitted"."""
    return _share_counts(history, "chit_count", ("chitted",))


def rub_outs(history: History) -> tuple[ShareCount, ...]:
    """Every rub-out: how many ran out chalky, pasty, lumpy, or had a hard end."""
    return _share_counts(history, "rub_out", ("chalky", "pasty", "lumpy", "hard_end"))


def _share_counts(history: History, kind: str, classes: Sequence[str]) -> tuple[ShareCount, ...]:
    return tuple(shares_of(tally, classes) for tally in history.of_shape(Tally, kind))


def shares_of(tally: Tally, classes: Sequence[str]) -> ShareCount:
    """The share of each class among the kernels looked at; a class of which nothing was said is none."""
    n = tally.looked_at
    return ShareCount(tally, tally.at, n, {name: counted_share(tally.counts.get(name, 0), n) for name in classes})
