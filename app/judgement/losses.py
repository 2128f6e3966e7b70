"""What goes with the steep water, the breath and the roast: dry matter that no scale sees, estimated from the clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from app.judgement.history import History
from app.judgement.programme import Programme
from app.judgement.stages import all_stages

STEEP_LOSS_PER_H = 0.01 / 48.0
RESPIRATION_LOSS_PER_H = 0.01 / 24.0
"""From memory, where the programme says nothing: 1 % of the dry matter in two days of steep, 1 % a day of growth."""

LOSS_RELATIVE_SD = 0.25
"""How far such an estimate may be off, from memory: the loss of rye alone goes from 5.6 to 16.4 % as its moisture goes
from 40 to 48 % (Wang et al. 2018, Fermentation 4:50, published)."""

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


def losses_by(history: History, at: datetime) -> Losses:
    """What was lost by a moment: the loss of the programme in its planned hours, and in proportion for other hours."""
    lost = {"steep": 0.0, "respiration": 0.0, "roast": 0.0}
    for stage in all_stages(history):
        if stage.starts_at >= at:
            break
        hours = (min(stage.ends_at or at, at) - stage.starts_at).total_seconds() / 3600.0
        programme = history.programme_at(stage.starts_at)
        if stage.name in _STEEPING:
            lost["steep"] += hours * _per_h(programme, "steep_loss", _STEEPING, STEEP_LOSS_PER_H)
        elif stage.name == "germination":
            lost["respiration"] += hours * _per_h(
                programme, "respiration_loss", ("germination",), RESPIRATION_LOSS_PER_H
            )
        elif stage.name == "kilning":
            lost["roast"] += hours * _per_h(programme, "roast_loss", ("kilning",), 0.0)
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
    share = 0.0
    for stage in all_stages(history):
        if stage.name == "germination" and stage.starts_at < at:
            hours = (min(stage.ends_at or at, at) - stage.starts_at).total_seconds() / 3600.0
            share += hours * _per_h(history.programme_at(stage.starts_at), "rootlet_loss", ("germination",), 0.0)
    return min(share, MOST)


def _per_h(programme: Programme | None, key: str, names: tuple[str, ...], otherwise: float) -> float:
    loss = programme.setting(key) if programme else None
    if programme is None or loss is None:
        return otherwise
    planned = sum(stage.end_h - stage.start_h for stage in programme.planned_stages() if stage.stage in names)
    return loss / planned if planned > 0.0 else otherwise
