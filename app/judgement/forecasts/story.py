"""The moisture of a batch from sack to malt, each stretch by its own law, joined where one ends and the next begins."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from app.judgement.forecasts.band import Array
from app.judgement.forecasts.drying import DryingFit, fit_drying
from app.judgement.forecasts.green import Green, Law, Stretch, between, green
from app.judgement.forecasts.hold import Hold, Told, holds
from app.judgement.forecasts.uptake import UptakeFit
from app.judgement.grain.moisture_samples import charged, determined, dry_loss, removed_dry_kg
from app.judgement.grain.moisture_trays import State
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import runs


@dataclass(frozen=True, eq=False)
class Story:
    """green: until it is heated. stretches: in order of time. runs: each load on the kiln."""

    green: Green
    stretches: tuple[Stretch, ...]
    runs: tuple[DryingFit, ...]

    @property
    def start_h(self) -> float:
        """Before it nothing is known."""
        return self.green.start_h

    @property
    def uptake(self) -> UptakeFit | None:
        return self.green.uptake

    @property
    def drying(self) -> DryingFit | None:
        """The last run on the kiln."""
        return self.runs[-1] if self.runs else None

    def law_at(self, hour: float) -> Law | None:
        """What tells the moisture at an hour; None before anything does."""
        begun = [stretch for stretch in self.stretches if stretch.start_h <= hour]
        return begun[-1].law if begun else None

    def band(self, hours: Array) -> tuple[Array, Array, Array]:
        """Moisture, wet basis: the middle, the lower and the upper edge of the 80 % interval."""
        edges = np.full((3, len(hours)), np.nan)
        ends = [each.start_h for each in self.stretches[1:]] + [math.inf]
        for stretch, end in zip(self.stretches, ends, strict=True):
            inside = (hours >= stretch.start_h) & (hours < end)
            if inside.any():
                edges[:, inside] = stretch.band(hours[inside])
        return edges[0], edges[1], edges[2]

    def wettest(self, hours: Array, central: Array, high: Array) -> tuple[Array, Array]:
        """The middle and the upper edge where the grain is wettest: on the kiln of its trays. central, high: of all."""
        middle, highest = central.copy(), high.copy()
        for run in self.runs:
            inside = (hours >= run.start_h) & (hours <= (math.inf if run.end_h is None else run.end_h))
            if len(run.trays) > 1 and inside.any():
                middle_of_trays, high_of_trays = run.wettest(hours[inside])
                middle[inside] = np.maximum(middle[inside], middle_of_trays)
                highest[inside] = np.maximum(highest[inside], high_of_trays)
        return middle, highest


def story(history: History, earlier: Story | None = None) -> Story | None:
    """None where nothing tells how moist the grain was to begin with, and there is no steep.

    earlier: the batch's story as it was fitted before, to begin from.
    """
    before = green(history, earlier.uptake if earlier is not None else None)
    if before is None:
        return None
    stretches = list(before.stretches)
    fitted = _heated(history, before, earlier.runs if earlier is not None else ())
    for drying, malt in fitted:
        stretches += [Stretch(drying.start_h, drying), *(Stretch(each.start_h, each) for each in malt)]
    return Story(before, tuple(stretches), tuple(drying for drying, _ in fitted))


def _heated(history: History, before: Green, earlier: Sequence[DryingFit]) -> list[tuple[DryingFit, list[Hold]]]:
    """Each run on the kiln, and the grain after it: until the heat comes back, or for good."""
    if not before.is_cast:
        return []
    heated = runs(history)
    found: list[tuple[DryingFit, list[Hold]]] = []
    state: State = before.state
    for place, run in enumerate(heated):
        warm = earlier[place] if place < len(earlier) else None
        drying = fit_drying(history, run, state(history.hour(run.heat_at)), before.state, warm)
        if drying is None:
            break
        malt: list[Hold] = []
        if drying.end_h is not None:
            again_h = history.hour(heated[place + 1].heat_at) if place + 1 < len(heated) else None
            start = Told(drying.end_h, *drying.state(drying.end_h))
            malt = holds(start, between(history, determined(history), drying.end_h, again_h), drifts=False)
            state = malt[-1].state
        found.append((drying, malt))
    return found


def dry_kg_at(history: History, moment: datetime) -> float | None:
    """Dry matter that is in the batch: what was charged, less what was taken out, and what steep and breath took."""
    start = charged(history, moment)
    if start is None:
        return None
    return max(start.dry_kg - removed_dry_kg(history, moment), 0.0) * (1.0 - dry_loss(history, moment))
