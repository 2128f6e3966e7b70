"""How dry the malt is: as weighed with its outturn, as tested, or taken for granted where nobody knows."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple

from app.judgement.facts.shapes import Weighing
from app.judgement.forecasts.moisture import (
    ASSUMED_MOISTURE_SD,
    Estimate,
    MoistureSample,
    determinations,
    moisture_at,
    samples,
)
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import AS_LOADED, run_at
from app.judgement.history.stages import all_stages, stage_at, stages
from app.judgement.programmes.programme import provenance

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
    """The malt's moisture as last known at a moment, where anything was determined since it was heated; else by the
    first determination after it, up to now.
    """
    if (estimate := last_known(history, at, now)) is not None:
        return MaltMoisture(estimate.moisture_wb, estimate.sd, True)
    later = next((sample for sample in dried_samples(history) if at < sample.at <= now), None)
    return MaltMoisture(later.moisture_wb, later.sd, True) if later else TAKEN_FOR_GRANTED


def last_known(history: History, at: datetime, now: datetime) -> Estimate | None:
    """What is known of the malt at a moment, wet or dry; None where nothing was determined since it was heated, and
    where it is green malt that is still to be kilned.
    """
    run, stage = run_at(history, at), stage_at(all_stages(history), at)
    since = run.heat_at + AS_LOADED if run is not None else history.starts_at
    told = [sample for sample in samples(history) if sample.basis != "charged" and sample.at <= min(at, now)]
    if since is None or not told or told[-1].at < since:
        return None
    estimate = moisture_at(history, at)
    if estimate is None or not estimate.is_told:
        return None
    is_off = stage is not None and stage.name in ("cooling", "finished")
    return estimate if is_off or estimate.moisture_wb <= GREEN_WB else None


class TooWet(NamedTuple):
    """estimate: what is known. severity: how far even its lower bound is above what keeps."""

    estimate: Estimate
    severity: str
    bound: float
    source: str


def too_wet(history: History, now: datetime) -> TooWet | None:
    """Malt off the heat that is clearly wetter than malt that keeps: by the lower bound of what is known of it."""
    programme, begun = history.programme_at(now), stages(history, now)
    limit = programme.limit("final_moisture") if programme is not None else None
    if limit is None or not begun or begun[-1].name not in ("cooling", "finished"):
        return None
    # Finished malt is judged as it was then: what nobody knows of it since makes wet malt no drier.
    at = begun[-1].starts_at if begun[-1].name == "finished" else now
    estimate = last_known(history, at, at)
    verdict = limit.judge(max(estimate.moisture_wb - estimate.half_width, 0.0)) if estimate is not None else None
    if estimate is None or verdict is None or verdict.position != "high" or verdict.severity not in ("caution", "act"):
        return None
    return TooWet(estimate, verdict.severity, verdict.bound or 0.0, provenance(verdict.mark, verdict.source))


UNTOLD = "not known: test it before it is sold or kept long"
"""What is said of the moisture of malt that nothing told."""


def is_untold(history: History, now: datetime) -> bool:
    """Whether malt is off the kiln, and nothing determined nor weighed with it tells how dry it is."""
    weighed = [each for each in history.of_shape(Weighing, "outturn") if each.at <= now]
    moistures = [malt_moisture(history, now, now), *(outturn_moisture(history, each, now) for each in weighed)]
    return is_malt(history) and not any(each.is_tested for each in moistures)


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
