"""The air of the kiln as it was logged: how hot it went into the grain, how dry it was, and what that does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache

from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.air_plan import Point, along_plan, planned_air
from app.judgement.forecasts.course import is_usable, means_by_hour
from app.judgement.forecasts.priors import REFERENCE_AIR_C
from app.judgement.history.history import History
from app.judgement.history.stages import Stage
from app.science.drying import equilibrium_moisture_wb, rate_at_temperature
from app.science.humid_air import STANDARD_PRESSURE_PA, air_off, humidity_ratio, saturation_pressure_pa

USUAL_ROOM = (15.0, 0.70)
"""Air of the room where nobody measured it, °C and relative humidity, from memory."""

HEAT_ON_SOON_H = 0.1
SAME_TIME_H = 1.0
"""A look at the air this near to that at the hygrometer says how warm it was then: common practice."""

COMES_TO_IT = timedelta(minutes=15)
"""A reading so soon after the kiln was set says more of the air than what it was set to."""

HOTTEST_C = 98.0
SAME_AIR_C = 2.0
"""Readings within this of one another are one piece of even air."""

_ROOM = ("room", "floor", "outside", "ambient", "fresh", "malthouse")
_ABOVE = ("above", "off", "top", "out", "exhaust")


@dataclass(frozen=True)
class Air:
    """Even air from an hour on. constant, falling: how many times faster each regime goes than in the reference air.

    is_still: the heat is off, and the grain stays as it is.
    """

    start_h: float
    temperature_c: float
    relative_humidity: float
    constant: float
    falling: float
    equilibrium_wb: float
    is_still: bool = False

    @property
    def equilibrium_db(self) -> float:
        return self.equilibrium_wb / (1.0 - self.equilibrium_wb)


@dataclass(frozen=True)
class KilnAir:
    """The pieces of air from the heat on; the last one holds on. room: what is heated, °C and relative humidity.

    water_from: the air in which the water in it was measured: the kiln's own, or the very `room`. logged: as it was
    last read or set. is_planned: the last piece is the plan's, and not what was logged.
    """

    pieces: tuple[Air, ...]
    room: tuple[float, float]
    water_from: tuple[float, float]
    logged: Air | None
    is_planned: bool
    is_room_warmth_read: bool
    is_room_humidity_read: bool

    @property
    def is_measured(self) -> bool:
        """Whether anybody read it or set it."""
        return self.logged is not None

    @property
    def is_humidity_measured(self) -> bool:
        """In the kiln's own air, below the grain."""
        return self.water_from is not self.room

    def at(self, hour: float) -> Air:
        """The piece in force at an hour; before the heat the first."""
        return next((piece for piece in reversed(self.pieces) if piece.start_h <= hour), self.pieces[0])


def kiln_air(history: History, stage: Stage, heat_at: datetime) -> KilnAir:
    """The air of one run of the kiln: as logged, and where there is a plan, going on by it from where it stands."""
    air, humid = _read_in_room(history, stage)
    room = _room(air, humid)
    start_h = history.hour(heat_at)
    looks = _looks(history, stage, start_h)
    plan = planned_air(history.programme_at(stage.starts_at), start_h)
    points = along_plan(plan, looks) if plan else [Point(*look, True) for look in looks]
    points = points or [Point(start_h, REFERENCE_AIR_C, False)]
    water_from = _measured_in_kiln(history, stage, looks, points) or room
    logged = air_of(*looks[-1], water_from) if looks else None
    is_planned = bool(plan) and not points[-1].is_read
    pieces = _pieces(points, start_h, water_from)
    return KilnAir(pieces, room, water_from, logged, is_planned, bool(air), bool(humid))


def _pieces(points: Sequence[Point], start_h: float, water_from: tuple[float, float]) -> tuple[Air, ...]:
    kept = [points[0]._replace(hour=start_h)]
    for point in points[1:]:
        apart_c = abs(point.temperature_c - kept[-1].temperature_c)
        if apart_c >= SAME_AIR_C or (apart_c > 0.0 and not (point.is_read and kept[-1].is_read)):
            kept.append(point)
    return tuple(air_of(max(each.hour, start_h), each.temperature_c, water_from) for each in kept)


def air_of(hour: float, temperature_c: float, water_from: tuple[float, float]) -> Air:
    """Air of a temperature. water_from: temperature and relative humidity at which the water in it was measured."""
    degrees = min(max(round(temperature_c), 5), HOTTEST_C)
    return Air(hour, temperature_c, *_effects(degrees, round(water_from[0]), round(water_from[1], 2)))


@lru_cache(maxsize=512)
def _effects(air_c: float, from_c: float, from_rh: float) -> tuple[float, float, float, float]:
    """Relative humidity, the two factors, and the equilibrium moisture: of whole degrees, so that they are kept."""
    own = min(max(_heated_rh(air_c, from_c, from_rh), 0.005), 0.93)
    gain = _pick_up(air_c, own) / _pick_up(REFERENCE_AIR_C, _heated_rh(REFERENCE_AIR_C, *USUAL_ROOM))
    falling = float(rate_at_temperature(1.0, REFERENCE_AIR_C, air_c))
    return own, gain, falling, float(equilibrium_moisture_wb("malt", air_c, own))


def _heated_rh(air_c: float, room_c: float, room_rh: float) -> float:
    ratio = float(saturation_pressure_pa(room_c)) / float(saturation_pressure_pa(air_c))
    return min(max(room_rh * ratio, 0.001), 0.99)


@lru_cache(maxsize=512)
def _pick_up(air_c: float, relative_humidity: float) -> float:
    """Water that a kilogram of the air takes with it from a wet bed, kg."""
    off = air_off(air_c, relative_humidity, max(0.95, relative_humidity + 0.01), STANDARD_PRESSURE_PA)
    return max(off.humidity_ratio_kg_per_kg - float(humidity_ratio(air_c, relative_humidity)), 1e-5)


def _looks(history: History, stage: Stage, start_h: float) -> list[tuple[float, float]]:
    """Hours and temperatures of the air into the grain, as read; and as set, where no reading came soon after."""
    read, put = (
        [each for each in _inside(history.readings(kind), stage) if history.hour(each.at) >= start_h - HEAT_ON_SOON_H]
        for kind in ("air_on_temperature", "set_point")
    )
    alone = [each for each in put if not any(timedelta(0) <= other.at - each.at <= COMES_TO_IT for other in read)]
    looks = [
        *zip(*means_by_hour(history, read), strict=True),
        *((history.hour(each.at), each.value or 0.0) for each in alone),
    ]
    return sorted(looks, key=lambda each: each[0])


def _inside(readings: Sequence[Reading], stage: Stage) -> list[Reading]:
    return [
        reading
        for reading in readings
        if is_usable(reading)
        and stage.starts_at <= reading.at
        and (stage.ends_at is None or reading.at <= stage.ends_at)
    ]


def _place_is(reading: Reading, words: Sequence[str]) -> bool:
    place = (reading.place or "").lower()
    return any(word in place for word in words)


def _measured_in_kiln(
    history: History, stage: Stage, looks: Sequence[tuple[float, float]], points: Sequence[Point]
) -> tuple[float, float] | None:
    """The last humidity of the air below the grain, with the temperature that the air had then.

    That of the room, and of what leaves the bed, is another air; a hygrometer whose place nobody wrote down is taken
    to hang in the kiln's own.
    """
    inside = [each for each in _inside(history.readings("humidity"), stage) if not _place_is(each, (*_ROOM, *_ABOVE))]
    if not inside or inside[-1].value is None:
        return None
    hour = history.hour(inside[-1].at)
    near = [look for look in looks if abs(look[0] - hour) <= SAME_TIME_H]
    then_c = next((point.temperature_c for point in reversed(points) if point.hour <= hour), points[0].temperature_c)
    if near:
        then_c = min(near, key=lambda each: abs(each[0] - hour))[1]
    return then_c, min(max(inside[-1].value, 0.01), 0.98)


def _read_in_room(history: History, stage: Stage) -> tuple[list[Reading], list[Reading]]:
    """What the room's thermometer and hygrometer showed before the kiln's end."""
    air = [
        reading for reading in history.readings("air_temperature") if is_usable(reading) and _is_before(reading, stage)
    ]
    humid = [
        reading
        for reading in history.readings("humidity")
        if is_usable(reading) and _is_before(reading, stage) and _place_is(reading, _ROOM)
    ]
    return air, humid


def _room(air: Sequence[Reading], humid: Sequence[Reading]) -> tuple[float, float]:
    """The air that is heated, by the last of either."""
    temperature = air[-1].value if air and air[-1].value is not None else USUAL_ROOM[0]
    humidity = humid[-1].value if humid and humid[-1].value is not None else USUAL_ROOM[1]
    return min(max(temperature, -20.0), 45.0), min(max(humidity, 0.05), 0.98)


def _is_before(reading: Reading, stage: Stage) -> bool:
    return stage.ends_at is None or reading.at <= stage.ends_at
