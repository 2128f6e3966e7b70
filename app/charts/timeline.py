"""The timeline of one batch: moisture and temperature over one axis of hours, as one plain Plotly figure."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from app.charts.answered import answered_keys
from app.charts.backdrop import ROWS, backdrop
from app.charts.frame import Frame, frame_of, holder, stacked
from app.charts.hover import temperature_symbol
from app.charts.moisture_panel import moisture_panel
from app.charts.photo_marks import CAPTION, PhotoMark, photo_trace
from app.charts.temperature_panel import temperature_panel
from app.charts.theme import CONFIG, Figure, base_layout, hour_axis, panel_title, row_axis, token, value_axis
from app.charts.views import Drawn, views
from app.judgement.flags.answers import Key
from app.judgement.flags.base import Flag
from app.judgement.history.history import History

_ROWS = (("strip", 58.0), ("gap", 30.0), ("moisture", 200.0), ("second gap", 36.0), ("temperature", 240.0))
_UTC = ZoneInfo("UTC")
_CAPTION = (
    "Shaded: target. Dotted line: caution; dashed red: act now. Dashed curve: forecast. Upright bar: 95 % interval, or "
    "lowest and highest. Level bar: some time within."
)
_NOTHING_YET = "Nothing measured yet"


def timeline_figure(
    history: History,
    now: datetime,
    flags: Sequence[Flag],
    *,
    units: str = "metric",
    zone: ZoneInfo = _UTC,
    answered: Collection[Key] | None = None,
    photos: Sequence[PhotoMark] = (),
) -> Figure:
    """The figure as a dict of data, layout and config. answered: the keys of answered flags, where they are known.

    layout.meta holds what the page's script needs beside Plotly: the height of the plot alone, and the views that
    one can choose, each as what has to change for it.
    """
    frame = frame_of(history, now, units, zone)
    answered_flags = answered_keys(history, flags, now) if answered is None else answered
    behind, moisture, temperature = (
        backdrop(frame, flags, answered_flags), moisture_panel(frame), temperature_panel(frame),
    )  # fmt: skip
    marks = [photo_trace(frame, photos)] if photos else []
    return {
        "data": [*map(holder, ("y", "y2", "y3")), *behind.traces, *marks, *moisture.traces, *temperature.traces],
        "layout": _layout(views([Drawn(frame, moisture, temperature)]), _CAPTION + (CAPTION if photos else ""))
        | {"shapes": [*behind.shapes, *moisture.shapes, *temperature.shapes]}
        | _words(frame, is_bare=not moisture.traces and not temperature.traces),
        "config": dict(CONFIG),
    }


def _layout(offered: Sequence[dict[str, Any]], caption: str) -> dict[str, Any]:
    whole, domains = stacked(_ROWS)
    first = offered[0]["set"]
    layout = base_layout()
    return layout | {
        "height": whole + layout["margin"]["t"] + layout["margin"]["b"],
        "xaxis": hour_axis(first["xaxis.range"], "y2"),
        "yaxis": value_axis(first["yaxis.range"], domains["moisture"]),
        "yaxis2": value_axis(first["yaxis2.range"], domains["temperature"]),
        "yaxis3": row_axis(ROWS, domains["strip"]),
        "meta": {
            "caption": caption,
            "plot_height": whole,
            "views": list(offered),
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
