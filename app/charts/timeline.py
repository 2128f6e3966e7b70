"""The timeline of one batch: moisture and temperature over one axis of hours, as one plain Plotly figure."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from app.charts.backdrop import ROWS, backdrop
from app.charts.frame import Frame, Panel, frame_of, stacked
from app.charts.hover import temperature_symbol
from app.charts.moisture_panel import moisture_panel
from app.charts.temperature_panel import temperature_panel
from app.charts.theme import CONFIG, Figure, base_layout, hour_axis, panel_title, row_axis, token, value_axis
from app.judgement.flags.base import Flag
from app.judgement.history import History

_ROWS = (("strip", 58.0), ("gap", 30.0), ("moisture", 200.0), ("second gap", 36.0), ("temperature", 240.0))
_UTC = ZoneInfo("UTC")
_VIEWS = (
    ("steep", ("immersion", "air_rest")),
    ("germination", ("germination", "stewing")),
    ("kiln", ("kilning", "cooling")),
)
_CAPTION = (
    "Shaded bands are the programme’s targets, dotted lines call for caution, dashed red ones for acting at once. "
    "Upright bars: the 95 % interval of a moisture, or the lowest and highest since the last look. "
    "Level bars: some time within."
)
_NOTHING_YET = "Nothing measured yet: what is kept appears here."


def timeline_figure(
    history: History,
    now: datetime,
    flags: Sequence[Flag],
    *,
    units: str = "metric",
    zone: ZoneInfo = _UTC,
) -> Figure:
    """The figure as a dict of data, layout and config.

    layout.meta holds what the page's script needs beside Plotly: the height of the plot alone, and the views that
    one can choose, each as what has to change for it.
    """
    frame = frame_of(history, now, units, zone)
    behind, moisture, temperature = (
        backdrop(frame, flags), moisture_panel(frame), temperature_panel(frame),
    )  # fmt: skip
    views = _views(frame, moisture, temperature)
    return {
        "data": [*behind.traces, *moisture.traces, *temperature.traces],
        "layout": _layout(views)
        | {"shapes": [*behind.shapes, *moisture.shapes, *temperature.shapes]}
        | _words(frame, is_bare=not moisture.traces and not temperature.traces),
        "config": dict(CONFIG),
    }


def _layout(views: Sequence[dict[str, Any]]) -> dict[str, Any]:
    whole, domains = stacked(_ROWS)
    first = views[0]["set"]
    layout = base_layout()
    return layout | {
        "height": whole + layout["margin"]["t"] + layout["margin"]["b"],
        "xaxis": hour_axis(first["xaxis.range"], "y2"),
        "yaxis": value_axis(first["yaxis.range"], domains["moisture"]),
        "yaxis2": value_axis(first["yaxis2.range"], domains["temperature"]),
        "yaxis3": row_axis(ROWS, domains["strip"]),
        "meta": {
            "caption": _CAPTION,
            "plot_height": whole,
            "views": list(views) if len(views) > 2 else list(views[:1]),
        },
    }


def _words(frame: Frame, *, is_bare: bool) -> dict[str, Any]:
    _, domains = stacked(_ROWS)
    said = [
        panel_title("Moisture, % wet basis", domains["moisture"][1]),
        panel_title(f"Temperature, {temperature_symbol(frame.units)}", domains["temperature"][1]),
    ]
    if is_bare:
        said.append(_in_the_middle(_NOTHING_YET, sum(domains["moisture"]) / 2))
    return {"annotations": said}


def _in_the_middle(text: str, height: float) -> dict[str, Any]:
    return {
        "text": text, "xref": "paper", "yref": "paper", "x": 0.5, "y": round(height, 4), "showarrow": False,
        "font": {"size": 14, "color": token("soft")},
    }  # fmt: skip


def _views(frame: Frame, moisture: Panel, temperature: Panel) -> list[dict[str, Any]]:
    """The whole batch first, then its parts: a few degrees on the floor are not seen on the scale of a kiln."""
    views = [_view("whole", frame, frame.low_h, frame.high_h, moisture, temperature)]
    for name, stages in _VIEWS:
        spans = frame.named(*stages)
        if spans:
            end_h = min(spans[-1].end_h, frame.high_h)
            views.append(_view(name, frame, spans[0].start_h, end_h, moisture, temperature))
    return views


def _view(name: str, frame: Frame, low_h: float, high_h: float, moisture: Panel, temperature: Panel) -> dict[str, Any]:
    wet = moisture.bounds(low_h, high_h)
    warm = temperature.bounds(low_h, high_h)
    is_part = name != "whole"
    margin = 0.02 * (high_h - low_h) + 0.05 if is_part else 0.0
    changes = {
        "xaxis.range": [round(low_h - margin, 3), round(high_h + margin, 3)],
        "yaxis.range": _padded(wet, 2.0) if wet and is_part else [0.0, max(50.0, (wet or (0.0, 0.0))[1] + 2.0)],
        "yaxis2.range": _padded(warm, 1.0) if warm else ([32.0, 86.0] if frame.units == "us" else [0.0, 30.0]),
    }
    return {"name": name, "set": changes}


def _padded(bounds: tuple[float, float], least: float) -> list[float]:
    low, high = bounds
    margin = max(least, 0.06 * (high - low))
    return [round(low - margin, 2), round(high + margin, 2)]
