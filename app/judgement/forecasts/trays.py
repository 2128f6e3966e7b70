"""What was determined of the grain on the kiln: trays by their weight against their own first, and moisture tests."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from app.judgement.facts.shapes import Weighing
from app.judgement.forecasts.bed import BED
from app.judgement.grain.moisture_samples import SCALE_SD, MoistureSample, determined, net_of, tray_start, tray_step_kg
from app.judgement.grain.moisture_trays import State, is_heavier, tray_sample
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import AS_LOADED
from app.judgement.history.stages import Stage

LEAST_RATIO_SD = 0.002
"""Of a tray's weight against its first, beside the step of the scale: grain spilt or clinging, from memory."""

FILLED_BEFORE = timedelta(hours=1)
"""A tray may be filled and weighed this long before it is set on the kiln."""

STILL_AS_DRY = timedelta(hours=48)
SINCE_THEN_SD = 0.002
"""Malt left to itself for two days draws a little water; from memory."""

WEIGHED_WAYS = frozenset({"tested", "charge_weighing"})


@dataclass(frozen=True)
class Determined:
    """value: a tray's weight as a share of its first (start_h: when that was); or moisture, dry basis (start_h NaN).

    is_absolute: its dry matter was determined with it, and so it tells how moist the grain was when it was loaded. What
    goes by the dry matter that was loaded tells that again, and no more of it.
    """

    hour: float
    start_h: float
    tray: int
    value: float
    sd: float
    is_absolute: bool


@dataclass(frozen=True)
class Tray:
    """A tray as it was loaded: its first weighing, and its last.

    first_h: the hour of its first weighing. loaded_wb: the moisture of its grain then and its standard uncertainty,
    where it was loaded for an earlier heating.
    """

    name: str
    number: int
    first: Weighing
    last: Weighing
    first_h: float
    loaded_wb: tuple[float, float] | None = None

    def net_kg(self, weighing: Weighing) -> float:
        return net_of(weighing, self.first)

    @property
    def first_net_kg(self) -> float:
        return self.net_kg(self.first)

    @property
    def tare_kg(self) -> float:
        """What the scale shows beside the grain; 0 where only net weights were written down."""
        if self.first.gross_kg is None:
            return 0.0
        return self.first.gross_kg - self.first_net_kg


def trays_of(history: History, stage: Stage, green: State) -> tuple[Tray, ...]:
    """The trays of a run that were weighed as loaded, in the order of their names."""
    trays: dict[str, Tray] = {}
    for weighing in history.of_shape(Weighing, "tray"):
        is_after = stage.ends_at is not None and weighing.at > stage.ends_at
        if weighing.quality == "over_range" or is_after or weighing.at < stage.starts_at - FILLED_BEFORE:
            continue
        name = weighing.vessel or ""
        first = tray_start(history, weighing)
        if first is None or net_of(first, first) <= 0.0:
            continue
        is_of_earlier = first.at < stage.starts_at - FILLED_BEFORE
        first_h = history.hour(first.at)
        trays[name] = Tray(name, 0, first, weighing, first_h, green(first_h) if is_of_earlier else None)
    # One tray alone stands for the bed: there is nothing to tell the one from the other by.
    if len(trays) == 1:
        return tuple(replace(tray, number=BED) for tray in trays.values())
    return tuple(replace(trays[name], number=number) for number, name in enumerate(sorted(trays)))


def determined_on_kiln(
    history: History, stage: Stage, heat_at: datetime, green: State
) -> tuple[tuple[Tray, ...], list[Determined]]:
    """The trays, and everything determined of them since they were filled, and of the bed since the heat was on.

    green: the moisture that the grain had before any heat.
    """
    trays = trays_of(history, stage, green)
    by_name = {tray.name: tray for tray in trays}
    again: dict[str, Weighing] = {}
    found = []
    for weighing in history.of_shape(Weighing, "tray"):
        tray = by_name.get(weighing.vessel or "")
        if (
            tray is None
            or not tray.first.at < weighing.at <= tray.last.at
            or is_heavier(weighing, tray.first, tray.first)
        ):
            continue
        if tray.loaded_wb is None:
            found.append(_by_weight(history, heat_at, tray, tray.first, weighing))
        elif tray.name in again:
            found.append(_by_weight(history, heat_at, tray, again[tray.name], weighing))
        elif weighing.at >= stage.starts_at and (sample := tray_sample(history, weighing, green)) is not None:
            # Of a tray from an earlier heating one weighing brings the moisture along; the others only what it lost.
            again[tray.name] = weighing
            found.append(_moisture(history, sample, tray.number))
    found += [_moisture(history, each, BED) for each in _of_bed(history, stage, heat_at)]
    return trays, sorted(found, key=lambda each: (each.hour, each.tray, each.value))


def _of_bed(history: History, stage: Stage, heat_at: datetime) -> Iterator[MoistureSample]:
    """What was determined since the heat was on; and of the malt soon after, which is as dry as the heat left it."""
    heats = [fact.at for fact in history.of_kind("heat_on", "loaded") if stage.ends_at and fact.at > stage.ends_at]
    for sample in determined(history):
        if sample.at <= heat_at or sample.basis not in WEIGHED_WAYS:
            continue
        if stage.ends_at is None or sample.at <= stage.ends_at:
            yield sample
        elif sample.basis == "tested" and sample.at <= min([stage.ends_at + STILL_AS_DRY, *heats]):
            yield replace(sample, at=stage.ends_at, sd=math.hypot(sample.sd, SINCE_THEN_SD))


def _moisture(history: History, sample: MoistureSample, tray: int) -> Determined:
    dry_share = 1.0 - sample.moisture_wb
    value, sd = sample.moisture_wb / dry_share, max(sample.sd, 0.001) / dry_share**2
    return Determined(history.hour(sample.at), math.nan, tray, value, sd, sample.basis == "tested")


def _by_weight(history: History, heat_at: datetime, tray: Tray, first: Weighing, weighing: Weighing) -> Determined:
    # Soon after the heat it is as it was loaded: the curve is to begin there too, and not lower.
    start_at = min(first.at, heat_at) if first.at <= heat_at + AS_LOADED else first.at
    first_kg, now_kg = tray.net_kg(first), tray.net_kg(weighing)
    sd = math.hypot(LEAST_RATIO_SD, *(SCALE_SD * tray_step_kg(history, each) / first_kg for each in (weighing, first)))
    return Determined(history.hour(weighing.at), history.hour(start_at), tray.number, now_kg / first_kg, sd, False)
