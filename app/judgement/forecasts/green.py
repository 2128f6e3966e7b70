"""The moisture of a batch until it is heated: dry grain, the steep, and the floor."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from app.judgement.facts.shapes import Action
from app.judgement.forecasts.band import Z80, Array
from app.judgement.forecasts.hold import Hold, Spray, Told, hold, holds
from app.judgement.forecasts.uptake import UptakeFit, fit_uptake
from app.judgement.grain.charges import grain_at
from app.judgement.grain.moisture_samples import MoistureSample, charged, determined, merged
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import runs
from app.judgement.history.stages import all_stages

SPRAY_WETS_KG_PER_M3 = 998.0
START_SD = 0.002


class Law(Protocol):
    """What tells the moisture of a stretch."""

    def band(self, hours: Array) -> tuple[Array, Array, Array]: ...


@dataclass(frozen=True, eq=False)
class Stretch:
    """From an hour to the next stretch's."""

    start_h: float
    law: Law

    def band(self, hours: Array) -> tuple[Array, Array, Array]:
        return self.law.band(hours)


@dataclass(frozen=True, eq=False)
class Green:
    """stretches: in order of time. start_h: before it nothing is known. is_cast: no more water is taken up."""

    start_h: float
    stretches: tuple[Stretch, ...]
    uptake: UptakeFit | None
    is_cast: bool

    def state(self, hour: float) -> tuple[float, float]:
        """Moisture at an hour, wet basis, and its standard uncertainty; before all of it, that of the first hour."""
        at = max(hour, self.start_h)
        begun = [stretch for stretch in self.stretches if stretch.start_h <= at]
        central, low, high = (begun or self.stretches)[-1].band(np.array([at]))
        return float(central[0]), float(high[0] - low[0]) / (2.0 * Z80)


def green(history: History, earlier: UptakeFit | None = None) -> Green | None:
    """None where nothing tells how moist the grain was to begin with, and there is no steep.

    earlier: the uptake as it was fitted before, to begin from.
    """
    uptake = fit_uptake(history, earlier)
    start = grain_at(history, history.starts_at) if history.starts_at else None
    stretches: list[Stretch] = []
    if start is not None:
        start_h = min(history.hour(start.at), 0.0)
        dry = hold(Told(start_h, start.moisture_wb, start.moisture_sd), (), drifts=False)
        stretches.append(Stretch(start_h, dry))
    if uptake is not None:
        stretches.append(Stretch(0.0, uptake))
    floor = _floor(history, uptake)
    stretches += [Stretch(each.start_h, each) for each in floor]
    return Green(stretches[0].start_h, tuple(stretches), uptake, bool(floor)) if stretches else None


def _floor(history: History, uptake: UptakeFit | None) -> list[Hold]:
    """From the cast on; or, where there was no steep here, from the first that is known."""
    samples = determined(history)
    if uptake is not None:
        if uptake.end_h is None:
            return []
        start = Told(uptake.end_h, *uptake.state(uptake.end_h), uptake.shared_wb(uptake.end_h))
    elif samples:
        first = samples[0]
        start = Told(history.hour(first.at), first.moisture_wb, max(first.sd, START_SD), first.shared_sd)
    else:
        return []
    heated = runs(history)
    heat_h = history.hour(heated[0].heat_at) if heated else None
    is_going_on = any(stage.name != "charged" for stage in all_stages(history))
    return holds(start, between(history, samples, start.hour, heat_h), _sprays(history, start.hour), drifts=is_going_on)


def between(history: History, samples: Iterable[MoistureSample], start_h: float, end_h: float | None) -> Sequence[Told]:
    """What was determined after an hour, and up to another."""
    hours = [(history.hour(each.at), each) for each in merged(samples) if each.basis != "charged"]
    return [
        Told(hour, each.moisture_wb, each.sd, each.shared_sd)
        for hour, each in hours
        if start_h < hour <= _or_ever(end_h)
    ]


def _or_ever(hour: float | None) -> float:
    return float("inf") if hour is None else hour


def _sprays(history: History, start_h: float) -> list[Spray]:
    start = charged(history)
    sprays = []
    for action in history.of_shape(Action, "sprinkled"):
        if history.hour(action.at) < start_h:
            continue
        lift = None
        if action.amount is not None and start is not None and start.dry_kg > 0.0:
            # Of each kg of water on 1 kg of dry matter at about 43 %, moisture rises by (1 − M)².
            lift = action.amount * SPRAY_WETS_KG_PER_M3 / start.dry_kg * (1.0 - 0.43) ** 2
        sprays.append(Spray(history.hour(action.at), lift))
    return sprays
