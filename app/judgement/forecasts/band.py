"""What a forecast answers with: a value or a moment, each with the 80 % interval that it lies in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Z80 = 1.2815515655446004
"""Between minus and plus this many standard uncertainties lies 80 % of a normal distribution [D]."""

Band = Callable[[Array], tuple[Array, Array, Array]]
"""At these hours: the central curve, and the lower and the upper edge of the 80 % interval."""


@dataclass(frozen=True)
class Value:
    """A forecast value. low to high: the 80 % interval. All None where nothing is known; the reason says why."""

    central: float | None
    low: float | None
    high: float | None
    reason: str = ""

    @property
    def is_known(self) -> bool:
        return self.central is not None


@dataclass(frozen=True)
class When:
    """The moment at which a target is reached, or was. low to high: the 80 % interval; None: not within sight.

    reason: why there is no moment, or why the interval has no end.
    """

    central: datetime | None
    low: datetime | None
    high: datetime | None
    target: float
    reason: str = ""

    @property
    def is_reached(self) -> bool:
        return self.central is not None

    def is_past(self, now: datetime) -> bool:
        return self.central is not None and self.central <= now


def never(target: float, reason: str) -> When:
    return When(None, None, None, target, reason)


def unknown(reason: str) -> Value:
    return Value(None, None, None, reason)


def when_reached(
    band: Band, hours: Array, target: float, zero_at: datetime, *, falls: bool = False, reason: str = ""
) -> When:
    """When the curve first comes to the target: the near edge of the band gives the soonest, the far edge the latest.

    reason: what to say where the curve, or the far edge of its band, does not come to it in these hours.
    """
    central, low, high = band(hours)
    near, far = (low, high) if falls else (high, low)
    crossings = [_first(hours, edge, target, falls) for edge in (central, near, far)]
    moments = [None if hour is None else zero_at + timedelta(hours=hour) for hour in crossings]
    is_open = crossings[0] is None or crossings[2] is None
    return When(moments[0], moments[1], moments[2], target, reason if is_open else "")


def _first(hours: Array, values: Array, target: float, falls: bool) -> float | None:
    """The hour of the first crossing, on the straight line between two hours."""
    short = (values - target) if falls else (target - values)
    inside = np.flatnonzero(short <= 0.0)
    if not len(inside):
        return None
    place = int(inside[0])
    if place == 0:
        return float(hours[0])
    before, after = short[place - 1], short[place]
    return float(hours[place - 1] + (hours[place] - hours[place - 1]) * before / (before - after))
