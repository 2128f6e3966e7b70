"""What a weighing should come to, from what the same bag, tray or charge weighed before."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from app.judgement.facts import Weighing
from app.judgement.history import History
from app.judgement.moisture_samples import charged, net_of, tray_start
from app.judgement.plausible import Plausible, Span
from app.judgement.programme import Programme

_OF_CHARGE: Mapping[str, tuple[float, float]] = {
    "charge_weighing": (0.4, 2.2),
    "skimmings": (0.0, 0.3),
    "loss": (0.0, 1.5),
    "culms": (0.0, 0.25),
    "outturn": (0.02, 1.1),
}
"""How much of the charge each may weigh, from memory and wide: green malt is half as heavy again as its grain."""

FILLED_BEFORE = timedelta(hours=1)
"""A tray weighed up to an hour before the loading was weighed for that load."""

_VESSELS = frozenset({"test_bag", "test_bag_start", "tray"})
_BAG = Span(0.005, 5.0)
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
    if kind == "test_bag_start":
        return _with_tare(_BAG, values)
    if kind == "intake":
        return _with_tare(_DELIVERY, values)
    if history is None:
        return None
    if kind in ("test_bag", "tray"):
        start = _start(kind, values.get("vessel"), history, at)
        if start is None:
            return None
        net_kg = net_of(start, start)
        low, high = (0.4, 1.15) if kind == "tray" else (0.8, 2.2)
        # Lighter than its own dry matter nothing can be: that is asked about in any case.
        return {
            name: each._replace(wild=Span(each.possible.low, each.wild.high))
            for name, each in _with_tare(Span(low * net_kg, high * net_kg), values).items()
        }
    whole = charged(history, at)
    if kind not in _OF_CHARGE or whole is None:
        return None
    low, high = _OF_CHARGE[kind]
    of_kg = values.get("of_kg") or whole.as_is_kg
    return _with_tare(Span(low * of_kg, high * of_kg), values)


def _with_tare(net: Span, values: Mapping[str, Any]) -> dict[str, Plausible]:
    tare_kg = float(values.get("tare_kg") or 0.0)
    return {"gross_kg": _around(net.wider(-tare_kg, tare_kg)), "net_kg": _around(net)}


def _around(span: Span) -> Plausible:
    return Plausible(span, span, Span(span.low / 20.0, span.high * 20.0))


def _start(kind: str, vessel: Any, history: History, at: datetime) -> Weighing | None:
    """What the same bag or tray weighed at its start: a tray, when the grain was last loaded."""
    if kind == "test_bag":
        mine = [each for each in history.of_shape(Weighing, "test_bag_start") if each.vessel == vessel]
        return history.last_before(at, mine)
    mine = [each for each in history.of_shape(Weighing, "tray") if each.vessel == vessel and each.at < at]
    loads = [fact.at for fact in history.of_kind("loaded") if fact.at <= at]
    if not mine or (loads and mine[-1].at < loads[-1] - FILLED_BEFORE):
        return None
    return tray_start(history, mine[-1])


def known_tare(kind: str, vessel: Any, history: History | None, at: datetime) -> float | None:
    """The last tare known of this bag or tray."""
    if history is None or kind not in _VESSELS:
        return None
    tares = [
        weighing.tare_kg
        for weighing in history.of_shape(Weighing, *_VESSELS)
        if weighing.vessel == vessel and weighing.at < at and weighing.tare_kg
    ]
    return tares[-1] if tares else None
