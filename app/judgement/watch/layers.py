"""How wet grain may be where it was read: a deep bed dries from the air side, and its driest layer is its hottest.

Wet grain stands near the wet bulb of the air, so that a layer which reads close to the air-on is dry, however wet the
bed is; and one that does not is still wet, however dry the bed is. At the air side itself grain is as hot as the air at
once, and its heat tells nothing. Nor is grain that still warms after its air was raised wet because it lags.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.air_off import air_on_at
from app.judgement.forecasts.drying import DryingFit
from app.judgement.forecasts.moisture import Estimate, charged, drying_of, judged_wb, moisture_at
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import run_at
from app.science.drying import left_by_rate_share, rate_share_by_air
from app.science.humid_air import wet_bulb_c

BEYOND_AIR_SIDE = ("top", "upper", "surface", "middle", "centre", "center")
"""Places that the air comes to through other grain, by a word in their names."""

CLOSE_SHARE = 0.1
"""A layer this near to the air-on, of its way from the wet bulb, is no wetter than the bed: from memory."""

ON_TRAYS = 0.4
"""Trays that hold this share of the dry matter charged, or half of a split batch, are the kiln, and no samples of a
bed: the scale tells how wet the wettest of them is, and walls that lose heat don't. From memory."""

WARMS_FOR_H, RAISED_BY_C = 1.0, 5.0
"""Grain comes to the heat of hotter air within an hour: from memory."""

DRAGS_AT_MOST = 0.7
"""A standard uncertainty above the drag of the drying prior: then the most water is left at a rate."""


OfBed = Callable[[Estimate | None], float]
"""Which moisture of a bed it is judged by: judged_wb or edge_wb."""


def as_read(history: History, reading: Reading, now: datetime | None = None, of_bed: OfBed = judged_wb) -> float:
    """The moisture, wet basis, by which the heat of grain is judged that was read; by what is known of the bed now,
    where that is given."""
    bed = of_bed(moisture_at(history, now or reading.at))
    return _where_read(history, reading.at, reading.place, reading.value or 0.0, bed)


def _where_read(history: History, moment: datetime, place: str | None, grain_c: float, bed: float) -> float:
    layer = _layer(history, moment, place, grain_c)
    if layer is None:
        return bed
    most, likely = layer
    return min(most, max(bed, likely))


def _layer(history: History, moment: datetime, place: str | None, grain_c: float) -> tuple[float, float] | None:
    """The most that it may hold and what it most likely holds at the least, wet basis; None where its heat tells
    nothing."""
    if not any(word in (place or "").lower() for word in BEYOND_AIR_SIDE):
        return None
    run = run_at(history, moment)
    if run is None or not run.covers(moment):
        return None
    drying = drying_of(history, run)
    on_c = air_on_at(history, run, moment)
    if (
        drying is None
        or on_c is None
        or _is_on_trays(history, drying)
        or not any(each.hour <= history.hour(moment) for each in drying.rates)
    ):
        return None
    air = drying.air.at(history.hour(moment))
    share = float(rate_share_by_air(on_c, grain_c, float(wet_bulb_c(on_c, air.relative_humidity))))
    drag = float(drying.posterior.parameters[2])
    most, likely = (_held(drying, share, air.equilibrium_db, each) for each in (max(drag, DRAGS_AT_MOST), drag))
    still_warms = drying.air.at(history.hour(moment) - WARMS_FOR_H).temperature_c < air.temperature_c - RAISED_BY_C
    return most, 0.0 if share <= CLOSE_SHARE or still_warms else likely


def _is_on_trays(history: History, drying: DryingFit) -> bool:
    """Whether what was weighed on trays is most of what was charged."""
    whole = charged(history)
    weighed = sum(tray.first_net_kg * (1.0 - drying.first_wb(tray)[0]) for tray in drying.trays)
    return whole is not None and weighed >= ON_TRAYS * whole.dry_kg


def _held(drying: DryingFit, share: float, equilibrium_db: float, drag: float) -> float:
    """A layer that begins to dry more slowly at once holds the most that it can at its rate."""
    loaded_wb, sd = drying.loaded_wb
    loaded = (loaded_wb + 2.0 * sd) / (1.0 - loaded_wb - 2.0 * sd)
    left = equilibrium_db + float(left_by_rate_share(share, max(drag, 0.0))) * max(loaded - equilibrium_db, 0.0)
    return left / (1.0 + left)
