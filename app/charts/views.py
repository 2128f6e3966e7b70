"""The views of a chart that one can choose: the whole batch, or one part of it with axes that suit that part."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.charts.frame import Frame, Panel

_PARTS: Mapping[str, tuple[str, ...]] = {
    "steep": ("immersion", "air_rest"),
    "germination": ("germination",),
    "kiln": ("stewing", "kilning", "cooling"),
}
_NO_TEMPERATURES = {"metric": [0.0, 30.0], "us": [32.0, 86.0]}
_LEAST_MOISTURE_TOP = 50.0

Bounds = tuple[float, float]


@dataclass(frozen=True)
class Drawn:
    """A batch with what is drawn of it."""

    frame: Frame
    moisture: Panel
    temperature: Panel


def views(drawn: Sequence[Drawn]) -> list[dict[str, Any]]:
    """What has to change in the layout for each view, the whole first.

    A few degrees on the floor are not seen on the scale of a kiln: each part has its own range of values, and that of
    several batches is the range of this part of each, though one may be on the kiln while another still grows.
    """
    low, high = min(each.frame.low_h for each in drawn), max(each.frame.high_h for each in drawn)
    offered = [{"name": "whole", "set": _ranges([(each, low, high) for each in drawn], is_part=False)}]
    for name, stages in _PARTS.items():
        parts = [
            (each, low if name == "steep" else span.start_h, min(span.end_h, each.frame.high_h))
            for each in drawn
            for span in each.frame.named(*stages)
        ]
        if parts:
            offered.append({"name": name, "set": _ranges(parts, is_part=True)})
    return offered if len(offered) > 2 else offered[:1]


def _ranges(parts: Sequence[tuple[Drawn, float, float]], *, is_part: bool) -> dict[str, list[float]]:
    """The ranges that suit some hours of each batch."""
    low_h, high_h = min(start for _, start, _ in parts), max(end for _, _, end in parts)
    margin = 0.02 * (high_h - low_h) + 0.05 if is_part else 0.0
    wet = _joined(each.moisture.bounds(start, end) for each, start, end in parts)
    warm = _joined(each.temperature.bounds(start, _before_next(each.frame, end)) for each, start, end in parts)
    whole = [0.0, max(_LEAST_MOISTURE_TOP, (wet or (0.0, 0.0))[1] + 2.0)]
    return {
        "xaxis.range": [round(low_h - margin, 3), round(high_h + margin, 3)],
        "yaxis.range": _padded(wet, 2.0) if wet and is_part else whole,
        "yaxis2.range": _padded(warm, 1.0) if warm else _NO_TEMPERATURES[parts[0][0].frame.units],
    }


def _before_next(frame: Frame, end_h: float) -> float:
    """What is read in the minute in which the kiln is loaded is as hot as the kiln."""
    return math.nextafter(end_h, -math.inf) if any(span.start_h == end_h for span in frame.spans) else end_h


def _joined(bounds: Iterable[Bounds | None]) -> Bounds | None:
    found = [each for each in bounds if each]
    return (min(low for low, _ in found), max(high for _, high in found)) if found else None


def _padded(bounds: Bounds, least: float) -> list[float]:
    low, high = bounds
    margin = max(least, 0.06 * (high - low))
    return [round(low - margin, 2), round(high + margin, 2)]
