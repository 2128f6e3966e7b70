"""Twenty planted faults: each alters the world or the record, and says which record shows it and until when to mend it.

Nobody in the story sees or mends it: what would have been done is for the reader of the record to say in time.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

Record = Mapping[str, Any]
ALL_GRAINS = ("barley", "wheat", "rye", "oats")
ALL_SETTINGS = ("kitchen", "floor", "two_bed")


@dataclass
class Tweaks:
    """What is otherwise than it should be. Hours on the kiln count from heat on, those of the floor from cast."""

    water_c: float | None = None
    last_steep_extra_h: float = 0.0
    growth: float = 1.0
    germination_extra_h: float = 0.0
    corner_from_h: float | None = None
    corner_k: float = 0.0
    mould_from_h: float | None = None
    stew_c: float | None = None
    fan_off: tuple[float, float] | None = None
    paused: tuple[float, float] | None = None
    power_cut: tuple[float, float] | None = None
    withering_extra_k: float = 0.0
    curing_c: float | None = None
    second_load_after_h: float | None = None
    probe_k: float = 0.0
    bag_slip_kg: float = 0.0
    tray_slip: str = ""
    gas_ppm: float | None = None
    is_foul: bool = False
    is_treated: bool = False


Shows = Callable[[Record, float, Any], bool]
Until = Callable[[float, Any], float]


@dataclass(frozen=True)
class Fault:
    """shows: whether a record, of an hour, tells it, given the truth; until: when it is too late, by when it shows."""

    name: str
    plant: Callable[[np.random.Generator], Tweaks]
    shows: Shows
    until: Until
    grains: tuple[str, ...] = ALL_GRAINS
    settings: tuple[str, ...] = ALL_SETTINGS
    people: tuple[str, ...] = ("careful", "sloppy", "no_small_scale")
    programme: str = ""


@dataclass(frozen=True)
class Planted:
    """What Run.fault tells. shown_by: the records in which it is seen."""

    name: str
    starts_h: float
    mendable_until_h: float
    shown_by: frozenset[str]
    tweaks: Tweaks = field(compare=False)


def _value(record: Record) -> float:
    return float(record["values"].get("value", 0.0))


def _hotter(kinds: tuple[str, ...], than_c: float, wetter_than: float = 0.0) -> Shows:
    return lambda record, hour, truth: bool(
        record["kind"] in kinds
        and _value(record) > than_c
        and hour > truth.loaded_h
        and truth.moisture(hour) > wetter_than
    )


def _slipped(kind: str) -> Shows:
    return lambda record, hour, truth: record["kind"] == kind and record["id"] in truth.slips


def _stopped(record: Record, hour: float, truth: Any) -> bool:
    start, hours = truth.tweaks.fan_off or (0.0, 0.0)
    told = record["kind"] in ("air_on_temperature", "air_off_temperature", "tray")
    return bool(told and start + 0.3 < hour - truth.heat_on_h < start + hours)


def _slow(record: Record, hour: float, truth: Any) -> bool:
    """Half of them not chitted after a day, or next to none beyond a quarter on the third day of the floor."""
    counts, looked_at = record["values"].get("counts", {}), record["values"].get("looked_at", 0)
    if record["kind"] == "chit_count":
        return bool(hour > 24.0 and counts["chitted"] < 0.5 * looked_at)
    return bool(
        record["kind"] == "growth_count" and hour > truth.cast_h + 60.0 and counts["to_quarter"] > 0.85 * looked_at
    )


def _too_long(record: Record, hour: float, truth: Any) -> bool:
    if record["kind"] != "growth_count":
        return False
    counts = record["values"]["counts"]
    return bool(counts["over"] > 0.5 * record["values"]["looked_at"])


def _found(aspect: str, *words: str) -> Shows:
    return lambda record, hour, truth: (
        record["kind"] == "inspection" and record["values"]["findings"].get(aspect) in words
    )


def _ends(kind: str) -> Until:
    """When the truth's next change of stage of that kind comes."""
    return lambda starts, truth: truth.first_after(kind, starts)


def _hours(later: float) -> Until:
    return lambda starts, truth: starts + later


_TRAYS = ("careful", "sloppy", "no_small_scale")
_FLOORS = ("floor", "two_bed")
_AIR = ("air_on_temperature",)

_ALL = (
    Fault("fan_failure", lambda rng: Tweaks(fan_off=(rng.uniform(1.5, 3.0), rng.uniform(7.0, 10.0))), _stopped,
          lambda starts, truth: truth.heat_on_h + truth.tweaks.fan_off[0] + 6.0),
    Fault("pause", lambda rng: Tweaks(paused=(rng.uniform(2.0, 4.5), rng.uniform(2.0, 4.0))),
          lambda record, hour, truth: record["kind"] == "paused", _hours(6.0)),
    Fault("power_cut", lambda rng: Tweaks(power_cut=(rng.uniform(2.0, 4.5), rng.uniform(2.0, 5.0))),
          lambda record, hour, truth: record["kind"] == "interruption", _hours(6.0)),
    Fault("probe_off", lambda rng: Tweaks(probe_k=float(rng.choice([-2.0, 2.0])) * rng.uniform(1.0, 1.3)),
          lambda record, hour, truth: record["kind"] == "water_temperature" and record.get("instrument") == "probe 2",
          _ends("heat_off"), people=("careful", "no_trays", "no_small_scale")),
    Fault("bag_wrong", lambda rng: Tweaks(bag_slip_kg=float(rng.choice([-0.1, 0.1]))), _slipped("test_bag"),
          _ends("cast"), people=("careful", "no_trays")),
    Fault("tray_heavier", lambda rng: Tweaks(tray_slip="heavier"), _slipped("tray"), _ends("heat_off"), people=_TRAYS),
    Fault("tare_forgotten", lambda rng: Tweaks(tray_slip="tare"), _slipped("tray"), _ends("heat_off"), people=_TRAYS),
    Fault("water_too_warm", lambda rng: Tweaks(water_c=rng.uniform(25.5, 30.0)),
          lambda record, hour, truth: record["kind"] == "water_temperature" and _value(record) > 23.0,
          lambda starts, truth: max(starts + 1.0, truth.first_after("drained", starts))),
    Fault("oversteeped", lambda rng: Tweaks(last_steep_extra_h=rng.uniform(9.0, 14.0)),
          lambda record, hour, truth: (
              record["kind"] == "test_bag" and truth.planned_cast_h + 3.0 < hour <= truth.cast_h),
          lambda starts, truth: truth.cast_h + 12.0, people=("careful", "no_trays", "no_small_scale")),
    Fault("hot_corner", lambda rng: Tweaks(corner_from_h=rng.uniform(30.0, 60.0), corner_k=rng.uniform(8.0, 12.0)),
          lambda record, hour, truth: bool(
              record["kind"] == "grain_temperature" and record.get("place", "").endswith("corner")
              and _value(record) > 22.0), _hours(12.0), settings=_FLOORS, people=("careful", "no_trays")),
    Fault("mould", lambda rng: Tweaks(mould_from_h=rng.uniform(40.0, 80.0)), _found("mould", "yes"), _ends("loaded")),
    Fault("slow_lot", lambda rng: Tweaks(growth=rng.uniform(0.40, 0.52)), _slow,
          lambda starts, truth: max(truth.cast_h + 48.0, starts + 24.0)),
    Fault("overgrown", lambda rng: Tweaks(germination_extra_h=rng.uniform(50.0, 75.0)), _too_long, _ends("loaded")),
    Fault("case_hardened", lambda rng: Tweaks(withering_extra_k=rng.uniform(30.0, 36.0)),
          _hotter(_AIR, 76.0, 0.2), lambda starts, truth: max(starts + 2.0, truth.below_h(0.25))),
    Fault("scorched", lambda rng: Tweaks(curing_c=rng.uniform(125.0, 140.0)),
          _hotter((*_AIR, "grain_temperature"), 110.0), _hours(1.5), people=("careful", "no_trays")),
    Fault("stewing_stuck", lambda rng: Tweaks(stew_c=rng.uniform(41.0, 43.5)),
          lambda record, hour, truth: bool(
              record["kind"] == "grain_temperature" and truth.stage(hour) == "stewing" and _value(record) < 50.0
              and hour > truth.first_after("stew_on", 0.0) + 1.0),
          lambda starts, truth: truth.first_after("stew_on", 0.0) + 5.0,
          grains=("barley",), settings=("floor",), people=("careful", "no_trays"), programme="caramel"),
    Fault("two_loads", lambda rng: Tweaks(second_load_after_h=rng.uniform(3.0, 6.0)),
          lambda record, hour, truth: record["kind"] == "loaded" and hour > truth.loaded_h + 1.0, _ends("heat_off")),
    Fault("gas_in_room", lambda rng: Tweaks(gas_ppm=rng.uniform(15_000.0, 30_000.0)),
          lambda record, hour, truth: record["kind"] == "co2_room" and _value(record) > 10_000.0, _hours(1.0)),
    Fault("foul_water", lambda rng: Tweaks(is_foul=True), _found("steep", "foaming", "gassy"), _hours(4.0)),
    Fault("treated_lot", lambda rng: Tweaks(is_treated=True),
          lambda record, hour, truth: (
              record["kind"] == "declaration" and record["values"]["findings"]["untreated"] == "no"),
          _ends("finished")),
)  # fmt: skip

FAULTS: Mapping[str, Fault] = MappingProxyType({fault.name: fault for fault in _ALL})
