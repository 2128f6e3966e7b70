"""The bed on the kiln under changing air: the two regimes of `science.kiln_bed`, piece by piece of even air.

Columns of x: hour, hour of the tray's first weighing (none: moisture itself, and not a weight), and the tray.
Parameters: logarithms of the constant rate and of the falling rate in the reference air, what the equilibrium lies
above the table's, and the moisture that was loaded; moistures dry basis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import zip_longest

import numpy as np

from app.judgement.forecast_air import Air
from app.judgement.forecast_band import Array
from app.judgement.forecast_fit import Kernel, Model, Wander

BED = -1
"""In place of a tray's number: the bed as a whole."""

WANDERS, WANDERS_OVER_H = 0.05, 3.0
TRAY_WANDERS, TRAY_WANDERS_OVER_H = 0.06, 8.0
"""How far a bed strays from its curve, as a share of the water still to go, and over how long; and a tray from the
bed. From memory, tried on made-up lots and the demo's batches: see the backtest."""

LEAST_WANDER_DB = 0.006
SETTLES_H = 2.0


def rates(air: Air, parameters: Array) -> tuple[float, float, float]:
    """kg/kg dry basis per h, 1/h, and the equilibrium moisture, dry basis, in some air."""
    log_constant, log_falling, more = (float(each) for each in parameters[:3])
    constant = math.exp(min(max(log_constant, -8.0), 4.0)) * air.constant
    falling = math.exp(min(max(log_falling, -6.0), 4.0)) * air.falling
    return constant, falling, max(air.equilibrium_db + more, 0.0)


def moisture_db(pieces: Sequence[Air], hours: Array, parameters: Array) -> Array:
    """Moisture of the bed, dry basis; as loaded until the first piece begins."""
    moisture = float(parameters[3])
    begun = []
    for air, following in zip_longest(pieces, pieces[1:]):
        law = rates(air, parameters)
        begun.append((air.start_h, moisture, *law))
        if following is not None:
            moisture = _after_one(max(following.start_h - air.start_h, 0.0), moisture, *law)
    rows = np.array(begun).T
    place = np.searchsorted(rows[0], hours, side="right") - 1
    start_h, start, constant, falling, equilibrium = rows[:, np.maximum(place, 0)]
    since = np.maximum(hours - start_h, 0.0)
    turn = np.minimum(start, np.maximum(equilibrium + constant / falling, equilibrium))
    turn_h = (start - turn) / constant
    fallen = equilibrium + (turn - equilibrium) * np.exp(-falling * np.maximum(since - turn_h, 0.0))
    return np.where(start <= equilibrium, start, np.where(since < turn_h, start - constant * since, fallen))


def _after_one(hours: float, moisture: float, constant: float, falling: float, equilibrium: float) -> float:
    """As `science.kiln_bed.moisture_after_db`, on bare numbers; grain that is drier than the air's stays as it is."""
    if moisture <= equilibrium:
        return moisture
    turn = min(moisture, equilibrium + constant / falling)
    turn_h = (moisture - turn) / constant
    if hours < turn_h:
        return moisture - constant * hours
    return equilibrium + (turn - equilibrium) * math.exp(-falling * (hours - turn_h))


def break_moisture_db(air: Air, parameters: Array) -> float:
    constant, falling, equilibrium = rates(air, parameters)
    return equilibrium + constant / falling


def model_of(pieces: Sequence[Air]) -> Model:
    def model(x: Array, parameters: Array) -> Array:
        hours, first_hours, _ = x
        is_weight = ~np.isnan(first_hours)
        found = moisture_db(pieces, np.concatenate((hours, first_hours[is_weight])), parameters)
        now, first = found[: len(hours)], found[len(hours) :]
        now[is_weight] = (1.0 + now[is_weight]) / (1.0 + first)
        return now

    return model


def kernel_of(pieces: Sequence[Air], about: Array) -> Kernel:
    """The wandering of a bed that goes about by these parameters, and of each tray about the bed."""

    starts = np.array([air.start_h for air in pieces])
    equilibria = np.array([rates(air, about)[2] for air in pieces])

    def scale(x: Array) -> Array:
        hours, first_hours, _ = x
        place = np.clip(np.searchsorted(starts, hours, side="right") - 1, 0, len(pieces) - 1)
        settled = -np.expm1(-np.maximum(hours - starts[0], 0.0) / SETTLES_H)
        to_go = np.maximum(moisture_db(pieces, hours, about) - equilibria[place], 0.0) + LEAST_WANDER_DB / WANDERS
        return np.asarray(settled * to_go / np.where(np.isnan(first_hours), 1.0, 1.0 + float(about[3])))

    def of_tray(x: Array) -> Array:
        return np.where(x[2] == BED, np.nan, x[2])

    whole = Wander(lambda x: (x[0], WANDERS * scale(x)), WANDERS_OVER_H)
    return Kernel((whole, Wander(lambda x: (x[0], TRAY_WANDERS * scale(x)), TRAY_WANDERS_OVER_H, of_tray)))
