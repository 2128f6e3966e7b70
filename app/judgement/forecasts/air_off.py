"""What the air that leaves a deep bed tells: while it leaves full, the bed dries as fast as the air can carry.

A tray lets most of the air by, and its air-off says nothing of its rate. A bed is deep where the air was seen to leave
it nearly full.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from statistics import median

from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.air import HOTTEST_C, KilnAir
from app.judgement.forecasts.bed import AIR_OFF
from app.judgement.forecasts.course import is_usable
from app.judgement.forecasts.trays import Determined
from app.judgement.history.history import History, hours_between
from app.judgement.history.kiln_runs import Run
from app.science.drying import rate_share_by_air
from app.science.humid_air import wet_bulb_c

SETTLES_H = 1.0
"""Of heat since it first came on: in it the bed itself is warmed, and not only dried. From memory."""

FULL_SHARE, PLATEAU_LOOKS = 0.8, 3
"""Air that has lost this share of what it could lose, the middle of the first three looks, leaves a deep bed."""

TRAY_DEPTH_M = 0.08
"""No deeper than this is a tray: common practice."""

RATE_SD = 0.15
"""Of one look: two degrees of thirty by thermostat and probes, and a bed of layers that does not dry as one. From
memory, and set on the first set of simulated beds."""

SAME_LOOK = timedelta(minutes=30)
HOT_C = 30.0


def rates_by_air(history: History, run: Run, air: KilnAir) -> tuple[Determined, ...]:
    """By each look at both airs since the bed had settled, its rate as a share of that on the plateau, about 0 to 1.

    None where the bed is a tray, or no plateau was seen.
    """
    if _is_tray(history, run):
        return ()
    looks = [look for each in _read(history, run, "air_off_temperature") if (look := _look(history, run, air, each))]
    plateau = median(share for _, share in looks[:PLATEAU_LOOKS]) if len(looks) >= PLATEAU_LOOKS else 0.0
    if plateau < FULL_SHARE:
        return ()
    return tuple(Determined(hour, math.nan, AIR_OFF, share / plateau, RATE_SD, False) for hour, share in looks)


def _look(history: History, run: Run, air: KilnAir, off: Reading) -> tuple[float, float] | None:
    on_c = air_on_at(history, run, off.at)
    if on_c is None or off.value is None or run.hours_of_heat(run.heat_at, off.at) < SETTLES_H:
        return None
    hour = history.hour(off.at)
    wet_c = float(wet_bulb_c(on_c, air.at(hour).relative_humidity))
    return hour, float(rate_share_by_air(on_c, off.value, wet_c))


def air_on_at(history: History, run: Run, moment: datetime) -> float | None:
    """Into the grain, as read nearest to a moment and in the same look, and hot enough to dry."""
    on = _read(history, run, "air_on_temperature")
    nearest = min(on, key=lambda each: abs(each.at - moment), default=None)
    if nearest is None or nearest.value is None or abs(nearest.at - moment) > SAME_LOOK:
        return None
    return nearest.value if HOT_C <= nearest.value <= HOTTEST_C else None


def _read(history: History, run: Run, kind: str) -> list[Reading]:
    return [
        each
        for each in history.readings(kind)
        if is_usable(each) and run.heat_at <= each.at and run.covers(each.at) and not run.is_without_heat(each.at)
    ]


def _is_tray(history: History, run: Run) -> bool:
    """As its depth was written down when it was loaded, or since."""
    loaded_at = run.stage.starts_at
    depths = [
        each.value
        for each in history.readings("bed_depth")
        if each.value is not None and run.covers(each.at) and hours_between(loaded_at, each.at) >= 0.0
    ]
    return bool(depths) and depths[-1] <= TRAY_DEPTH_M
