"""How dry the malt is: as weighed with its outturn, as tested, or taken for granted where nobody knows."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple

from app.judgement.facts.shapes import Weighing
from app.judgement.forecasts.moisture import ASSUMED_MOISTURE_SD, MoistureSample, determinations, moisture_at
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages

GREEN_WB = 0.15
"""Wetter than this it is green malt, or not dried yet."""

STILL_AS_DRY = timedelta(days=14)
"""A test this near to a weighing tells of the same malt: common practice, for malt that lies closed."""


class MaltMoisture(NamedTuple):
    """is_tested: something told it; otherwise it is taken as 5 ± 2 %, from memory."""

    moisture_wb: float
    sd: float
    is_tested: bool


TAKEN_FOR_GRANTED = MaltMoisture(0.05, 0.01, False)


def outturn_moisture(history: History, weighing: Weighing, now: datetime) -> MaltMoisture:
    """The moisture of one outturn: by a test of then, else the figure told with it, or what is known of the malt."""
    if weighing.moisture_wb is None:
        return malt_moisture(history, weighing.at, now)
    best = _best_test(history, weighing.at, now)
    if best is not None and best.sd <= ASSUMED_MOISTURE_SD:
        return MaltMoisture(best.moisture_wb, best.sd, True)
    return MaltMoisture(weighing.moisture_wb, ASSUMED_MOISTURE_SD, True)


def _best_test(history: History, at: datetime, now: datetime) -> MoistureSample | None:
    """The surest test of this malt after the kiln; of several as sure, the one nearest to the moment."""
    done = [stage.starts_at for stage in all_stages(history) if stage.name == "cooling" and stage.starts_at <= at]
    if not done:
        return None
    tests = [
        sample
        for sample in dried_samples(history)
        if sample.basis == "tested" and done[-1] <= sample.at <= now and abs(sample.at - at) <= STILL_AS_DRY
    ]
    return min(tests, key=lambda sample: (sample.sd, abs(sample.at - at)), default=None)


def malt_moisture(history: History, at: datetime, now: datetime) -> MaltMoisture:
    """The malt's moisture as last determined by a moment; else by the first determination after it, up to now."""
    known = [sample for sample in dried_samples(history) if sample.at <= now]
    if known and known[0].at <= at:
        estimate = moisture_at(history, at)
        if estimate is not None and estimate.moisture_wb <= GREEN_WB:
            return MaltMoisture(estimate.moisture_wb, estimate.sd, True)
    later = next((sample for sample in known if sample.at > at), None)
    return MaltMoisture(later.moisture_wb, later.sd, True) if later else TAKEN_FOR_GRANTED


def is_malt(history: History) -> bool:
    """Whether the kiln is behind it."""
    begun = all_stages(history)
    return bool(begun) and begun[-1].name in ("cooling", "finished")


def dried_samples(history: History) -> list[MoistureSample]:
    """The determinations that tell of dried malt: made on the kiln or after it, and no longer wet."""
    heated = [stage.starts_at for stage in all_stages(history) if stage.name in ("kilning", "cooling")]
    since = heated[0] if heated else history.starts_at
    return [
        sample
        for sample in determinations(history)
        if sample.basis != "charged" and sample.moisture_wb <= GREEN_WB and since is not None and sample.at >= since
    ]
