"""What the kiln still has to do: the weight to stop at, water, heat and air, and the break point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import median

import numpy as np

from app.judgement.facts.shapes import Fact, Weighing
from app.judgement.forecasts.air import Air
from app.judgement.forecasts.air_off import air_on_at
from app.judgement.forecasts.band import Value
from app.judgement.forecasts.bed import hours_of_heat
from app.judgement.forecasts.course import is_usable, means_by_hour
from app.judgement.forecasts.drying import DryingFit
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import has_fallen_out, runs
from app.science.drying import HALF_WIDTH_WB
from app.science.humid_air import drying_duty
from app.science.moisture import gross_to_stop_at_kg

FALLEN_TO = 0.5
"""The break point: the rate, or what the air loses in the bed, is down to half of what it was while it was steady."""

LEAST_GAP_H = 0.4
SETTLING_H = 1.0


@dataclass(frozen=True)
class BreakPoint:
    """basis: tray (by its rate of loss), or air_off (by the probe above the bed). seen: what showed it. tray: which,
    where by a tray."""

    at: datetime
    basis: str
    moisture_wb: float
    seen: Fact
    tray: str = ""


@dataclass(frozen=True)
class StopAt:
    """What the scale shows with this tray when its grain is dry enough. half_width: of the 95 % interval, kg."""

    tray: str
    gross_kg: float
    half_width_kg: float
    tare_kg: float
    last_gross_kg: float

    @property
    def still_to_go_kg(self) -> float:
        return max(self.last_gross_kg - self.gross_kg, 0.0)


@dataclass(frozen=True)
class Work:
    """Water still to go, and the heat and air that it takes at the least; after the break point both are more."""

    water_kg: float
    heat_mj: float
    air_m3: float


@dataclass(frozen=True)
class Equilibrium:
    """In the last air: it will never get drier than this, ± a point."""

    moisture_wb: float
    half_width: float
    air_c: float
    relative_humidity: float


def stop_at(drying: DryingFit, target_wb: float) -> tuple[StopAt, ...]:
    """For each tray that was weighed as it was loaded."""
    stops = []
    for tray in drying.trays:
        moisture, sd = drying.first_wb(tray)
        gross = float(gross_to_stop_at_kg(tray.tare_kg, tray.first_net_kg, moisture, target_wb))
        half_width = 2.0 * tray.first_net_kg * sd / (1.0 - target_wb)
        last = tray.tare_kg + tray.net_kg(tray.last)
        stops.append(StopAt(tray.name, gross, half_width, tray.tare_kg, last))
    return tuple(stops)


def work_left(drying: DryingFit, now_h: float, now: Value, target_wb: float, dry_kg: float | None) -> Work | None:
    """In the air of an hour. None where the charge's dry matter, or its moisture, is not known."""
    if dry_kg is None or now.central is None:
        return None
    water = max(dry_kg * (now.central / (1.0 - now.central) - target_wb / (1.0 - target_wb)), 0.0)
    air, room = drying.air.at(now_h), drying.air.room
    hot_c = min(max(air.temperature_c, room[0] + 1.0), 99.0)
    duty = drying_duty(room[0], room[1], hot_c, max(0.95, air.relative_humidity + 0.01))
    return Work(water, water * duty.heat_mj_per_kg, water * duty.air_m3_per_kg)


def equilibrium_of(drying: DryingFit) -> Equilibrium:
    last = drying.air.pieces[-1]
    return Equilibrium(drying.equilibrium_wb(), HALF_WIDTH_WB, last.temperature_c, last.relative_humidity)


def break_point(history: History, drying: DryingFit) -> BreakPoint | None:
    """The sooner of what the probe above the bed and what the trays say; None while neither says it."""
    breaks = [each for each in (_by_air_off(history, drying), *_by_trays(history, drying)) if each is not None]
    return min(breaks, key=lambda each: each.at, default=None)


def _by_trays(history: History, drying: DryingFit) -> list[BreakPoint]:
    """Each tray: the beginning of the first stretch in which it loses less than half of what it lost while steady."""
    breaks = []
    for tray in drying.trays:
        weighings = [
            weighing
            for weighing in history.of_shape(Weighing, "tray")
            if (weighing.vessel or "") == tray.name and tray.first.at <= weighing.at <= tray.last.at
        ]
        points = [(history.hour(weighing.at), tray.net_kg(weighing)) for weighing in weighings]
        stretch = _rate_falls(_thinned(points, drying.air.pieces), drying.air.pieces)
        if stretch is not None:
            first, seen = (next(each for each in weighings if history.hour(each.at) >= hour - 1e-9) for hour in stretch)
            moisture = float(drying.band(np.array([stretch[0]]), tray.number)[0][0])
            breaks.append(BreakPoint(first.at, "tray", moisture, seen, tray.name))
    return breaks


def _thinned(points: list[tuple[float, float]], pieces: tuple[Air, ...]) -> list[tuple[float, float]]:
    """Weighings with hardly any heat between them tell the scale's step and not a rate."""
    kept: list[tuple[float, float]] = []
    for point in points:
        if not kept or hours_of_heat(pieces, kept[-1][0], point[0]) >= LEAST_GAP_H:
            kept.append(point)
    return kept


def _rate_falls(points: list[tuple[float, float]], pieces: tuple[Air, ...]) -> tuple[float, float] | None:
    """The hours of the first stretch that is so slow.

    Rates are those of one and the same air: what hotter air carries more of is divided out.
    """
    steady: list[float] = []
    for (start_h, start_kg), (end_h, end_kg) in pairwise(points):
        if _was_out(pieces, start_h, end_h):
            continue
        carries = _mean_constant(pieces, start_h, end_h)
        rate = (start_kg - end_kg) / (end_h - start_h) / carries
        if steady and rate < FALLEN_TO * max(median(steady), 1e-9):
            return start_h, end_h
        if start_h >= pieces[0].start_h:
            steady.append(rate)
    return None


def _was_out(pieces: tuple[Air, ...], start_h: float, end_h: float) -> bool:
    """Whether a fan or a fire stood still in a stretch: what dries then tells nothing of the bed."""
    hottest_c = -math.inf
    for air, until_h in zip(pieces, [*(piece.start_h for piece in pieces[1:]), math.inf], strict=True):
        if air.start_h <= end_h and until_h > start_h and has_fallen_out(air.temperature_c, hottest_c):
            return True
        hottest_c = max(hottest_c, air.temperature_c)
    return False


def _mean_constant(pieces: tuple[Air, ...], start_h: float, end_h: float) -> float:
    ends = [piece.start_h for piece in pieces[1:]] + [math.inf]
    total = sum(
        max(min(end, end_h) - max(air.start_h, start_h), 0.0) * air.constant
        for air, end in zip(pieces, ends, strict=True)
        if not air.is_still
    )
    return max(total / (end_h - start_h), 0.05)


def _by_air_off(history: History, drying: DryingFit) -> BreakPoint | None:
    """When the air comes out of the bed nearly as hot as it went in: it lost less than half of what it lost before."""
    run = next((each for each in runs(history) if history.hour(each.heat_at) == drying.start_h), None)
    if run is None:
        return None
    inside = [
        reading
        for reading in history.readings("air_off_temperature")
        if is_usable(reading)
        and run.heat_at <= reading.at
        and run.covers(reading.at)
        and not run.is_without_heat(reading.at)
        and air_on_at(history, run, reading.at) is not None
    ]
    if len(inside) < 3:
        return None
    looks = zip(*means_by_hour(history, inside), strict=True)
    heated = [look for look in looks if not _was_out(drying.air.pieces, look[0], look[0])]
    hours, off_c = [hour for hour, _ in heated], [value for _, value in heated]
    starts = np.array([piece.start_h for piece in drying.air.pieces])
    place = np.maximum(np.searchsorted(starts, hours, side="right") - 1, 0)
    lost = [drying.air.pieces[int(spot)].temperature_c - off for spot, off in zip(place, off_c, strict=True)]
    shares = [each / max(drying.air.pieces[int(spot)].constant, 0.05) for spot, each in zip(place, lost, strict=True)]
    begun = [share for hour, share in zip(hours, shares, strict=True) if hour >= drying.start_h + SETTLING_H]
    steady = median(begun[:3]) if begun else 0.0
    for spot, (hour, share) in enumerate(zip(hours, shares, strict=True)):
        if hour < drying.start_h + SETTLING_H or steady <= 0.0:
            continue
        if all(later < FALLEN_TO * steady for later in shares[spot : spot + 2]) and share < FALLEN_TO * steady:
            seen = next(each for each in inside if history.hour(each.at) >= hour - 1e-9)
            return BreakPoint(seen.at, "air_off", float(drying.band(np.array([hour]))[0][0]), seen)
    return None
