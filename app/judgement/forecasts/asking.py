"""What a fit answers: one question at a time, at a moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from app.judgement.forecasts.band import Array, Band, Value, When, never, unknown, when_reached
from app.judgement.forecasts.bed import BED
from app.judgement.forecasts.course import Stretch, course_to_plan, planned_course
from app.judgement.forecasts.drying import DryingFit
from app.judgement.forecasts.grid import bounded
from app.judgement.forecasts.growth import BASE_C, GrowthFit
from app.judgement.forecasts.kiln import (
    BreakPoint,
    Equilibrium,
    StopAt,
    Work,
    equilibrium_of,
    stop_at,
    work_left,
)
from app.judgement.forecasts.story import Story
from app.judgement.history.history import hours_between
from app.judgement.programmes.programme import Programme

STEEP_AHEAD_H, GROWTH_AHEAD_H, KILN_AHEAD_H = 96.0, 240.0, 96.0
"""How far ahead a forecast looks: beyond that nobody leaves grain as it is."""

KEPT_WITHIN_H = 2.0
"""Grain that was under water for so much longer than planned is not kept to its plan: where that ends tells nothing."""

STANDS_STILL = "The heat stands still: without it nothing dries."


@dataclass(frozen=True, eq=False)
class Fit:
    """What a history tells. last_at, last_seq: of its last fact; programme: the one that holds after it.

    steep_ordinal: which immersion or air rest, counted together from 0, the steep is in.
    """

    zero_at: datetime
    last_at: datetime
    last_seq: int
    programme: Programme | None
    story: Story | None
    growth: GrowthFit | None
    stage: str
    steep_ordinal: int
    dry_kg: float | None
    broke: BreakPoint | None

    def hour(self, moment: datetime) -> float:
        return hours_between(self.zero_at, moment)

    def target(self, key: str) -> float | None:
        """The middle of the programme's target."""
        limit = self.programme.limit(key) if self.programme else None
        if limit is None or limit.target_low is None or limit.target_high is None:
            return None
        return (limit.target_low + limit.target_high) / 2.0

    @property
    def drying(self) -> DryingFit | None:
        return self.story.drying if self.story else None


@dataclass(frozen=True)
class KilnForecast:
    """dry: when the wettest tray is dry enough, the air going on by the plan. break_due: when the bed comes to its
    break, in the air of now.
    """

    target_wb: float
    dry: When
    equilibrium: Equilibrium
    stop_at: tuple[StopAt, ...]
    work: Work | None
    broke: BreakPoint | None
    break_due: When
    wettest: str


def moisture(fitted: Fit, at: datetime) -> Value:
    hour = fitted.hour(at)
    if fitted.story is None:
        return unknown("Nothing tells how moist the grain is.")
    if hour < fitted.story.start_h:
        return unknown("The batch was not charged yet.")
    central, low, high = (float(each[0]) for each in fitted.story.band(np.array([hour])))
    return unknown("Nothing tells how moist the grain was then.") if np.isnan(central) else Value(central, low, high)


def to_moisture(fitted: Fit, target_wb: float, now: datetime) -> When:
    """When the rising moisture comes to the target, or came, if the steep is left as it is."""
    story = fitted.story
    if story is None or story.uptake is None:
        return never(target_wb, "The steep has not begun.")
    uptake, now_h = story.uptake, fitted.hour(now)
    if uptake.end_h is None:
        until = max(now_h, 0.0) + STEEP_AHEAD_H
        limit = uptake.limit_wb
        reason = f"Not within {STEEP_AHEAD_H:g} h if it is left as it is"
        reason += f": it levels off near {100 * limit:.0f} %." if limit < target_wb + 0.02 else "."
    else:
        heat_h = story.drying.start_h if story.drying else now_h
        until = max(min(heat_h, now_h), uptake.end_h)
        reason = "It was cast before that: on the floor only a spray lifts it."
    return when_reached(story.band, _hours(0.0, until), target_wb, fitted.zero_at, reason=reason)


def to_moisture_by_plan(fitted: Fit, target_wb: float, now: datetime) -> When | None:
    """The same, with the immersions and air rests that the programme still plans; None where there is no plan."""
    band = band_by_plan(fitted, now)
    if band is None:
        return None
    hours = _hours(0.0, max(fitted.hour(now), 0.0) + STEEP_AHEAD_H)
    return when_reached(band, hours, target_wb, fitted.zero_at, reason="Not with the steeps that are planned.")


def band_by_plan(fitted: Fit, now: datetime) -> Band | None:
    """The moisture of a steep that is kept to what the programme still plans; None where it is over or has no plan."""
    uptake = fitted.story.uptake if fitted.story else None
    if uptake is None or uptake.end_h is not None or fitted.programme is None:
        return None
    now_h = fitted.hour(now)
    course = course_to_plan(uptake.course, fitted.programme, fitted.steep_ordinal, now_h)
    planned = planned_course(fitted.programme)
    # Once it was weighed the grain itself tells: lots differ from their plan by more than a plan's end says of them.
    if planned and course and not uptake.weighings:
        end_h = course[-1].start_h + planned[-1].end_h - planned[-1].start_h
        ends_wb = [wb for hour, wb in fitted.programme.planned_curve("moisture_wb") if hour <= planned[-1].end_h]
        if end_h > now_h and _wet_h(course, end_h) <= _wet_h(planned, planned[-1].end_h) + KEPT_WITHIN_H:
            uptake = uptake.kept_to(course, end_h, ends_wb[-1])
    kept = uptake
    return lambda hours: kept.band(hours, course)


def _wet_h(course: Sequence[Stretch], until_h: float) -> float:
    return sum(min(each.end_h, until_h) - each.start_h for each in course if each.is_immersed)


def acrospire(fitted: Fit, at: datetime) -> Value:
    if fitted.growth is None:
        return unknown("It was not cast yet.")
    hour = fitted.hour(at)
    if hour < fitted.growth.start_h:
        return unknown("It was not cast yet then.")
    central, low, high = (float(each[0]) for each in fitted.growth.band(np.array([hour])))
    return Value(central, low, high)


def to_acrospire(fitted: Fit, target: float, now: datetime) -> When:
    """When the mean comes to the target at the warmth that the bed has now; or came."""
    growth = fitted.growth
    if growth is None:
        return never(target, "It was not cast yet.")
    if growth.end_h is not None:
        hours, reason = _hours(growth.start_h, growth.end_h), "The heat stopped it before that."
    else:
        hours = _hours(growth.start_h, max(fitted.hour(now), growth.start_h) + GROWTH_AHEAD_H)
        is_cold = growth.future_c <= BASE_C
        reason = "At this temperature nothing grows." if is_cold else f"Not within {GROWTH_AHEAD_H / 24:g} days."
    return when_reached(growth.band, hours, target, fitted.zero_at, reason=reason)


def to_dry(fitted: Fit, target_wb: float, now: datetime, air_on_c: float | None = None) -> When:
    """When the wettest tray is down to the target, or was, if the air goes on by its plan; or is set to one now."""
    drying = fitted.drying
    if drying is None:
        return never(target_wb, "It is not on the kiln.")
    now_h = fitted.hour(now)
    air = None if air_on_c is None else drying.with_air(now_h, air_on_c)
    if drying.end_h is None:
        until, reason = max(now_h, drying.start_h) + KILN_AHEAD_H, f"Not within {KILN_AHEAD_H:g} h in this air."
        floor = drying.equilibrium_wb(air)
        if air is None and drying.is_heat_off:
            reason = STANDS_STILL
        elif floor >= target_wb:
            where = "In the plan’s last air" if air is None and drying.air.is_planned else "In this air"
            reason = f"{where} it never gets drier than {100 * floor:.1f} ± 1 %."
    else:
        until, reason = drying.end_h, "The heat was off before that."
    tray = drying.wettest_tray
    hours = _hours(drying.start_h, until)
    when = when_reached(
        lambda at: drying.band(at, tray, air), hours, target_wb, fitted.zero_at, falls=True, reason=reason
    )
    return when if when.is_reached else replace(when, low=None, high=None)


def break_due(fitted: Fit, now: datetime) -> When:
    """When the bed comes to the moisture at which the kernels give less than the air could carry."""
    drying = fitted.drying
    if drying is None:
        return never(0.0, "It is not on the kiln.")
    now_h = fitted.hour(now)
    hours = _hours(drying.start_h, max(now_h, drying.start_h) + KILN_AHEAD_H)
    reason = STANDS_STILL if drying.is_heat_off else f"Not within {KILN_AHEAD_H:g} h in this air."
    return when_reached(drying.band, hours, drying.break_wb(now_h), fitted.zero_at, falls=True, reason=reason)


def kiln(fitted: Fit, drying: DryingFit, target_wb: float, now: datetime) -> KilnForecast:
    wettest = drying.wettest_tray
    return KilnForecast(
        target_wb=target_wb,
        dry=to_dry(fitted, target_wb, now),
        equilibrium=equilibrium_of(drying),
        stop_at=stop_at(drying, target_wb),
        work=work_left(drying, fitted.hour(now), moisture(fitted, now), target_wb, fitted.dry_kg),
        broke=fitted.broke,
        break_due=break_due(fitted, now),
        wettest="" if wettest == BED else drying.trays[wettest].name,
    )


def _hours(start_h: float, end_h: float) -> Array:
    """Hours to look at: close together where curves bend, at the beginning, and no more than half an hour apart."""
    near = np.linspace(start_h, min(start_h + 6.0, end_h), 61)
    if end_h <= start_h + 6.0:
        return near
    count = bounded(int((end_h - start_h - 6.0) / 0.5) + 1)
    return np.concatenate((near, np.linspace(start_h + 6.0, end_h, count)[1:]))
