"""What a weighing should come to, from what the same bag, tray or charge weighed before."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from app.judgement.facts.kind_parts import Plausible, Span
from app.judgement.facts.shapes import Weighing
from app.judgement.grain.charges import Charged, grain_at
from app.judgement.grain.moisture_samples import net_of, tray_start
from app.judgement.history.history import History
from app.judgement.programmes.programme import Programme

MOST_OF_CHARGE = 2.2
"""Nothing of a batch weighs more than its whole charge does at 60 % of water: (1 - 0.12) / (1 - 0.6), of grain charged
at 12 % [D]. That none gets wetter is from memory [M]."""

HOLDS_AT_MOST = 4.0
"""Times its charge: grain charged at 12 % would be 78 % water [D], and none is [M]. Beyond it nobody can insist."""

_OF_CHARGE: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "charge_weighing": {"net_kg": (0.4, MOST_OF_CHARGE)},
    "skimmings": {"net_kg": (0.0, 0.3), "of_kg": (0.0, MOST_OF_CHARGE)},
    "loss": {"net_kg": (0.0, 1.5)},
    "culms": {"net_kg": (0.001, 0.25)},
    "outturn": {"net_kg": (0.02, 1.1)},
    "inspection": {"ergot_kg": (0.0, 0.05)},
    "pack": {"as_is_kg": (0.0, 1.1)},
    "split": {"as_is_kg": (0.0, MOST_OF_CHARGE)},
}
"""How much of the charge each may weigh, from memory and wide: green malt is half as heavy again as its grain."""

FILLED_BEFORE = timedelta(hours=1)
"""A tray weighed up to an hour before the loading was weighed for that load."""

_LEAST_KG = 0.005
_LARGEST_KG = {"test_bag_start": 5.0, "test_bag": 5.0 * MOST_OF_CHARGE, "tray": math.inf}
_HEAVY_TARE_KG = 3.0
"""So heavy a tray or tub may be, or as heavy as the grain that was charged. This and what a bag holds: from memory."""
_DELIVERY = Span(0.2, 40_000.0)
"""From a jar to a lorry: from memory."""
_CHARGE = {"kitchen": Span(0.05, 60.0), "floor": Span(0.5, 20_000.0)}


def expected_masses(
    kind: str, values: Mapping[str, Any], history: History | None, programme: Programme | None, at: datetime
) -> dict[str, Plausible] | None:
    """What gross and net, or the weight as it is, should come to, kg; None where nothing is known to go by."""
    if kind == "charge":
        span = _CHARGE.get(programme.scale) if programme else None
        return {"as_is_kg": _around(span)} if span else None
    tare_kg = float(values.get("tare_kg") or 0.0)
    if kind == "intake":
        return _weighed(_DELIVERY, Span(tare_kg, tare_kg))
    start = _start(kind, values.get("vessel"), history, at) if history is not None else None
    if start is None:
        return by_charge(kind, values, history, at)
    net_kg = net_of(start, start)
    low, high = (0.4, 1.15) if kind == "tray" else (0.8, 2.2)
    most_kg = most_of(grain_at(history, at)) if history is not None else math.inf
    masses = _weighed(Span(low * net_kg, high * net_kg), Span(tare_kg, tare_kg), most_kg)
    # Lighter than its own dry matter nothing can be: that is asked about in any case.
    return {name: each._replace(wild=Span(each.possible.low, each.wild.high)) for name, each in masses.items()}


def by_charge(
    kind: str, values: Mapping[str, Any], history: History | None, at: datetime
) -> dict[str, Plausible] | None:
    """The same by what there is of the grain alone. More than all of it is asked about in any case."""
    if kind not in _LARGEST_KG and kind not in _OF_CHARGE:
        return None
    whole = grain_at(history, at) if history is not None else None
    most_kg = most_of(whole)
    tare = _tare(kind, values, history, whole, at)
    if kind in _LARGEST_KG:
        high_kg = min(most_kg, _LARGEST_KG[kind])
        return _weighed(Span(min(_LEAST_KG, high_kg), high_kg), tare, high_kg) if high_kg < math.inf else None
    if whole is None:
        return None
    masses: dict[str, Plausible] = {}
    for target, (low, high) in _OF_CHARGE[kind].items():
        of_kg = float(values.get("of_kg") or whole.as_is_kg) if target == "net_kg" else whole.as_is_kg
        # Out of more than there is nothing was looked through: that is asked about, and nothing goes by it.
        of_kg = of_kg if of_kg <= most_kg else whole.as_is_kg
        span = Span(low * of_kg, high * of_kg)
        masses |= _weighed(span, tare, most_kg) if target == "net_kg" else {target: _around(span, most_kg)}
    return masses


def most_of(whole: Charged | None) -> float:
    """The most that anything of a charge can weigh, kg."""
    return MOST_OF_CHARGE * whole.as_is_kg if whole is not None else math.inf


def can_weigh(kind: str, values: Mapping[str, Any], history: History | None, at: datetime) -> float:
    """The most that a scale can show of this batch, kg; with a vessel, where none was taken off. inf: not known."""
    whole = grain_at(history, at) if history is not None and (kind in _OF_CHARGE or kind in _LARGEST_KG) else None
    if whole is None:
        return math.inf
    vessel_kg = 0.0 if values.get("tare_kg") else max(_HEAVY_TARE_KG, whole.as_is_kg)
    return HOLDS_AT_MOST * whole.as_is_kg + vessel_kg


def _weighed(net: Span, tare: Span, most_kg: float = math.inf) -> dict[str, Plausible]:
    """tare: what may lie on the scale beside the grain."""
    gross = Span(net.low + tare.low, net.high + tare.high)
    return {"gross_kg": _around(gross, most_kg + tare.high), "net_kg": _around(net, most_kg)}


def _around(span: Span, most_kg: float = math.inf) -> Plausible:
    return Plausible(span, span, Span(span.low / 20.0, max(span.high, min(span.high * 20.0, most_kg))))


def _tare(kind: str, values: Mapping[str, Any], history: History | None, whole: Charged | None, at: datetime) -> Span:
    """As typed, unless nothing so heavy was ever filled here; of a bag or tray that nobody weighed empty, anything."""
    tare_kg = float(values.get("tare_kg") or 0.0)
    known_kg = known_tare(kind, values.get("vessel"), history, at) or 0.0
    heavy_kg = max(_HEAVY_TARE_KG, whole.as_is_kg if whole else 0.0, known_kg)
    if tare_kg:
        return Span(tare_kg, tare_kg) if whole is None or tare_kg <= heavy_kg else Span(0.0, heavy_kg)
    return Span(0.0, heavy_kg if kind in _LARGEST_KG and not known_kg else 0.0)


def _start(kind: str, vessel: Any, history: History, at: datetime) -> Weighing | None:
    """What the same bag or tray weighed at its start, a tray when the grain was last loaded; none that can't be."""
    if kind not in ("test_bag", "tray"):
        return None
    start = _bag_start(vessel, history, at) if kind == "test_bag" else _tray_start(vessel, history, at)
    return start if start is not None and net_of(start, start) <= most_of(grain_at(history, start.at)) else None


def _bag_start(vessel: Any, history: History, at: datetime) -> Weighing | None:
    mine = [weighing for weighing in history.of_shape(Weighing, "test_bag_start") if weighing.vessel == vessel]
    return history.last_before(at, mine)


def _tray_start(vessel: Any, history: History, at: datetime) -> Weighing | None:
    mine = [
        weighing for weighing in history.of_shape(Weighing, "tray") if weighing.vessel == vessel and weighing.at < at
    ]
    loads = [fact.at for fact in history.of_kind("loaded") if fact.at <= at]
    if not mine or (loads and mine[-1].at < loads[-1] - FILLED_BEFORE):
        return None
    return tray_start(history, mine[-1])


def known_tare(kind: str, vessel: Any, history: History | None, at: datetime) -> float | None:
    """The last tare known of this bag or tray."""
    if history is None or kind not in _LARGEST_KG:
        return None
    tares = [
        weighing.tare_kg
        for weighing in history.of_shape(Weighing, *_LARGEST_KG)
        if weighing.vessel == vessel and weighing.at < at and weighing.tare_kg
    ]
    return tares[-1] if tares else None
