"""The views of a chart that one can choose: the whole batch, or one part of it with axes that suit that part."""

from collections.abc import Mapping, Sequence
from typing import Any

from app.charts.frame import Frame, Panel

_PARTS: Mapping[str, tuple[str, ...]] = {
    "steep": ("immersion", "air_rest"),
    "germination": ("germination", "stewing"),
    "kiln": ("kilning", "cooling"),
}
_NO_TEMPERATURES = {"metric": [0.0, 30.0], "us": [32.0, 86.0]}
_LEAST_MOISTURE_TOP = 50.0


def views(frames: Sequence[Frame], moisture: Panel, temperature: Panel) -> list[dict[str, Any]]:
    """What has to change in the layout for each view, the whole first.

    A few degrees on the floor are not seen on the scale of a kiln: each part has its own range of values.
    """
    low, high = min(frame.low_h for frame in frames), max(frame.high_h for frame in frames)
    units = frames[0].units
    offered = [{"name": "whole", "set": _ranges(low, high, 0.0, moisture, temperature, units)}]
    for name, stages in _PARTS.items():
        spans = [(span, frame) for frame in frames for span in frame.named(*stages)]
        if spans:
            start_h = low if name == "steep" else min(span.start_h for span, _ in spans)
            end_h = max(min(span.end_h, frame.high_h) for span, frame in spans)
            margin = 0.02 * (end_h - start_h) + 0.05
            offered.append({"name": name, "set": _ranges(start_h, end_h, margin, moisture, temperature, units)})
    return offered if len(offered) > 2 else offered[:1]


def _ranges(
    low_h: float, high_h: float, margin: float, moisture: Panel, temperature: Panel, units: str
) -> dict[str, list[float]]:
    wet, warm = moisture.bounds(low_h, high_h), temperature.bounds(low_h, high_h)
    whole = [0.0, max(_LEAST_MOISTURE_TOP, (wet or (0.0, 0.0))[1] + 2.0)]
    return {
        "xaxis.range": [round(low_h - margin, 3), round(high_h + margin, 3)],
        "yaxis.range": _padded(wet, 2.0) if wet and margin else whole,
        "yaxis2.range": _padded(warm, 1.0) if warm else _NO_TEMPERATURES[units],
    }


def _padded(bounds: tuple[float, float], least: float) -> list[float]:
    low, high = bounds
    margin = max(least, 0.06 * (high - low))
    return [round(low - margin, 2), round(high + margin, 2)]
