"""The malting-loss account: where the dry matter of a charge went, each line weighed or estimated, and what is left
unexplained. It works while the batch lives, with the lines known so far."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from app.judgement.batch_at import BatchAt, batch_at
from app.judgement.forecasts.moisture import Charged, charged
from app.judgement.grain.losses import losses_between
from app.judgement.history.history import History
from app.judgement.measures.account_lines import (
    AccountLine,
    Line,
    charge_line,
    culms_line,
    fading_lines,
    outturn_line,
    removal_lines,
)
from app.science.mass_balance import dry_loss_with_sd, unexplained

__all__ = ["Account", "AccountLine", "Figure", "account"]

STILL_GOING = frozenset({"immersion", "air_rest", "germination", "stewing", "kilning"})
AS_GRAIN_WB = 0.2
"""A charge wetter than this is green malt, of which a yield as it is would say nothing."""


@dataclass(frozen=True)
class Figure:
    """A value with its standard uncertainty."""

    value: float
    sd: float

    @property
    def half_width(self) -> float:
        return 2.0 * self.sd


@dataclass(frozen=True)
class Account:
    """Dry matter in kg. lines: what came out or was lost, in the order of the story; is_complete: the malt is weighed.

    remainder: charged less all lines; None until the account is complete. left_dry_kg: what should still be in the
    batch until then. malting_loss: dry matter lost of what could have become malt; yield_as_is: malt over grain, each
    as it was weighed; kept: the share of the charge that was left to become malt.
    """

    charge: AccountLine | None
    lines: tuple[AccountLine, ...] = ()
    is_complete: bool = False
    remainder: Figure | None = None
    left_dry_kg: float | None = None
    outturn_as_is_kg: float | None = None
    malting_loss: Figure | None = None
    yield_as_is: Figure | None = None
    kept: float = 1.0

    def line(self, key: str) -> AccountLine | None:
        return next((line for line in self.lines if line.key == key), None)

    def share(self, dry_kg: float) -> float | None:
        """That much dry matter as a fraction of what was charged."""
        return dry_kg / self.charge.dry_kg if self.charge and self.charge.dry_kg > 0.0 else None

    def share_of(self, line: AccountLine) -> Figure | None:
        """A line as a fraction of the charge. What was reckoned from the charge is in proportion to it, and as sure."""
        if self.charge is None or self.charge.dry_kg <= 0.0:
            return None
        if not line.parts:
            return Figure(line.dry_kg / self.charge.dry_kg, line.sd_kg / self.charge.dry_kg)
        lost, sd = dry_loss_with_sd((self.charge.dry_kg, self.charge.sd_kg), (line.dry_kg, line.sd_kg))
        return Figure(1.0 - lost, sd)

    @property
    def remainder_share(self) -> Figure | None:
        """The unexplained remainder as a fraction of the charge; below 0 where more came out than went in."""
        if self.remainder is None or self.charge is None:
            return None
        return Figure(self.remainder.value / self.charge.dry_kg, self.remainder.sd / self.charge.dry_kg)


def account(history: History, now: datetime) -> Account:
    """The account as of now; only the empty one before anything was charged."""
    return batch_at(history, now).once(account_of)


def account_of(batch: BatchAt) -> Account:
    history, now = batch.history, batch.now
    start = charged(history, now)
    if start is None or start.dry_kg <= 0.0:
        return Account(charge=None)
    charge = charge_line(history, start, now)
    removals = removal_lines(history, start, now)
    fading = fading_lines(history, start, now)
    malt, malt_kg = outturn_line(history, start, now)
    culms = culms_line(history, start, now, has_malt=malt is not None)
    lines = tuple(line for line in (*removals, *fading, culms, malt) if line is not None)
    if malt is None or not _is_over(batch, malt):
        left = charge.dry_kg - math.fsum(line.dry_kg for line in lines)
        return Account(charge, lines, left_dry_kg=max(left, 0.0), outturn_as_is_kg=malt_kg if malt else None)
    remainder = Figure(*unexplained(charge.dry_kg, charge.sd_kg, [(line.dry_kg, line.sd_kg) for line in lines]))
    kept = _kept_share(history, charge, removals)
    return Account(
        charge=charge,
        lines=lines,
        is_complete=True,
        remainder=remainder,
        outturn_as_is_kg=malt_kg,
        malting_loss=_malting_loss(charge, malt, kept),
        yield_as_is=_yield(start, charge, malt, malt_kg, kept),
        kept=kept,
    )


def _is_over(batch: BatchAt, malt: AccountLine) -> bool:
    """Whether the malt that was weighed is all of it: nothing was steeped, grown or loaded since."""
    weighed_at = max(fact.at for fact in malt.facts)
    return batch.stage is None or batch.stage.name not in STILL_GOING or batch.stage.starts_at <= weighed_at


def _kept_share(history: History, charge: AccountLine, removals: Sequence[Line]) -> float:
    """The share of the charge that was left to become malt: samples, spills and what was split off were not.

    Each counts with the dry matter that it had when it was charged. Skimmings are a loss of malting, and stay in.
    """
    since = min(fact.at for fact in charge.facts)
    gone = sum(
        kg / (1.0 - losses_between(history, since, fact.at).total)
        for line in removals
        if line.key != "skimmings"
        for fact, kg in line.parts
    )
    return max(1.0 - gone / charge.dry_kg, 0.0)


def _malting_loss(charge: AccountLine, malt: AccountLine, kept: float) -> Figure | None:
    if kept <= 0.0:
        return None
    return Figure(*dry_loss_with_sd((charge.dry_kg * kept, charge.sd_kg * kept), (malt.dry_kg, malt.sd_kg)))


def _yield(start: Charged, charge: AccountLine, malt: AccountLine, malt_kg: float, kept: float) -> Figure | None:
    if start.moisture_wb > AS_GRAIN_WB or kept <= 0.0:
        return None
    value = malt_kg / (start.as_is_kg * kept)
    return Figure(value, value * math.hypot(malt.scale_relative_sd, charge.scale_relative_sd))
