"""The temperatures of a batch: thermometers by kind and place, limits by stage, and the ceiling on the kiln."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any, TypeVar

from app.charts.backdrop import error_bars
from app.charts.frame import Frame, Panel, Span, box, rule
from app.charts.hover import legend_name, shown_temperature, temperature_hover, temperature_symbol
from app.charts.theme import TEMPERATURES, Style, has_own_mark, place_style, temperature_styles, token
from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.moisture import judged_wb, moistures_at
from app.judgement.programmes.programme import Limit

Value = TypeVar("Value")
_AXIS = "y2"
_KILN_STEP = timedelta(minutes=10)
_MOST_KILN_STEPS = 96
_LIMITED = (
    ("water_temperature", "immersion"),
    ("grain_temperature", "air_rest"),
    ("grain_temperature", "germination"),
    ("grain_temperature", "stewing"),
)
# A bound further than this from anything measured or aimed at would only flatten the curves.
_FAR_BOUND_C = 8.0


def temperature_panel(frame: Frame) -> Panel:
    panel = Panel()
    for kind in temperature_styles():
        panel.traces.extend(_series(frame, kind, panel))
    for quantity, stage in _LIMITED:
        for span in frame.named(stage):
            programme = frame.history.programme_at(span.stage.starts_at)
            if programme and (limit := programme.limit(f"{quantity}.{stage}")):
                _ribbon(frame, panel, limit, span.start_h, span.end_h, TEMPERATURES[quantity].hue)
    for span in frame.named("kilning"):
        _kiln(frame, panel, span)
    return panel


def _series(frame: Frame, kind: str, panel: Panel) -> Iterator[dict[str, Any]]:
    readings = [reading for reading in frame.history.readings(kind) if _shown_c(reading) is not None]
    others = 0
    for place in sorted({reading.place or "" for reading in readings}, key=lambda name: (name.lower() != "top", name)):
        style = place_style(kind, place, others)
        others += not has_own_mark(place)
        mine = [reading for reading in readings if (reading.place or "") == place]
        # The air of the room goes on as it was, whatever is done with the grain.
        groups = [mine] if kind == "air_temperature" else frame.by_stage(mine)
        for place_in_time, group in enumerate(groups):
            yield _trace(frame, group, style) | {"legendgroup": style.word, "showlegend": place_in_time == 0}
        for each in mine:
            values = (each.value, each.lowest, each.highest)
            hour = frame.hour(each.at)
            panel.leave_room(
                hour, hour, *(shown_temperature(value, frame.units) for value in values if value is not None)
            )


def _shown_c(reading: Reading) -> float | None:
    """Where a reading stands: its value, or the middle of what the max-min thermometer says."""
    if reading.value is not None:
        return reading.value
    if reading.lowest is not None and reading.highest is not None:
        return (reading.lowest + reading.highest) / 2
    return reading.lowest if reading.lowest is not None else reading.highest


def _trace(frame: Frame, readings: Sequence[Reading], style: Style) -> dict[str, Any]:
    shown = [shown_temperature(_shown_c(reading) or 0.0, frame.units) for reading in readings]
    marker = style.marker()
    if any(reading.quality == "estimated" for reading in readings):
        marker["opacity"] = [0.55 if reading.quality == "estimated" else 1.0 for reading in readings]
    trace = {
        "type": "scatter",
        "name": legend_name(style.word),
        "mode": "lines+markers",
        "xaxis": "x",
        "yaxis": _AXIS,
        "x": [frame.hour(reading.at) for reading in readings],
        "y": shown,
        "line": style.line(),
        "marker": marker,
        "hoverinfo": "text",
        "hovertext": [temperature_hover(reading, style.word, frame.clock, frame.units) for reading in readings],
    }
    return trace | _bars(frame, readings, shown, style)


def _bars(frame: Frame, readings: Sequence[Reading], shown: Sequence[float], style: Style) -> dict[str, Any]:
    """Upright: lowest to highest since the last look. Level: the time within which it was read."""
    bars: dict[str, Any] = {}
    if any(reading.lowest is not None or reading.highest is not None for reading in readings):
        up = [_gap(frame, each.highest, at) for each, at in zip(readings, shown, strict=True)]
        down = [_gap(frame, each.lowest, at) for each, at in zip(readings, shown, strict=True)]
        upright = error_bars(up, token(style.hue, 0.4), width=0, thickness=5)
        bars["error_y"] = {**upright, "symmetric": False, "arrayminus": down}
    if any(reading.is_range for reading in readings):
        spans = [(reading.latest_at - reading.earliest_at).total_seconds() / 7200.0 for reading in readings]
        level = [round(span, 4) if span else None for span in spans]
        bars["error_x"] = error_bars(level, token(style.hue))
    return bars


def _gap(frame: Frame, extreme_c: float | None, shown: float) -> float | None:
    return None if extreme_c is None else round(abs(shown_temperature(extreme_c, frame.units) - shown), 3)


def _ribbon(frame: Frame, panel: Panel, limit: Limit, start_h: float, end_h: float, hue: str) -> None:
    """The target as a ribbon, the bound of caution dotted and that of acting in a line, where they are near."""
    low, high = limit.target_low, limit.target_high
    if low is not None and high is not None:
        bounds = sorted(shown_temperature(each, frame.units) for each in (low, high))
        panel.shapes.append(box(_AXIS, start_h, end_h, bounds[0], bounds[1], token(hue, 0.24)))
        panel.leave_room(start_h, end_h, *bounds)
    for value, name, dash in (
        (limit.low_caution, "caution", "dot"),
        (limit.high_caution, "caution", "dot"),
        (limit.low_act, "act", "dash"),
        (limit.high_act, "act", "dash"),
    ):
        if value is not None and _is_near(value, limit):
            at = shown_temperature(value, frame.units)
            line = {"color": token(name), "width": 1.25, "dash": dash}
            panel.shapes.append(rule(_AXIS, start_h, end_h, at, at, line))
            panel.leave_room(start_h, end_h, at)


def _is_near(value: float, limit: Limit) -> bool:
    aims = [each for each in (limit.target_low, limit.target_high) if each is not None]
    return not aims or min(abs(value - aim) for aim in aims) <= _FAR_BOUND_C


def _kiln(frame: Frame, panel: Panel, span: Span) -> None:
    """Phase by phase, as the moisture tells: the range for the air going on, and the ceiling for the grain."""
    programme = frame.history.programme_at(span.stage.starts_at)
    moments = list(_kiln_moments(frame, span))
    if programme is None or not moments:
        return
    estimates = list(zip(moments, moistures_at(frame.history, moments), strict=True))
    phases = [
        (frame.hour(moment), programme.kiln_phase(estimate.moisture_wb if estimate else None))
        for moment, estimate in estimates
    ]
    for start_h, end_h, phase in _runs(phases, span.end_h):
        for quantity in ("air_on_temperature", "grain_temperature"):
            if phase and (limit := programme.limit(f"{quantity}.{phase}")):
                _ribbon(frame, panel, limit, start_h, end_h, TEMPERATURES[quantity].hue)
    ceiling = [(frame.hour(moment), programme.ceiling_c(judged_wb(estimate))) for moment, estimate in estimates]
    if steps := [(start, end, value) for start, end, value in _runs(ceiling, span.end_h) if value is not None]:
        panel.traces.append(_ceiling(frame, steps))
        for start, end, value in steps:
            panel.leave_room(start, end, shown_temperature(value, frame.units))


def _kiln_moments(frame: Frame, span: Span) -> Iterator[datetime]:
    start, end = span.stage.starts_at, span.stage.ends_at or frame.now
    step = max(_KILN_STEP, (end - start) / _MOST_KILN_STEPS)
    while start < end:
        yield start
        start += step


def _runs(points: Sequence[tuple[float, Value]], end_h: float) -> list[tuple[float, float, Value]]:
    """Stretches of one value: (from hour, to hour, value)."""
    starts = [points[0]] if points else []
    starts += [after for before, after in pairwise(points) if after[1] != before[1]]
    ends = [*(hour for hour, _ in starts[1:]), end_h]
    return [(hour, end, value) for (hour, value), end in zip(starts, ends, strict=True)]


def _ceiling(frame: Frame, steps: Sequence[tuple[float, float, float]]) -> dict[str, Any]:
    hours = [hour for start, end, _ in steps for hour in (start, end)]
    values = [shown_temperature(value, frame.units) for _, _, value in steps for _ in range(2)]
    unit = temperature_symbol(frame.units)
    return {
        "type": "scatter",
        "name": "grain ceiling",
        "mode": "lines",
        "xaxis": "x",
        "yaxis": _AXIS,
        "x": hours,
        "y": values,
        "line": {"color": token("act"), "width": 1.75, "dash": "8px,4px"},
        "hoverinfo": "text",
        "hovertext": [f"the grain not above {value:g} {unit}<br>while it is as moist as here" for value in values],
    }
