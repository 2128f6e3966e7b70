"""What goes with the steep water, the breath and the roast: dry matter that no scale sees, estimated from the clock."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from app.judgement.history.history import History, hours_between
from app.judgement.history.stages import Stage, all_stages
from app.judgement.programmes.programme import Programme

STEEP_LOSS_PER_H = 0.01 / 48.0
RESPIRATION_LOSS_PER_H = 0.01 / 24.0
"""From memory, where the programme says nothing: 1 % of the dry matter in two days of steep, 1 % a day of growth."""

RELATIVE_SD = {"steep": 0.5, "respiration": 0.25, "roast": 0.25, "rootlet": 0.25}
"""How far such an estimate may be off, from memory: a steep takes from next to nothing to 2 %, and nobody knows at
which hour of it; the loss of rye alone goes from 5.6 to 16.4 % as its moisture goes from 40 to 48 % (Wang et al.
2018, Fermentation 4:50, published)."""

MOST = 0.3
_STEEPING = ("immersion", "air_rest")


@dataclass(frozen=True)
class Losses:
    """Fractions of the dry matter that the batch had when its story began."""

    steep: float = 0.0
    respiration: float = 0.0
    roast: float = 0.0

    @property
    def total(self) -> float:
        return min(self.steep + self.respiration + self.roast, MOST)

    @property
    def sd(self) -> float:
        """Standard uncertainty of the total."""
        return math.hypot(*(RELATIVE_SD[name] * share for name, share in vars(self).items()))


def losses_by(history: History, at: datetime) -> Losses:
    """What was lost by a moment: the loss of the programme in its planned hours, and in proportion for other hours."""
    lost = {"steep": 0.0, "respiration": 0.0, "roast": 0.0}
    for stage, name, rate_per_h in history.once(_rates):
        if stage.starts_at < at and name in lost:
            lost[name] += rate_per_h * _hours(stage, at)
    return Losses(**{name: min(share, MOST) for name, share in lost.items()})


def losses_between(history: History, since: datetime, until: datetime) -> Losses:
    """What was lost in a stretch of time, as fractions of the dry matter that there was at its beginning."""
    before, after = losses_by(history, since), losses_by(history, until)
    left = 1.0 - before.total
    return Losses(
        (after.steep - before.steep) / left,
        (after.respiration - before.respiration) / left,
        (after.roast - before.roast) / left,
    )


def rootlet_share(history: History, at: datetime) -> float:
    """What the rootlets should come to, as a fraction of the first dry matter: in proportion to the hours of growth."""
    grown = [
        rate_per_h * _hours(stage, at)
        for stage, name, rate_per_h in history.once(_rates)
        if name == "rootlet" and stage.starts_at < at
    ]
    return min(sum(grown), MOST)


def _hours(stage: Stage, at: datetime) -> float:
    return hours_between(stage.starts_at, min(stage.ends_at or at, at))


_BY_STAGE = {
    "immersion": (("steep", _STEEPING, STEEP_LOSS_PER_H),),
    "air_rest": (("steep", _STEEPING, STEEP_LOSS_PER_H),),
    "germination": (("respiration", ("germination",), RESPIRATION_LOSS_PER_H), ("rootlet", ("germination",), 0.0)),
    "kilning": (("roast", ("kilning",), 0.0),),
}


def _rates(history: History) -> list[tuple[Stage, str, float]]:
    """(stage, what is lost in it, fraction of the first dry matter per hour)."""
    return [
        (stage, name, _per_h(history.programme_at(stage.starts_at), _loss_key(history, stage, name), over, otherwise))
        for stage in all_stages(history)
        for name, over, otherwise in _BY_STAGE.get(stage.name, ())
    ]


def _loss_key(history: History, stage: Stage, name: str) -> str:
    """The setting that tells a loss: a roast has two, by the hottest that its grain has been."""
    programme = history.programme_at(stage.starts_at)
    dark_c = programme.setting("roast_dark_from_c") if programme and name == "roast" else None
    is_dark = dark_c is not None and any(
        reading.value is not None and reading.value >= dark_c
        for reading in history.readings("grain_temperature")
        if stage.starts_at <= reading.at and (stage.ends_at is None or reading.at <= stage.ends_at)
    )
    return "roast_loss_dark" if is_dark else f"{name}_loss"


def _per_h(programme: Programme | None, key: str, over: tuple[str, ...], otherwise: float) -> float:
    loss = programme.setting(key) if programme else None
    if programme is None or loss is None:
        return otherwise
    planned = sum(stage.end_h - stage.start_h for stage in programme.planned_stages() if stage.stage in over)
    return loss / planned if planned > 0.0 else otherwise
