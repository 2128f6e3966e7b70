"""What was determined of the grain on the kiln: trays by their weight against their own first, and moisture tests."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from app.judgement.facts import Weighing
from app.judgement.forecast_bed import BED
from app.judgement.history import History
from app.judgement.moisture import net_of, samples, scale_step_kg, tray_start
from app.judgement.stages import Stage
from app.science.moisture import resolution_sd

LEAST_RATIO_SD = 0.002
"""Of a tray's weight against its first, beside the step of the scale: grain spilt or clinging, from memory."""

FILLED_BEFORE = timedelta(hours=1)
"""A tray may be filled and weighed this long before it is set on the kiln."""

WEIGHED_WAYS = frozenset({"tested", "charge_weighing"})


@dataclass(frozen=True)
class Determined:
    """value: a tray's weight as a share of its first (start_h: when that was); or moisture, dry basis (start_h NaN)."""

    hour: float
    start_h: float
    tray: int
    value: float
    sd: float


@dataclass(frozen=True)
class Tray:
    """A tray as it was loaded: its first weighing, and its last."""

    name: str
    number: int
    first: Weighing
    last: Weighing

    @property
    def first_net_kg(self) -> float:
        return net_of(self.first, self.first)

    @property
    def tare_kg(self) -> float:
        """What the scale shows beside the grain; 0 where only net weights were written down."""
        if self.first.gross_kg is None:
            return 0.0
        return self.first.gross_kg - self.first_net_kg


def trays_of(history: History, stage: Stage) -> tuple[Tray, ...]:
    """The trays of a run that were weighed as loaded, in the order of their names."""
    found: dict[str, Tray] = {}
    for weighing in history.of_shape(Weighing, "tray"):
        is_after = stage.ends_at is not None and weighing.at > stage.ends_at
        if weighing.quality == "over_range" or is_after or weighing.at < stage.starts_at - FILLED_BEFORE:
            continue
        first = tray_start(history, weighing)
        if first is None or net_of(first, first) <= 0.0:
            continue
        name = weighing.vessel or ""
        found[name] = Tray(name, 0, first, weighing)
    # One tray alone stands for the bed: there is nothing to tell the one from the other by.
    if len(found) == 1:
        return tuple(replace(tray, number=BED) for tray in found.values())
    return tuple(replace(found[name], number=number) for number, name in enumerate(sorted(found)))


def determined_on_kiln(history: History, stage: Stage, heat_at: datetime) -> tuple[tuple[Tray, ...], list[Determined]]:
    """The trays, and everything determined of them since they were filled, and of the bed since the heat was on."""
    trays = trays_of(history, stage)
    by_name = {tray.name: tray for tray in trays}
    found = []
    for weighing in history.of_shape(Weighing, "tray"):
        tray = by_name.get(weighing.vessel or "")
        if tray is not None and tray.first.at < weighing.at <= tray.last.at:
            found.append(_by_weight(history, tray, weighing))
    for sample in samples(history):
        is_inside = heat_at < sample.at and (stage.ends_at is None or sample.at <= stage.ends_at)
        if sample.basis in WEIGHED_WAYS and is_inside:
            dry_share = 1.0 - sample.moisture_wb
            value, sd = sample.moisture_wb / dry_share, max(sample.sd, 0.001) / dry_share**2
            found.append(Determined(history.hour(sample.at), math.nan, BED, value, sd))
    return trays, sorted(found, key=lambda each: (each.hour, each.tray, each.value))


def _by_weight(history: History, tray: Tray, weighing: Weighing) -> Determined:
    first_kg, now_kg = tray.first_net_kg, net_of(weighing, tray.first)
    steps = (resolution_sd(scale_step_kg(each)) for each in (weighing, tray.first))
    sd = math.hypot(LEAST_RATIO_SD, *(step / first_kg for step in steps))
    return Determined(history.hour(weighing.at), history.hour(tray.first.at), tray.number, now_kg / first_kg, sd)
