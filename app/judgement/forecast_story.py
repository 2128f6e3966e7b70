"""The moisture of a batch from sack to malt, each stretch by its own law, joined where one ends and the next begins."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from app.judgement.charges import grain_at
from app.judgement.facts import Action
from app.judgement.forecast_air import last_kilning
from app.judgement.forecast_band import Array, Band
from app.judgement.forecast_drying import DryingFit, fit_drying
from app.judgement.forecast_hold import Hold, Spray, hold
from app.judgement.forecast_uptake import UptakeFit, fit_uptake
from app.judgement.history import History
from app.judgement.moisture import MoistureSample, charged, dry_loss, moisture_at, removed_dry_kg, samples
from app.judgement.stages import all_stages

SPRAY_WETS_KG_PER_M3 = 998.0
START_SD = 0.002


@dataclass(frozen=True, eq=False)
class Stretch:
    """From an hour to the next stretch's."""

    start_h: float
    band: Band


@dataclass(frozen=True, eq=False)
class Story:
    """stretches: in order of time. start_h: before it nothing is known."""

    start_h: float
    stretches: tuple[Stretch, ...]
    uptake: UptakeFit | None
    drying: DryingFit | None

    def band(self, hours: Array) -> tuple[Array, Array, Array]:
        """Moisture, wet basis: the middle, the lower and the upper edge of the 80 % interval."""
        found = np.full((3, len(hours)), np.nan)
        ends = [each.start_h for each in self.stretches[1:]] + [math.inf]
        for stretch, end in zip(self.stretches, ends, strict=True):
            inside = (hours >= stretch.start_h) & (hours < end)
            if inside.any():
                found[:, inside] = stretch.band(hours[inside])
        return found[0], found[1], found[2]


def tell_story(history: History, warm: Story | None = None) -> Story | None:
    """None where nothing tells how moist the grain was to begin with, and there is no steep."""
    uptake = fit_uptake(history, warm.uptake if warm else None)
    start = grain_at(history, history.starts_at) if history.starts_at else None
    stretches: list[Stretch] = []
    start_h = 0.0
    if start is not None:
        start_h = min(history.hour(start.at), 0.0)
        dry = hold((start_h, start.moisture_wb, start.moisture_sd), (), drifts=False)
        stretches.append(Stretch(start_h, dry.band))
    if uptake is not None:
        stretches.append(Stretch(0.0, uptake.band))
    floor = _floor(history, uptake)
    if floor is not None:
        stretches.append(Stretch(floor.start_h, floor.band))
    drying = _drying(history, floor, stretches, warm)
    return Story(start_h, tuple(stretches), uptake, drying) if stretches else None


def _floor(history: History, uptake: UptakeFit | None) -> Hold | None:
    """From the cast on; or, where there was no steep here, from the first that is known."""
    if uptake is not None and uptake.end_h is None:
        return None
    known = [each for each in samples(history) if each.basis != "tray"]
    if uptake is not None and uptake.end_h is not None:
        start = (uptake.end_h, *uptake.state(uptake.end_h))
    elif known and any(stage.name != "charged" for stage in all_stages(history)):
        start = (history.hour(known[0].at), known[0].moisture_wb, max(known[0].sd, START_SD))
    else:
        return None
    again_h = _last_heat_off_h(history)
    if again_h is not None and again_h > start[0]:
        start = _known_by(history, again_h, start)
    return hold(start, list(_between(history, known, start[0], _heat_h(history))), _sprays(history, start[0]))


def _drying(history: History, floor: Hold | None, stretches: list[Stretch], warm: Story | None) -> DryingFit | None:
    """The kiln, and the malt after it."""
    heat_h = _heat_h(history)
    if floor is None or heat_h is None:
        return None
    drying = fit_drying(history, floor.state(heat_h), warm.drying if warm else None)
    if drying is None:
        return None
    stretches.append(Stretch(drying.start_h, drying.band))
    if drying.end_h is not None:
        start = (drying.end_h, *drying.state(drying.end_h))
        known = [each for each in samples(history) if each.basis != "tray"]
        malt = hold(start, list(_between(history, known, drying.end_h, None)), drifts=False)
        stretches.append(Stretch(drying.end_h, malt.band))
    return drying


def _heat_h(history: History) -> float | None:
    run = last_kilning(history)
    return history.hour(run[1]) if run else None


def _last_heat_off_h(history: History) -> float | None:
    """Where the grain was on the kiln more than once: the end of the last run but one."""
    runs = [stage for stage in all_stages(history) if stage.name == "kilning"]
    ended = runs[-2].ends_at if len(runs) > 1 else None
    return None if ended is None else history.hour(ended)


def _known_by(history: History, hour: float, start: tuple[float, float, float]) -> tuple[float, float, float]:
    before = [each for each in samples(history) if history.hour(each.at) <= hour]
    known = moisture_at(history, before[-1].at) if before else None
    return (hour, known.moisture_wb, max(known.sd, START_SD)) if known else (hour, *start[1:])


def _between(
    history: History, known: Sequence[MoistureSample], start_h: float, end_h: float | None
) -> Iterable[tuple[float, float, float]]:
    for each in known:
        hour = history.hour(each.at)
        if each.basis != "charged" and start_h < hour and (end_h is None or hour <= end_h):
            yield hour, each.moisture_wb, each.sd


def _sprays(history: History, start_h: float) -> list[Spray]:
    start = charged(history)
    found = []
    for action in history.of_shape(Action, "sprinkled"):
        if history.hour(action.at) < start_h:
            continue
        lift = None
        if action.amount is not None and start is not None and start.dry_kg > 0.0:
            # Of each kg of water on 1 kg of dry matter at about 43 %, moisture rises by (1 − M)².
            lift = action.amount * SPRAY_WETS_KG_PER_M3 / start.dry_kg * (1.0 - 0.43) ** 2
        found.append(Spray(history.hour(action.at), lift))
    return found


def dry_kg_at(history: History, moment: datetime) -> float | None:
    """Dry matter that is in the batch: what was charged, less what was taken out, and what steep and breath took."""
    start = charged(history, moment)
    if start is None:
        return None
    return max(start.dry_kg - removed_dry_kg(history, moment), 0.0) * (1.0 - dry_loss(history, moment))
