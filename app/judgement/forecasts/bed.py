"""The bed on the kiln under changing air: the two regimes of `science.kiln_bed`, piece by piece of even air.

Columns of x: hour, hour of the tray's first weighing (none: moisture itself, and not a weight), and the tray; or, of
the air that leaves a deep bed, its rate of drying as a share of what that air could carry.
Parameters: logarithms of the constant rate and of the break point above equilibrium, both in the reference air; how
much the falling rate drags as the grain dries; what the equilibrium lies above the table's; the moisture that was
loaded. Moistures are dry basis.

With a drag of 0 the falling rate is that of Lewis, k(M − Me). A bed drags: k falls with what is left to go, in the way
of a Page law with n below 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import zip_longest
from typing import NamedTuple

import numpy as np

from app.judgement.forecasts.air import Air
from app.judgement.forecasts.band import Array
from app.science.fitting import Drift, Kernel, Model, Wander

DRAG_AT_DB = 0.2

BED, AIR_OFF = -1, -2
"""In place of a tray's number: the bed as a whole; and the air that leaves it."""

WANDERS, WANDERS_OVER_H = 0.05, 3.0
TRAY_WANDERS, TRAY_WANDERS_OVER_H = 0.04, 8.0
"""How far a bed strays from its curve, as a share of the water still to go, and over how long; and a tray from the
bed. Set on made-up beds, see the backtest: the beds of layers there stray by so much from the law of one."""

STANDS_PER_ROOT_H = 0.03
"""How far grain without heat drifts, as a share of the water still to go, for the root of the hours: a hot kiln dries
on a little, a cold one draws damp. From memory."""

PROBES_ALIKE, PROBES_OVER_H = 0.05, 24.0
"""How far two probes, and the heat that a kiln loses, shift the rate by the air, all looks alike. From memory."""

LEAST_WANDER_DB = 0.003
SETTLES_H = 2.0
_REMEMBERED = 3


class Law(NamedTuple):
    """constant: kg/kg dry basis per h; falling: 1/h, where `DRAG_AT_DB` is left to go; drag; equilibrium, dry basis."""

    constant: float
    falling: float
    drag: float
    equilibrium: float

    @property
    def turn(self) -> float:
        """What is left to go, kg/kg dry basis, at the break point."""
        return float((self.constant * DRAG_AT_DB**self.drag / self.falling) ** (1.0 / (1.0 + self.drag)))


class Grain(NamedTuple):
    """What the parameters say of the grain, in the reference air. more: equilibrium above the table's, dry basis."""

    constant: float
    falling: float
    drag: float
    more: float


def grain_of(parameters: Array) -> Grain:
    log_constant, log_break, drag, more, *_ = parameters.tolist()
    slow = min(max(drag, 1e-3), 1.5)
    constant, to_go = math.exp(min(max(log_constant, -8.0), 4.0)), math.exp(min(max(log_break, -6.0), 3.0))
    return Grain(constant, constant / (to_go * (to_go / DRAG_AT_DB) ** slow), slow, more)


def law_of(air: Air, grain: Grain) -> Law:
    """What holds in some air."""
    return Law(
        grain.constant * air.constant,
        grain.falling * air.falling,
        grain.drag,
        max(air.equilibrium_db + grain.more, 0.0),
    )


def moisture_db(pieces: Sequence[Air], hours: Array, parameters: Array) -> Array:
    """Moisture of the bed, dry basis; as loaded until the first piece begins."""
    moisture, grain = float(parameters[4]), grain_of(parameters)
    begun = []
    for air, following in zip_longest(pieces, pieces[1:]):
        law = law_of(air, grain)
        turn = law.turn
        begun.append((air.start_h, 0.0 if air.is_still else 1.0, moisture, turn, *law))
        if following is not None and not air.is_still:
            moisture = _after_one(max(following.start_h - air.start_h, 0.0), moisture, law, turn)
    rows = np.array(begun).T
    place = np.maximum(np.searchsorted(rows[0], hours, side="right") - 1, 0)
    start_h, goes, start, turn, constant, falling, drag, equilibrium = rows[:, place]
    since = goes * np.maximum(hours - start_h, 0.0)
    left = np.maximum(start - equilibrium, 1e-12)
    turn = np.minimum(left, turn)
    turn_h = (left - turn) / constant
    slowed = drag * falling / DRAG_AT_DB**drag * np.maximum(since - turn_h, 0.0)
    fallen = (turn**-drag + slowed) ** (-1.0 / drag)
    dried = equilibrium + np.where(since < turn_h, left - constant * since, fallen)
    return np.asarray(np.where(start <= equilibrium, start, dried), dtype=np.float64)


def _after_one(hours: float, moisture: float, law: Law, turn: float) -> float:
    """The same on bare numbers; grain that is drier than the air's equilibrium stays as it is."""
    left = moisture - law.equilibrium
    if left <= 0.0:
        return moisture
    turn = min(left, turn)
    turn_h = (left - turn) / law.constant
    if hours < turn_h:
        return moisture - law.constant * hours
    slowed = law.drag * law.falling / DRAG_AT_DB**law.drag * (hours - turn_h)
    return float(law.equilibrium + (turn**-law.drag + slowed) ** (-1.0 / law.drag))


def break_moisture_db(air: Air, parameters: Array) -> float:
    law = law_of(air, grain_of(parameters))
    return law.equilibrium + law.turn


def model_of(pieces: Sequence[Air]) -> Model:
    def model(x: Array, parameters: Array) -> Array:
        hours, first_hours, tray = x
        is_weight, is_air = ~np.isnan(first_hours), tray == AIR_OFF
        moistures = moisture_db(pieces, np.concatenate((hours, first_hours[is_weight])), parameters)
        now, first = moistures[: len(hours)], moistures[len(hours) :]
        now[is_weight] = (1.0 + now[is_weight]) / (1.0 + first)
        if is_air.any():
            now[is_air] = rate_shares(pieces, hours[is_air], now[is_air], parameters)
        return now

    return model


def rate_shares(pieces: Sequence[Air], hours: Array, moistures: Array, parameters: Array) -> Array:
    """The rate at these hours and moistures as a share of what the air carries before the break point."""
    grain = grain_of(parameters)
    laws = [law_of(air, grain) for air in pieces]
    place = np.maximum(np.searchsorted([air.start_h for air in pieces], hours, side="right") - 1, 0)
    turn, equilibrium = (np.array([getattr(law, name) for law in laws])[place] for name in ("turn", "equilibrium"))
    left = np.maximum(moistures - equilibrium, 0.0) / turn
    return np.asarray(np.minimum(left, 1.0) ** (1.0 + grain.drag))


def still_h(pieces: Sequence[Air], hours: Array) -> Array:
    """How long the heat has stood still by these hours."""
    stood_h = np.zeros(len(hours))
    for air, following in zip_longest(pieces, pieces[1:]):
        if air.is_still:
            end = math.inf if following is None else following.start_h
            stood_h += np.clip(hours, air.start_h, end) - air.start_h
    return stood_h


def hours_of_heat(pieces: Sequence[Air], start_h: float, end_h: float) -> float:
    """Hours between two hours in which the heat was on."""
    first, last = still_h(pieces, np.array([start_h, end_h]))
    return float(end_h - start_h - (last - first))


def _remembering(of: Callable[[Array], Array]) -> Callable[[Array], Array]:
    """of(x), remembered for the arrays last asked for: each wandering, and each side of a covariance, asks again."""
    last: list[tuple[Array, Array]] = []

    def found(x: Array) -> Array:
        nonlocal last
        value = next((value for known, value in last if known is x), None)
        if value is None:
            value = of(x)
        last = [(x, value), *[each for each in last if each[0] is not x]][:_REMEMBERED]
        return value

    return found


def kernel_of(pieces: Sequence[Air], about: Array) -> Kernel:
    """The wandering of a bed that goes about by these parameters, and of each tray about the bed, by hours of heat;
    and how far the bed may have drifted while the heat stood still.
    """

    starts = np.array([air.start_h for air in pieces])
    grain = grain_of(about)
    equilibria = np.array([law_of(air, grain).equilibrium for air in pieces])
    has_gaps = any(air.is_still for air in pieces)

    @_remembering
    def heated(x: Array) -> Array:
        return np.asarray(x[0] - still_h(pieces, x[0]) if has_gaps else x[0])

    @_remembering
    def to_go(x: Array) -> Array:
        hours, first_hours, tray = x
        place = np.clip(np.searchsorted(starts, hours, side="right") - 1, 0, len(pieces) - 1)
        moistures = moisture_db(pieces, hours, about)
        above_db = np.maximum(moistures - equilibria[place], 0.0) + LEAST_WANDER_DB / WANDERS
        above_db /= np.where(np.isnan(first_hours), 1.0, 1.0 + float(about[4]))
        if (is_air := tray == AIR_OFF).any():
            # Before the break the rate tells nothing of the moisture; after it, it strays by so much more.
            shares = rate_shares(pieces, hours[is_air], moistures[is_air], about)
            above_db[is_air] = np.where(shares < 1.0, (1.0 + grain.drag) * shares, 0.0)
        return np.asarray(above_db)

    @_remembering
    def scale(x: Array) -> Array:
        return np.asarray(-np.expm1(-np.maximum(heated(x) - starts[0], 0.0) / SETTLES_H) * to_go(x))

    def of_tray(x: Array) -> Array:
        return np.where(x[2] < 0.0, np.nan, x[2])

    def of_air(x: Array) -> Array:
        return np.where(x[2] == AIR_OFF, 1.0, np.nan)

    whole = Wander(lambda x: (heated(x), WANDERS * scale(x)), WANDERS_OVER_H)
    tray = Wander(lambda x: (heated(x), TRAY_WANDERS * scale(x)), TRAY_WANDERS_OVER_H, of_tray)
    probes = Wander(lambda x: (heated(x), np.full(x.shape[-1], PROBES_ALIKE)), PROBES_OVER_H, of_air)
    if not has_gaps:
        return Kernel((whole, tray, probes))
    return Kernel((whole, tray, probes, Drift(lambda x: still_h(pieces, x[0]), STANDS_PER_ROOT_H, to_go)))
