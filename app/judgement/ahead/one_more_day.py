"""What one more day on the floor costs, and what it brings: dry matter against acrospire and overgrown kernels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement.batch_at import batch_at
from app.judgement.forecasts.asking import acrospire
from app.judgement.forecasts.band import Value
from app.judgement.forecasts.story import dry_kg_at
from app.judgement.grain.counts import GrowthCount, growth_counts
from app.judgement.grain.losses import RELATIVE_SD, losses_between, rootlet_share
from app.judgement.history.history import History
from app.judgement.programmes.programme import Limit
from app.science.left_alone import dry_matter_lost_kg_with_sd, overgrown_after, overgrown_lengths_after
from app.science.proportions import wilson_interval

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Cost:
    """Dry matter that goes in the day, kg. half_width: of the total, 95 %; share: of what there is now."""

    dry_kg: float
    respired_kg: float
    rootlets_kg: float
    half_width_kg: float

    @property
    def lost_kg(self) -> float:
        return self.respired_kg + self.rootlets_kg

    @property
    def share(self) -> float:
        return self.lost_kg / self.dry_kg if self.dry_kg > 0.0 else 0.0


@dataclass(frozen=True)
class Overgrown:
    """The share of kernels longer than the kernel, now and in a day, each with its interval."""

    now: Value
    then: Value


@dataclass(frozen=True)
class OneMoreDay:
    """What is not known is None, and `missing` says what to record. target: of the mean acrospire.

    verdict: gains (still short of the target), inside (in it until then), passes (leaves it within the day), past
    (has left it), unknown.
    """

    now: datetime
    cost: Cost | None
    mean_now: Value
    mean_then: Value
    overgrown: Overgrown | None
    counted: GrowthCount | None
    target: Limit | None
    verdict: str
    missing: tuple[tuple[str, str], ...]

    @property
    def gain(self) -> float | None:
        """Kernel lengths that the mean grows in the day."""
        if self.mean_now.central is None or self.mean_then.central is None:
            return None
        return self.mean_then.central - self.mean_now.central


def one_more_day(history: History, now: datetime) -> OneMoreDay | None:
    """None where the batch is not on the floor: there is no day to add."""
    batch = batch_at(history, now)
    history, stage, programme, learned = batch.history, batch.stage, batch.programme, batch.fitted
    if stage is None or stage.name != "germination":
        return None
    target = programme.limit("acrospire") if programme else None
    mean_now, mean_then = acrospire(learned, now), acrospire(learned, now + DAY)
    cost = _cost(history, now)
    counts = [count for count in growth_counts(history) if stage.starts_at <= count.at <= now]
    counted = counts[-1] if counts else None
    missing = [] if cost else [("charge", "what was charged, with its moisture, for the dry matter")]
    if counted is None:
        missing.append(("growth_count", "a growth count, for the share that is overgrown"))
    overgrown = _overgrown(counted, acrospire(learned, counted.at), mean_now, mean_then) if counted else None
    verdict = _verdict(target, mean_now, mean_then)
    return OneMoreDay(now, cost, mean_now, mean_then, overgrown, counted, target, verdict, tuple(missing))


def _cost(history: History, now: datetime) -> Cost | None:
    dry_kg = dry_kg_at(history, now)
    if dry_kg is None or dry_kg <= 0.0:
        return None
    left = max(1.0 - losses_between(history, history.starts_at or now, now).total, 0.5)
    shares = {
        "respiration": losses_between(history, now, now + DAY).respiration,
        "rootlet": (rootlet_share(history, now + DAY) - rootlet_share(history, now)) / left,
    }
    _, sd = dry_matter_lost_kg_with_sd(dry_kg, shares, RELATIVE_SD)
    return Cost(dry_kg, dry_kg * shares["respiration"], dry_kg * shares["rootlet"], 2.0 * sd)


def _overgrown(counted: GrowthCount, at_count: Value, mean_now: Value, mean_then: Value) -> Overgrown | None:
    if at_count.central is None or mean_now.central is None or mean_then.central is None:
        return None
    return Overgrown(_shifted(counted, at_count.central, mean_now), _shifted(counted, at_count.central, mean_then))


def _shifted(counted: GrowthCount, from_mean: float, to: Value) -> Value:
    """The last count moved along as the forecast moves its mean; the interval holds the growth's and the count's."""
    assert to.central is not None
    share_after = _share_after(counted)
    central = share_after(max(to.central - from_mean, 0.0))
    low, high = (
        share_after(max((to.central if edge is None else edge) - from_mean, 0.0)) for edge in (to.low, to.high)
    )
    lowest, _ = wilson_interval(low * counted.n, float(counted.n))
    _, highest = wilson_interval(high * counted.n, float(counted.n))
    return Value(central, min(lowest, central), max(highest, central))


def _share_after(counted: GrowthCount) -> Callable[[float], float]:
    fact = counted.fact
    if counted.is_from_lengths:
        return lambda gain: overgrown_lengths_after(fact.lengths, gain)
    return lambda gain: overgrown_after(fact.counts, gain)


def _verdict(target: Limit | None, mean_now: Value, mean_then: Value) -> str:
    if target is None or target.target_low is None or target.target_high is None:
        return "unknown"
    if mean_now.central is None or mean_then.central is None:
        return "unknown"
    if mean_now.central > target.target_high:
        return "past"
    if mean_then.central > target.target_high:
        return "passes"
    return "gains" if mean_now.central < target.target_low else "inside"
