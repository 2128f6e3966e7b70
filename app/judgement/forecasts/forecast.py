"""Forecasts: how moist, how grown, how dry, and when; each with an interval that is meant to hold 80 %.

`fit` learns from the whole history and knows no now: it may be kept as long as `fit_key` stays the same. `evaluate`
asks it at a moment. The entry points below ask for one thing at a time. Those that take a now let later facts have no
say; `moisture_value` lets all have theirs, so that a moment between two weighings is seen from both sides. How often
the intervals held what came is in docs/methods.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from app.judgement.forecasts import asking as ask
from app.judgement.forecasts.asking import Fit, KilnForecast
from app.judgement.forecasts.band import Value, When
from app.judgement.forecasts.drying import LEARNED as LEARNED_DRYING
from app.judgement.forecasts.growth import LEARNED as LEARNED_GROWTH
from app.judgement.forecasts.growth import fit_growth
from app.judgement.forecasts.kept import Fits, earlier_fit, fit_key, same_fit
from app.judgement.forecasts.kiln import BreakPoint, Equilibrium, StopAt, Work, break_point
from app.judgement.forecasts.priors import for_lot
from app.judgement.forecasts.story import dry_kg_at, story
from app.judgement.forecasts.trusted import trusted
from app.judgement.forecasts.uptake import LEARNED as LEARNED_UPTAKE
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages

__all__ = [
    "BreakPoint",
    "Equilibrium",
    "Fit",
    "Fits",
    "Forecast",
    "KilnForecast",
    "StopAt",
    "Value",
    "When",
    "Work",
    "acrospire_at",
    "evaluate",
    "fit",
    "fit_key",
    "forecast_at",
    "learned",
    "moisture_value",
    "time_to_acrospire",
    "time_to_dry",
    "time_to_moisture",
]


@dataclass(frozen=True)
class Forecast:
    """As of now, from facts up to last_at. Each part is None where the batch is not in the stage that it is about.

    cast: when the moisture to cast at is reached if left as it is; cast_by_plan: with the steeps that are planned.
    """

    now: datetime
    last_at: datetime
    moisture: Value
    cast: When | None
    cast_by_plan: When | None
    acrospire: Value | None
    grown: When | None
    kiln: KilnForecast | None


def fit(history: History, warm: Fit | None = None) -> Fit:
    """Learn from the history; remembered with it, and kept in its `fits` for the next look at the batch.

    warm: an earlier fit of the same batch, to begin from. What nobody added to since is taken over as it is.
    """
    if warm is not None:
        history.remember(earlier_fit, warm)
    return history.once(_kept_or_fitted)


def _kept_or_fitted(history: History) -> Fit:
    if trusted(history) is not history:
        return fit(trusted(history))
    same = same_fit(history)
    if same is not None:
        return same
    fitted = _fit(history)
    if history.fits is not None:
        history.fits.keep(history, fitted)
    return fitted


def _fit(history: History) -> Fit:
    told_stages = all_stages(history)
    warm = history.once(earlier_fit)
    told = story(history, warm.story if warm else None)
    zero_at = history.starts_at or datetime(1970, 1, 1, tzinfo=UTC)
    last_at = history.facts[-1].at if history.facts else zero_at
    return Fit(
        zero_at=zero_at,
        last_at=last_at,
        last_seq=fit_key(history)[1],
        programme=history.programme,
        story=told,
        growth=fit_growth(history, warm.growth if warm else None),
        stage=told_stages[-1].name if told_stages else "",
        steep_ordinal=sum(stage.name in ("immersion", "air_rest") for stage in told_stages) - 1,
        dry_kg=dry_kg_at(history, last_at),
        broke=break_point(history, told.drying) if told and told.drying else None,
    )


def learned(fitted: Fit) -> dict[str, Any]:
    """What this batch alone says to the next of its lot: goes into its measures record under `build.LEARNED`."""
    uptake = fitted.story.uptake if fitted.story else None
    lessons: dict[str, Any] = {}
    if uptake is not None and uptake.weighings:
        lessons["uptake"] = for_lot(uptake.posterior, LEARNED_UPTAKE)
    if fitted.growth is not None and fitted.growth.counts:
        lessons["growth"] = for_lot(fitted.growth.posterior, LEARNED_GROWTH)
    if fitted.drying is not None and fitted.drying.weighings:
        lessons["drying"] = for_lot(fitted.drying.posterior, LEARNED_DRYING)
    return lessons


def evaluate(fitted: Fit, now: datetime) -> Forecast:
    """What the fit says at a moment, of what the programme wants next."""
    cast, grown, final = (fitted.target(key) for key in ("cast_moisture", "acrospire", "final_moisture"))
    is_steeping = fitted.stage in ("immersion", "air_rest") and cast is not None
    is_growing = fitted.stage == "germination"
    drying = fitted.drying if fitted.stage == "kilning" else None
    return Forecast(
        now=now,
        last_at=fitted.last_at,
        moisture=ask.moisture(fitted, now),
        cast=ask.to_moisture(fitted, cast, now) if is_steeping and cast is not None else None,
        cast_by_plan=ask.to_moisture_by_plan(fitted, cast, now) if is_steeping and cast is not None else None,
        acrospire=ask.acrospire(fitted, now) if is_growing else None,
        grown=ask.to_acrospire(fitted, grown, now) if is_growing and grown is not None else None,
        kiln=ask.kiln(fitted, drying, final, now) if drying is not None and final is not None else None,
    )


def forecast_at(history: History, now: datetime) -> Forecast:
    """What the history as far as it had gone says at now, worked out once however many parts of a page ask for it."""
    forecasts = history.once(_forecasts)
    if now not in forecasts:
        forecasts[now] = evaluate(fit(_by(history, now)), now)
    return forecasts[now]


def _forecasts(history: History) -> dict[datetime, Forecast]:
    return {}


def moisture_value(history: History, at: datetime) -> Value:
    """Moisture, fraction wet basis, at a moment: between what was weighed, or forecast beyond it, left as it is."""
    return ask.moisture(fit(history), at)


def acrospire_at(history: History, at: datetime) -> Value:
    """Mean acrospire in kernel lengths at a moment."""
    return ask.acrospire(fit(history), at)


def time_to_moisture(history: History, target_wb: float, now: datetime) -> When:
    """When the steep comes to a moisture, wet basis, if it is left as it is at now; or came, where that is past."""
    return ask.to_moisture(fit(_by(history, now)), target_wb, now)


def time_to_acrospire(history: History, target: float, now: datetime) -> When:
    """When the mean acrospire comes to a length, in kernel lengths, in a bed as warm as it is; or came."""
    return ask.to_acrospire(fit(_by(history, now)), target, now)


def time_to_dry(history: History, target_wb: float, now: datetime, *, air_on_c: float | None = None) -> When:
    """When the wettest tray is down to a moisture, wet basis, by the air's plan; or in air of air_on_c from now on."""
    return ask.to_dry(fit(_by(history, now)), target_wb, now, air_on_c)


def _by(history: History, now: datetime) -> History:
    """The history as far as it had gone by now."""
    if not history.facts or history.facts[-1].at <= now:
        return history
    return history.with_facts(tuple(fact for fact in history.facts if fact.at <= now))


def is_sure_of(value: Value) -> tuple[float, float, float] | None:
    """Middle and edges of a forecast value; None where nothing is known."""
    if value.central is None or value.low is None or value.high is None:
        return None
    return value.central, value.low, value.high
