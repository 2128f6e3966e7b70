"""Two to six batches laid over one another from hour 0: their stages in rows, moisture, and grain temperature."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from statistics import fmean
from typing import Any
from zoneinfo import ZoneInfo

from app.charts.backdrop import error_bars, stage_row
from app.charts.frame import Frame, Panel, frame_of, holder, stacked
from app.charts.hover import (
    circumstances,
    hover,
    legend_name,
    plain,
    sample_hover,
    shown_temperature,
    temperature,
    temperature_symbol,
)
from app.charts.moisture_panel import moments_of, points_of
from app.charts.theme import (
    CONFIG,
    OVERLAID,
    Figure,
    Style,
    base_layout,
    hour_axis,
    panel_title,
    row_axis,
    token,
    value_axis,
)
from app.charts.views import Drawn, views
from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.moisture import determinations_by_place
from app.judgement.history.history import History

MOST_BATCHES = len(OVERLAID)
_STRIP_ROW = 18.0
_PANEL = 230.0
_UTC = ZoneInfo("UTC")
_ONE_LOOK = timedelta(minutes=15)
_CAPTION = (
    "Hour 0 is the first water of each batch. Lines of moisture are fitted through what was weighed and tested. "
    "Upright bars: the 95 % interval of a moisture, or the coolest and the warmest place of the bed at one look. "
    "Grain temperature is the mean of its places."
)


def comparison_figure(
    histories: Sequence[History], now: datetime, *, units: str = "metric", zone: ZoneInfo = _UTC
) -> Figure:
    """The figure as a dict of data, layout and config. Batches beyond the sixth are refused."""
    if not 1 <= len(histories) <= MOST_BATCHES:
        raise ValueError(f"one to {MOST_BATCHES} batches can be laid over one another, not {len(histories)}")
    frames = [frame_of(history, now, units, zone) for history in histories]
    strip, drawn = Panel(), []
    for place, (frame, look) in enumerate(zip(frames, OVERLAID, strict=False)):
        style = replace(look, word=_name(frame.history, place))
        stage_row(frame, strip, len(frames) - place - 0.5)
        drawn.append(Drawn(frame, _moisture(frame, style), _warmth(frame, style)))
    panels = [*(each.moisture for each in drawn), *(each.temperature for each in drawn)]
    curves = [trace for panel in panels for trace in panel.traces]
    return {
        "data": [*map(holder, ("y", "y2", "y3")), *strip.traces, *curves],
        "layout": _layout(frames, views(drawn)) | {"shapes": strip.shapes},
        "config": dict(CONFIG),
    }


def _name(history: History, place: int) -> str:
    """The batch as the legend calls it."""
    return legend_name(f"{_short_name(history, place)} {history.batch.title}".strip())


def _short_name(history: History, place: int) -> str:
    return str(history.batch.number) if history.batch.number else "ABCDEF"[place]


def _layout(frames: Sequence[Frame], offered: Sequence[dict[str, Any]]) -> dict[str, Any]:
    rows = (("strip", _STRIP_ROW * len(frames)), ("gap", 32.0), ("moisture", _PANEL), ("second gap", 36.0))
    whole, domains = stacked([*rows, ("temperature", _PANEL)])
    first = offered[0]["set"]
    names = {len(frames) - place - 0.5: plain(_short_name(frame.history, place)) for place, frame in enumerate(frames)}
    layout = base_layout()
    return layout | {
        "height": whole + layout["margin"]["t"] + layout["margin"]["b"],
        "xaxis": hour_axis(first["xaxis.range"], "y2"),
        "yaxis": value_axis(first["yaxis.range"], domains["moisture"]),
        "yaxis2": value_axis(first["yaxis2.range"], domains["temperature"]),
        "yaxis3": row_axis(names, domains["strip"]),
        "annotations": [
            panel_title("Moisture, % wet basis", domains["moisture"][1]),
            panel_title(f"Grain temperature, {temperature_symbol(frames[0].units)}", domains["temperature"][1]),
        ],
        "meta": {"caption": _CAPTION, "plot_height": whole, "views": list(offered)},
    }


def _moisture(frame: Frame, style: Style) -> Panel:
    panel = Panel()
    determined = determinations_by_place(frame.history)
    widths: list[float | None] = [round(100.0 * sample.half_width, 3) for sample in determined]
    past, _ = moments_of(frame, determined) if determined else ([], [])
    points = points_of(frame, past)
    panel.traces.append(
        _curve(style, "y")
        | {"mode": "lines", "x": [point.hour for point in points], "y": [point.percent for point in points]}
        | {"hoverinfo": "skip"}
    )
    panel.traces.append(
        _curve(style, "y")
        | {
            "mode": "markers",
            "x": [frame.hour(sample.at) for sample in determined],
            "y": [round(100.0 * sample.moisture_wb, 3) for sample in determined],
            "error_y": error_bars(widths, token(style.hue, 0.7), width=2, thickness=1.25),
            "hovertext": [
                sample_hover(sample, f"{style.word}: {sample.basis.replace('_', ' ')}", frame.clock)
                for sample in determined
            ],
            # A batch without a single weighing still has its name in the legend.
            "showlegend": True,
        }
    )
    for sample in determined:
        hour, middle, half = frame.hour(sample.at), 100.0 * sample.moisture_wb, 100.0 * sample.half_width
        panel.leave_room(hour, hour, middle - half, middle + half)
    return panel


def _warmth(frame: Frame, style: Style) -> Panel:
    panel = Panel()
    known = [reading for reading in frame.history.readings("grain_temperature") if reading.value is not None]
    for readings in frame.by_stage(known) or [[]]:
        _looks_of_stage(frame, style, panel, _looks(readings))
    return panel


def _looks_of_stage(frame: Frame, style: Style, panel: Panel, looks: Sequence[list[Reading]]) -> None:
    values = [[shown_temperature(each.value or 0.0, frame.units) for each in look] for look in looks]
    means = [round(fmean(each), 3) for each in values]
    hours = [frame.hour(look[0].at) for look in looks]
    up = [round(max(each) - mean, 3) if len(each) > 1 else None for each, mean in zip(values, means, strict=True)]
    down = [round(mean - min(each), 3) if len(each) > 1 else None for each, mean in zip(values, means, strict=True)]
    bars = error_bars(up, token(style.hue, 0.4), width=0, thickness=3)
    panel.traces.append(
        _curve(style, "y2")
        | {
            "x": hours,
            "y": means,
            "error_y": {**bars, "symmetric": False, "arrayminus": down},
            "hovertext": [_look_hover(look, style.word, frame) for look in looks],
        }
    )
    for hour, each in zip(hours, values, strict=True):
        panel.leave_room(hour, hour, min(each), max(each))


def _looks(readings: Sequence[Reading]) -> list[list[Reading]]:
    """Readings of several places within a quarter of an hour are one look at the bed."""
    looks: list[list[Reading]] = []
    for reading in readings:
        if (
            looks
            and reading.at - looks[-1][0].at <= _ONE_LOOK
            and reading.place not in {seen.place for seen in looks[-1]}
        ):
            looks[-1].append(reading)
        else:
            looks.append([reading])
    return looks


def _look_hover(look: Sequence[Reading], name: str, frame: Frame) -> str:
    if len(look) == 1:
        only = look[0]
        value = temperature(only.value or 0.0, frame.units)
        return hover(value, [name, *frame.clock.fact(only), *circumstances(only)])
    mean = temperature(fmean(each.value or 0.0 for each in look), frame.units)
    places = [f"{plain(each.place or 'no place')} {temperature(each.value or 0.0, frame.units)}" for each in look]
    return hover(f"mean {mean}", [name, *places, frame.clock.moment(look[0].at)])


def _curve(style: Style, axis: str) -> dict[str, Any]:
    return {
        "type": "scatter", "name": style.word, "legendgroup": style.word, "mode": "lines+markers", "xaxis": "x",
        "yaxis": axis, "line": style.line(), "marker": style.marker(), "hoverinfo": "text", "showlegend": False,
    }  # fmt: skip
