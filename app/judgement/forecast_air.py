"""The air of the kiln as it was logged: how hot it went into the grain, how dry it was, and what that does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from app.judgement.facts import Reading
from app.judgement.forecast_course import is_usable, means_by_hour
from app.judgement.history import History
from app.judgement.priors import REFERENCE_AIR_C
from app.judgement.programme import Programme
from app.judgement.stages import Stage, all_stages
from app.science.drying import equilibrium_moisture_wb, rate_at_temperature
from app.science.humid_air import STANDARD_PRESSURE_PA, air_off, humidity_ratio, saturation_pressure_pa

USUAL_ROOM = (15.0, 0.70)
"""Air of the room where nobody measured it, °C and relative humidity, from memory."""

HOTTEST_C = 98.0
SAME_AIR_C = 2.0
"""Readings within this of one another are one piece of even air."""

_ROOM = ("room", "floor", "outside", "ambient", "fresh", "malthouse")
_ABOVE = ("above", "off", "top", "out", "exhaust")


@dataclass(frozen=True)
class Air:
    """Even air from an hour on. constant, falling: how many times faster each regime goes than in the reference air."""

    start_h: float
    temperature_c: float
    relative_humidity: float
    constant: float
    falling: float
    equilibrium_wb: float

    @property
    def equilibrium_db(self) -> float:
        return self.equilibrium_wb / (1.0 - self.equilibrium_wb)


@dataclass(frozen=True)
class KilnAir:
    """The pieces of air from the heat on; the last one holds on. room: what is heated, °C and relative humidity.

    water_from: the air in which the water in it was measured: the kiln's own, or the very `room`.
    """

    pieces: tuple[Air, ...]
    room: tuple[float, float]
    water_from: tuple[float, float]
    is_measured: bool
    is_room_warmth_read: bool
    is_room_humidity_read: bool

    @property
    def is_humidity_measured(self) -> bool:
        """In the kiln's own air, below the grain."""
        return self.water_from is not self.room


def kiln_air(history: History, stage: Stage, heat_at: datetime) -> KilnAir:
    """The air of one run of the kiln."""
    air, humid = _read_in_room(history, stage)
    room = _room(air, humid)
    start_h = history.hour(heat_at)
    hours, temperatures, is_measured = _air_on(history, stage, start_h)
    water_from = _measured_in_kiln(history, stage, hours, temperatures) or room
    pieces: list[Air] = []
    for hour, temperature in zip(hours, temperatures, strict=True):
        if pieces and abs(temperature - pieces[-1].temperature_c) < SAME_AIR_C:
            continue
        pieces.append(air_of(max(hour, start_h) if pieces else start_h, temperature, water_from))
    return KilnAir(tuple(pieces), room, water_from, is_measured, bool(air), bool(humid))


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


def _air_on(history: History, stage: Stage, start_h: float) -> tuple[list[float], list[float], bool]:
    """Hours and temperatures of the air into the grain: read, else as set, else as planned, else the reference."""
    for kind in ("air_on_temperature", "set_point"):
        inside = [each for each in _inside(history.readings(kind), stage) if history.hour(each.at) >= start_h - 0.1]
        if inside:
            return *means_by_hour(history, inside), True
    planned = planned_air(history.programme_at(stage.starts_at))
    hours = [start_h + hour for hour, _ in planned] or [start_h]
    return hours, [each for _, each in planned] or [REFERENCE_AIR_C], False


def planned_air(programme: Programme | None) -> list[tuple[float, float]]:
    """(hour from the heat on, air-on temperature) of each step on the kiln that plans one."""
    found: list[tuple[float, float]] = []
    hour = 0.0
    for step in programme.steps if programme else ():
        if step.stage == "kilning":
            if step.air_on_c is not None:
                found.append((hour, step.air_on_c))
            hour += step.hours
    return found


def _inside(readings: Sequence[Reading], stage: Stage) -> list[Reading]:
    return [
        each
        for each in readings
        if is_usable(each) and stage.starts_at <= each.at and (stage.ends_at is None or each.at <= stage.ends_at)
    ]


def _place_is(reading: Reading, words: Sequence[str]) -> bool:
    place = (reading.place or "").lower()
    return any(word in place for word in words)


def _measured_in_kiln(
    history: History, stage: Stage, hours: Sequence[float], temperatures: Sequence[float]
) -> tuple[float, float] | None:
    """The last humidity of the air below the grain, with the temperature that the air had then.

    That of the room, and of what leaves the bed, is another air; a hygrometer whose place nobody wrote down is taken
    to hang in the kiln's own.
    """
    inside = [each for each in _inside(history.readings("humidity"), stage) if not _place_is(each, (*_ROOM, *_ABOVE))]
    if not inside or inside[-1].value is None:
        return None
    hour = history.hour(inside[-1].at)
    before = [each for at, each in zip(hours, temperatures, strict=True) if at <= hour + 0.25]
    return (before[-1] if before else temperatures[0]), min(max(inside[-1].value, 0.01), 0.98)


def _read_in_room(history: History, stage: Stage) -> tuple[list[Reading], list[Reading]]:
    """What the room's thermometer and hygrometer showed before the kiln's end."""
    air = [each for each in history.readings("air_temperature") if is_usable(each) and _is_before(each, stage)]
    humid = [
        each
        for each in history.readings("humidity")
        if is_usable(each) and _is_before(each, stage) and _place_is(each, _ROOM)
    ]
    return air, humid


def _room(air: Sequence[Reading], humid: Sequence[Reading]) -> tuple[float, float]:
    """The air that is heated, by the last of either."""
    temperature = air[-1].value if air and air[-1].value is not None else USUAL_ROOM[0]
    humidity = humid[-1].value if humid and humid[-1].value is not None else USUAL_ROOM[1]
    return min(max(temperature, -20.0), 45.0), min(max(humidity, 0.05), 0.98)


def _is_before(reading: Reading, stage: Stage) -> bool:
    return stage.ends_at is None or reading.at <= stage.ends_at


def kilnings(history: History) -> list[tuple[Stage, datetime]]:
    """Each run on the kiln, and the moment from which it was heated."""
    found = []
    for stage in all_stages(history):
        if stage.name == "kilning":
            heats = [fact.at for fact in history.of_kind("heat_on") if fact.at >= stage.starts_at]
            inside = [at for at in heats if stage.ends_at is None or at <= stage.ends_at]
            found.append((stage, inside[0] if inside else stage.starts_at))
    return found


def last_kilning(history: History) -> tuple[Stage, datetime] | None:
    """The last run on the kiln."""
    return next(reversed(kilnings(history)), None)
