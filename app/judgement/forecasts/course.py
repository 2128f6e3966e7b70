"""The course of a steep as it was logged, and as it would go on: what was under water when, and how warm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.band import Array
from app.judgement.forecasts.grid import bounded
from app.judgement.forecasts.priors import REFERENCE_WATER_C
from app.judgement.grain.moisture_samples import FILM_LASTS_H
from app.judgement.history.history import History
from app.judgement.history.stages import Stage, all_stages
from app.judgement.programmes.programme import Programme
from app.science.uptake import DEFAULT_ACTIVATION_J_PER_MOL, effective_wet_time_h

USABLE = frozenset({"measured", "estimated"})
BEYOND_H = 240.0
"""How far a steep is followed that goes on as it is."""

KNOT_H = 0.5
FILM_AT_FIRST, FILM_AT_LAST = 1.8, 0.15
"""An hour of a rest counts for more at first, for there is no more water than the film on the grain, and that is drawn
in or dries off in the first hours; over the 12 h of a usual rest the share comes out nearly as it is stated. From
memory."""

ANEW_LASTS_H = 2.0
"""For so long water goes in faster after a rest: in the rest that of the outer layers sinks in (the grain equilibrates,
Companion 2011, "Steeping"), and then they fill anew. Set on the first set of the bench of truth."""

_ACTIVATION_STEP_J = 1000.0


@dataclass(frozen=True)
class Stretch:
    """Hours from first water; temperatures at hours inside it, straight between them and flat beyond."""

    start_h: float
    end_h: float
    is_immersed: bool
    hours: tuple[float, ...]
    temperatures_c: tuple[float, ...]

    @property
    def last_c(self) -> float:
        return self.temperatures_c[-1]


@dataclass(frozen=True, eq=False)
class Clock:
    """Effective hours by the clock's hours: under water, in air rests, and how both move with the activation energy.

    anew: of those under water, as many as come soon after a rest.
    """

    hours: Array
    immersed: Array
    rested: Array
    anew: Array
    immersed_slope: Array
    rested_slope: Array

    def at(self, hours: Array) -> Array:
        """Rows: hours under water, in air rests, anew, and the slope of the logarithm of the first two per kJ/mol."""
        wet, rest, anew = (np.interp(hours, self.hours, each) for each in (self.immersed, self.rested, self.anew))
        slopes = [
            np.interp(hours, self.hours, slope) / np.maximum(time, 1e-9)
            for slope, time in ((self.immersed_slope, wet), (self.rested_slope, rest))
        ]
        return np.stack((wet, rest, anew, *slopes))


def clock_of(course: Sequence[Stretch]) -> Clock:
    hours, temperatures, wet = _knots(course)
    energy = DEFAULT_ACTIVATION_J_PER_MOL
    times = [
        [effective_wet_time_h(hours, temperatures, wet, REFERENCE_WATER_C, share, each) for share in (0.0, 1.0)]
        for each in (energy, energy + _ACTIVATION_STEP_J)
    ]
    (immersed, both), (immersed_more, both_more) = times
    rested, rested_more = (_of_film(hours, course, each) for each in (both - immersed, both_more - immersed_more))
    per_kj = 1000.0 / _ACTIVATION_STEP_J
    anew = _anew(hours, course, immersed)
    return Clock(hours, immersed, rested, anew, (immersed_more - immersed) * per_kj, (rested_more - rested) * per_kj)


def _of_film(hours: Array, course: Sequence[Stretch], rested: Array) -> Array:
    """The hours of rests, those counted for more that come while the film of water is still on the grain."""
    film = _fading(hours, [(each.start_h, 1.0) for each in course if not each.is_immersed], FILM_LASTS_H)
    return np.concatenate(([0.0], np.cumsum(np.diff(rested) * (FILM_AT_LAST + FILM_AT_FIRST * film))))


def _anew(hours: Array, course: Sequence[Stretch], immersed: Array) -> Array:
    """The hours under water soon after a rest; after a short one fewer."""
    after = [
        (wet.start_h, -math.expm1((rest.start_h - rest.end_h) / FILM_LASTS_H))
        for rest, wet in pairwise(course)
        if wet.is_immersed and not rest.is_immersed
    ]
    return np.concatenate(([0.0], np.cumsum(np.diff(immersed) * _fading(hours, after, ANEW_LASTS_H))))


def _fading(hours: Array, begun: Sequence[tuple[float, float]], lasts_h: float) -> Array:
    """For each interval what is left, on the mean, of what last began with a strength; 0 before any."""
    left = np.zeros(len(hours) - 1)
    for start_h, strength in begun:
        since, until = hours[:-1] - start_h, hours[1:] - start_h
        lasted = np.maximum(until - since, 1e-9)
        # What was long before it began is left as it is, and would be without end here.
        begins, ends = (np.exp(-np.maximum(each, 0.0) / lasts_h) for each in (since, until))
        left = np.where(since >= -1e-9, strength * lasts_h * (begins - ends) / lasted, left)
    return left


def _knots(course: Sequence[Stretch]) -> tuple[Array, Array, Array]:
    """Points close together, a temperature at each, and for each interval whether it is under water."""
    hours: list[Array] = []
    temperatures: list[Array] = []
    wet: list[Array] = []
    for place, stretch in enumerate(course):
        count = bounded(int(np.ceil((stretch.end_h - stretch.start_h) / KNOT_H)) + 1)
        points = np.linspace(stretch.start_h, stretch.end_h, count)
        hours.append(points)
        temperatures.append(np.interp(points, stretch.hours, stretch.temperatures_c))
        # The step from one stretch to the next takes no time: whether it is under water has no say.
        wet.append(np.full(count if place + 1 < len(course) else count - 1, stretch.is_immersed))
    return np.concatenate(hours), np.clip(np.concatenate(temperatures), 0.0, 60.0), np.concatenate(wet)


def steep_course(history: History) -> tuple[Stretch, ...]:
    """The steep from first water to the cast; one that goes on is followed as it is, far beyond any use."""
    return tuple(_logged(history))


def _logged(history: History) -> Iterator[Stretch]:
    zero = history.first_water_at
    if zero is None:
        return
    last_c: dict[bool, float] = {}
    for stage, following in _wet_stages(history, zero):
        start = max(history.hour(stage.starts_at), 0.0)
        end = history.hour(following) if following else start + BEYOND_H
        if end <= start:
            continue
        is_immersed = stage.name != "air_rest"
        hours, temperatures = _temperatures(history, stage, following, is_immersed)
        if not hours:
            hours = [start]
            temperatures = [_unread_c(history, stage, is_immersed, last_c)]
        last_c[is_immersed] = temperatures[-1]
        yield Stretch(start, end, is_immersed, tuple(hours), tuple(temperatures))


def _wet_stages(history: History, zero: datetime) -> Iterator[tuple[Stage, datetime | None]]:
    """The stages of the steep and when each ended. After first water and before a steep: a float test."""
    for stage in all_stages(history):
        if stage.name in ("charged", "immersion", "air_rest") and (stage.ends_at is None or stage.ends_at > zero):
            yield stage, stage.ends_at
        elif stage.name not in ("charged", "immersion", "air_rest"):
            return


def _temperatures(
    history: History, stage: Stage, until: datetime | None, is_immersed: bool
) -> tuple[list[float], list[float]]:
    """What was read in the stage, readings of one moment as their mean: of the water under water, else of the grain."""
    kinds = ("water_temperature", "grain_temperature") if is_immersed else ("grain_temperature",)
    for kind in kinds:
        inside = [
            reading
            for reading in history.readings(kind)
            if stage.starts_at <= reading.at and (until is None or reading.at <= until) and is_usable(reading)
        ]
        if inside:
            return means_by_hour(history, inside)
    return [], []


def is_usable(reading: Reading) -> bool:
    return reading.value is not None and reading.quality in USABLE


def means_by_hour(history: History, readings: Sequence[Reading]) -> tuple[list[float], list[float]]:
    """Hours and values; readings within a quarter of an hour (top, middle, bottom) are one look."""
    looks: list[list[Reading]] = []
    for reading in readings:
        if looks and reading.at - looks[-1][0].at <= timedelta(minutes=15):
            looks[-1].append(reading)
        else:
            looks.append([reading])
    values = [[each.value or 0.0 for each in look] for look in looks]
    return history.hours([look[0].at for look in looks]), [sum(each) / len(each) for each in values]


def _unread_c(history: History, stage: Stage, is_immersed: bool, last_c: dict[bool, float]) -> float:
    """Where nobody read a thermometer: as in the last stage of its kind, else as planned, else the reference."""
    if is_immersed in last_c:
        return last_c[is_immersed]
    programme = history.programme_at(stage.starts_at)
    planned = [
        step.water_c if is_immersed else step.grain_c
        for step in (programme.steps if programme else ())
        if step.stage == ("immersion" if is_immersed else "air_rest")
    ]
    temperatures = [each for each in planned if each is not None]
    return temperatures[0] if temperatures else last_c.get(not is_immersed, REFERENCE_WATER_C)


def planned_course(programme: Programme) -> tuple[Stretch, ...]:
    """The steep as the programme plans it, from its first water to the cast."""
    course: list[Stretch] = []
    hour = 0.0
    for step in programme.steps:
        if step.stage not in ("immersion", "air_rest"):
            break
        is_immersed = step.stage == "immersion"
        planned_c = step.water_c if is_immersed else step.grain_c
        temperature = REFERENCE_WATER_C if planned_c is None else planned_c
        course.append(Stretch(hour, hour + step.hours, is_immersed, (hour,), (temperature,)))
        hour += step.hours
    return tuple(course)


def course_to_plan(course: Sequence[Stretch], programme: Programme, ordinal: int, now_h: float) -> tuple[Stretch, ...]:
    """A steep that goes on, with what the programme still plans: this stretch to its planned end, then the rest.

    ordinal: which of the plan's stretches of the steep is going on, from 0. The last one is followed far beyond.
    """
    plan = planned_course(programme)
    if not course or not plan:
        return tuple(course)
    current = course[-1]
    place = min(ordinal, len(plan) - 1)
    lasts = plan[place].end_h - plan[place].start_h
    hour = max(current.start_h + lasts, now_h)
    stretches = [
        *course[:-1],
        Stretch(current.start_h, hour, current.is_immersed, current.hours, current.temperatures_c),
    ]
    water_c = {each.is_immersed: each.last_c for each in course}
    for step in plan[place + 1 :]:
        end = hour + step.end_h - step.start_h
        temperature = water_c.get(step.is_immersed, step.last_c)
        stretches.append(Stretch(hour, end, step.is_immersed, (hour,), (temperature,)))
        hour = end
    last = stretches[-1]
    stretches[-1] = Stretch(last.start_h, last.start_h + BEYOND_H, last.is_immersed, last.hours, last.temperatures_c)
    return tuple(each for each in stretches if each.end_h > each.start_h)
