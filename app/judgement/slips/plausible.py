"""What a value is usually like, by kind, stage and programme: only to tell a slip of the pen from a reading.

Far wider than any limit of a programme. All from memory or from what the trade's scales and kilns are made for: a
value outside is asked about, never refused.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from app.judgement.programmes.programme import Programme


class Span(NamedTuple):
    """From low to high, both included."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        slack = 1e-9 * max(1.0, abs(value))
        return self.low - slack <= value <= self.high + slack

    def wider(self, below: float, above: float) -> Span:
        return Span(self.low - below, self.high + above)


class Plausible(NamedTuple):
    """usual: a value that needs no second look; possible: outside it one asks, if another reading of it is usual;
    wild: outside it one asks in any case."""

    usual: Span
    possible: Span
    wild: Span


TEMPERATURES = frozenset(
    {
        "water_temperature",
        "grain_temperature",
        "air_temperature",
        "air_on_temperature",
        "air_off_temperature",
        "set_point",
    }
)
_HEATED = ("kilning", "stewing")
_KILN_DEFAULT_C = 120.0
_ROAST_C = 245.0

_PLAIN: dict[str, Plausible] = {
    "humidity": Plausible(Span(0.15, 1.0), Span(0.05, 1.0), Span(0.0, 1.0)),
    "ph": Plausible(Span(3.5, 9.0), Span(3.0, 10.0), Span(2.0, 12.0)),
    "co2_room": Plausible(Span(350.0, 30_000.0), Span(300.0, 60_000.0), Span(200.0, 200_000.0)),
    "co2_bed": Plausible(Span(400.0, 250_000.0), Span(300.0, 400_000.0), Span(200.0, 800_000.0)),
    "bed_depth": Plausible(Span(0.01, 1.2), Span(0.005, 2.0), Span(0.001, 4.0)),
    "kernel_weight": Plausible(Span(0.02, 0.07), Span(0.01, 0.1), Span(0.005, 0.2)),
}
_MOISTURE: dict[str, Span] = {
    "charged": Span(0.06, 0.25),
    "immersion": Span(0.1, 0.55),
    "air_rest": Span(0.2, 0.55),
    "germination": Span(0.3, 0.55),
    "stewing": Span(0.3, 0.55),
    "kilning": Span(0.01, 0.55),
    "cooling": Span(0.01, 0.15),
    "finished": Span(0.01, 0.15),
}


def plausible_range(
    kind: str, stage: str, programme: Programme | None, target: str = "value"
) -> tuple[float, float] | None:
    """(low, high) in SI, outside which a value of this kind is asked about; None where nothing can be said.

    target: the attribute of the fact: value, or moisture_wb of a weighing.
    """
    found = plausible(kind, stage, programme, target)
    return None if found is None else (found.possible.low, found.possible.high)


@lru_cache(maxsize=1024)
def plausible(kind: str, stage: str, programme: Programme | None, target: str = "value") -> Plausible | None:
    """What is usual, possible and wild for a value of this kind at this stage."""
    if target == "moisture_wb" or (kind == "moisture_test" and target == "value"):
        return _moisture(kind, stage)
    if target != "value":
        return None
    if kind in TEMPERATURES:
        return _temperature(kind, stage, programme)
    return _PLAIN.get(kind)


def _moisture(kind: str, stage: str) -> Plausible:
    raw = {"charge": "charged", "test_bag_start": "charged", "intake": "charged"}
    malt = {"outturn": "finished", "pack": "finished", "roast_charge": "finished"}
    usual = _MOISTURE.get(raw.get(kind) or malt.get(kind) or stage, Span(0.01, 0.6))
    return Plausible(usual, Span(max(usual.low / 2, 0.005), min(usual.high + 0.1, 0.65)), Span(0.002, 0.8))


def _temperature(kind: str, stage: str, programme: Programme | None) -> Plausible:
    usual, possible = _temperature_spans(kind, stage, programme)
    return Plausible(usual, possible, possible.wider(20.0, 40.0))


def _temperature_spans(kind: str, stage: str, programme: Programme | None) -> tuple[Span, Span]:
    if kind == "water_temperature":
        return Span(4.0, 28.0), Span(0.0, 32.0)
    if kind == "air_temperature":
        return Span(-10.0, 38.0), Span(-25.0, 60.0 if stage in _HEATED else 45.0)
    hottest = _hottest_c(programme, for_grain=kind == "grain_temperature")
    if kind == "grain_temperature":
        if stage in (*_HEATED, "cooling", "finished"):
            return Span(10.0, hottest - 5.0), Span(-5.0, hottest)
        return Span(6.0, 28.0), Span(1.0, 36.0)
    if stage not in _HEATED:
        return Span(0.0, 40.0), Span(-25.0, 60.0)
    # Air-on below this is a kiln that isn't lit: as good a reading as any, unless 65 was meant as °C.
    lowest = 5.0 if kind == "air_off_temperature" else 25.0
    return Span(lowest + 10.0, hottest - 5.0), Span(lowest, hottest)


def _hottest_c(programme: Programme | None, *, for_grain: bool) -> float:
    """What nothing on the programme's kiln should come near: 15 °C above its hottest bound for air."""
    if programme is None:
        return _KILN_DEFAULT_C
    if programme.purpose == "roasted":
        return _ROAST_C if for_grain else _ROAST_C + 60.0
    bounds = [
        high
        for key, limit in programme.limits.items()
        if key.startswith("air_on_temperature.")
        for _, _, high in limit.bands()
        if high is not None
    ]
    return max(bounds) + 15.0 if bounds else _KILN_DEFAULT_C
