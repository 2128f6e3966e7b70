"""The timeline of one batch: moisture and temperature over one axis of hours, as one plain Plotly figure."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from app.charts.backdrop import backdrop
from app.charts.frame import Frame, Panel, frame_of, stacked
from app.charts.moisture_panel import moisture_panel
from app.charts.temperature_panel import temperature_panel
from app.charts.theme import CONFIG, Figure, base_layout, hidden_axis, hour_axis, panel_title, token, value_axis
from app.judgement.flags.base import Flag
from app.judgement.history import History

_ROWS = (("strip", 56.0), ("gap", 30.0), ("moisture", 200.0), ("second gap", 36.0), ("temperature", 240.0))
_UTC = ZoneInfo("UTC")
_VIEWS = (
    ("steep", ("immersion", "air_rest")),
    ("germination", ("germination", "stewing")),
    ("kiln", ("kilning", "cooling")),
)
_NOTHING_YET = "Nothing measured yet: what is kept appears here."


def timeline_figure(
    history: History,
    now: datetime,
    flags: Sequence[Flag],
    *,
    units: str = "metric",
    zone: ZoneInfo = _UTC,
    answered: Collection[tuple[str, str]] = (),
) -> Figure:
    """The figure as a dict of data, layout and config. answered: (rule, episode_id) of flags that were answered.

    layout.meta holds what the page's script needs beside Plotly: the height of the plot alone, and the views that
    one can choose, each as what has to change for it.
    """
    frame = frame_of(history, now, units, zone)
    behind, moisture, temperature = (
        backdrop(frame, flags, answered), moisture_panel(frame), temperature_panel(frame),
    )  # fmt: skip
    views = _views(frame, moisture, temperature)
    return {
        "data": [*behind.traces, *moisture.traces, *temperature.traces],
        "layout": _layout(frame, views)
        | {"shapes": [*behind.shapes, *moisture.shapes, *temperature.shapes]}
        | _words(frame, is_bare=not moisture.traces and not temperature.traces),
        "config": dict(CONFIG),
    }


def _layout(frame: Frame, views: Sequence[dict[str, Any]]) -> dict[str, Any]:
    whole, domains = stacked(_ROWS)
    first = views[0]["set"]
    layout = base_layout()
    return layout | {
        "height": whole + layout["margin"]["t"] + layout["margin"]["b"],
        "xaxis": hour_axis(first["xaxis.range"], "y2"),
        "yaxis": value_axis(first["yaxis.range"], domains["moisture"]),
        "yaxis2": value_axis(first["yaxis2.range"], domains["temperature"]),
        "yaxis3": hidden_axis((0.0, 3.0), domains["strip"]),
        "meta": {"plot_height": whole, "views": list(views) if len(views) > 2 else list(views[:1])},
    }


def _words(frame: Frame, *, is_bare: bool) -> dict[str, Any]:
    _, domains = stacked(_ROWS)
    unit = "°F" if frame.units == "us" else "°C"
    said = [
        panel_title("Moisture, % wet basis", domains["moisture"][1]),
        panel_title(f"Temperature, {unit}", domains["temperature"][1]),
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
            start, end = spans[0].start_h, min(spans[-1].end_h, frame.high_h)
            margin = 0.02 * (end - start) + 0.05
            views.append(_view(name, frame, start - margin, end + margin, moisture, temperature))
    return views


def _view(name: str, frame: Frame, low_h: float, high_h: float, moisture: Panel, temperature: Panel) -> dict[str, Any]:
    wet = moisture.bounds(low_h, high_h)
    warm = temperature.bounds(low_h, high_h)
    is_part = name != "whole"
    changes = {
        "xaxis.range": [round(low_h, 3), round(high_h, 3)],
        "yaxis.range": _padded(wet, 2.0) if wet and is_part else [0.0, max(50.0, (wet or (0.0, 0.0))[1] + 2.0)],
        "yaxis2.range": _padded(warm, 1.0) if warm else ([32.0, 86.0] if frame.units == "us" else [0.0, 30.0]),
    }
    return {"name": name, "set": changes}


def _padded(bounds: tuple[float, float], least: float) -> list[float]:
    low, high = bounds
    margin = max(least, 0.06 * (high - low))
    return [round(low - margin, 2), round(high + margin, 2)]
