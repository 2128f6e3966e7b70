"""One thing that goes past its limit if nobody looks, and one of which that can't be said."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.band import Z80, When
from app.judgement.programmes.programme import Limit, provenance
from app.judgement.wording import Words
from app.science import units
from app.science.left_alone import Warming


class Clock(NamedTuple):
    """Since when, and for how many hours at the most; then, out of range."""

    since: datetime
    wanted_h: float
    longest_h: float


class Slope(NamedTuple):
    """A line through readings that comes to a limit, °C; last: the last of them."""

    line: Warming
    limit_c: float
    last: Reading


@dataclass(frozen=True)
class Watch:
    """safe_at: the lower bound, by which somebody should be back. likely_at: when it most likely goes past; None where
    nothing says that it does. method: the formula or section behind it. is_estimate: from readings or a forecast, and
    not by the clock alone. by: what it is reckoned from; None of a forecast.
    """

    key: str
    what: str
    safe_at: datetime
    likely_at: datetime | None
    why: str
    basis: str
    method: str
    is_estimate: bool
    by: Clock | Slope | None = None

    def is_over(self, now: datetime) -> bool:
        """Whether it has most likely gone past already."""
        return self.likely_at is not None and self.likely_at <= now


@dataclass(frozen=True)
class Gap:
    """What can't be said, what to record so that it can, and the entry to do it with."""

    key: str
    what: str
    record: str
    kind: str


def clock_watch(
    key: str, what: str, since: datetime, limit: Limit | None, words: Words, began: str, hours_each: float = 1.0
) -> Watch | None:
    """Something that may last so long: safe_at is its first upper bound, likely_at the next graver one."""
    highs = list(_highs(limit)) if limit is not None else []
    if not highs:
        return None
    bounds = [since + timedelta(hours=high * hours_each) for high, _ in highs]
    last = min(1, len(highs) - 1)
    more = f", {words.span(highs[1][0] * hours_each)} is out of range" if last else ""
    return Watch(
        key=key,
        what=what,
        safe_at=bounds[0],
        likely_at=bounds[last],
        why=f"{began} since {words.clock(since)}; {words.span(highs[0][0] * hours_each)} at most{more}",
        basis=f"the clock; the limit: {highs[last][1]}",
        method="hours",
        is_estimate=False,
        by=Clock(since, highs[0][0] * hours_each, highs[last][0] * hours_each),
    )


def _highs(limit: Limit) -> Iterator[tuple[float, str]]:
    for severity, _, high in limit.bands():
        if high is not None:
            yield high, provenance(*limit.origin(severity))


def forecast_watch(key: str, what: str, when: When, now: datetime, why: str, source: str, method: str) -> Watch | None:
    """A forecast that comes to its limit. Its interval holds 80 %; somebody asleep wants the lower 95 % bound."""
    soonest = when.low or when.central
    if soonest is None:
        return None
    if when.central is not None and now < soonest < when.central:
        # The time left is widened as a ratio: from now on it can't be less than nothing.
        soonest = now + (soonest - now) * ((soonest - now) / (when.central - now)) ** (2.0 / Z80 - 1.0)
    return Watch(key, what, soonest, when.central, why, _rests(source), method, True)


def _rests(source: str) -> str:
    return f"the forecast from this batch’s own readings; the limit: {source}"


def bound_of(limit: Limit, *, is_high: bool) -> tuple[float, str] | None:
    """The bound that counts as out of range, with its source: the caution's; if none, act's; if none, the target's."""
    for severity in ("caution", "act", "notice"):
        low, high = next((low, high) for name, low, high in limit.bands() if name == severity)
        value = high if is_high else low
        if value is not None:
            return value, provenance(*limit.origin(severity))
    return None


def rate_words(words: Words, per_h: float, half_width: float | None = None) -> str:
    """Degrees an hour; two places, since a bed moves slowly."""
    unit = words.unit("temperature")
    shown = f"{units.difference_from_si(per_h, unit):.2f}"
    if half_width is not None:
        shown += f" ± {units.difference_from_si(half_width, unit):.2f}"
    return f"{shown} {units.UNITS[unit].symbol} an hour"
