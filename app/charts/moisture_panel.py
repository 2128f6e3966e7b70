"""The moisture of a batch: determinations with their interval, the fitted curve, the targets aimed at."""

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from app.charts.backdrop import error_bars
from app.charts.frame import Frame, Panel, Span, box, rule
from app.charts.hover import curve_hover, sample_hover
from app.charts.theme import MOISTURES, Style, token
from app.judgement.forecasts.forecast import fit
from app.judgement.forecasts.moisture import MoistureSample, determinations_by_place, fitted_curve
from app.judgement.programmes.programme import Limit

FITTED, FORECAST = "fitted curve", "forecast, if it is left as it is"
AS_PLANNED = "forecast, if its air goes on as planned"
_MOST_POINTS, _MOST_AHEAD = 72, 12
_CLOSEST = timedelta(minutes=20)
# The first and the last point tell themselves by where they stand.
_AT_AN_END = ("charged", "outturn")
_STEEP = ("immersion", "air_rest")


class Point(NamedTuple):
    """A point of the curve: moisture and the half-width of its 95 % interval, in percent."""

    at: datetime
    hour: float
    percent: float
    half_width: float


def moisture_panel(frame: Frame) -> Panel:
    panel = Panel()
    _targets(frame, panel)
    determined = determinations_by_place(frame.history)
    panel.traces.extend(_fitted(frame, determined))
    for basis in dict.fromkeys(sample.basis for sample in determined):
        mine = [sample for sample in determined if sample.basis == basis]
        style = MOISTURES.get(basis, Style(basis.replace("_", " "), "steep"))
        panel.traces.append(_determined(frame, mine, style))
        for sample in mine:
            hour, middle, half = frame.hour(sample.at), 100.0 * sample.moisture_wb, 100.0 * sample.half_width
            panel.leave_room(hour, hour, middle - half, middle + half)
    return panel


def _determined(frame: Frame, determined: Sequence[MoistureSample], style: Style) -> dict[str, Any]:
    widths: list[float | None] = [round(100.0 * sample.half_width, 3) for sample in determined]
    trace = {
        "type": "scatter",
        "name": style.word,
        "mode": "markers",
        "xaxis": "x",
        "yaxis": "y",
        "x": [frame.hour(sample.at) for sample in determined],
        "y": [round(100.0 * sample.moisture_wb, 3) for sample in determined],
        "error_y": error_bars(widths, token(style.hue)),
        "marker": style.marker(8),
        "hoverinfo": "text",
        "hovertext": [sample_hover(sample, style.word + sample.together, frame.clock) for sample in determined],
        "showlegend": determined[0].basis not in _AT_AN_END,
    }
    spans = [_half_span_h(sample) for sample in determined]
    return trace | {"error_x": error_bars(spans, token(style.hue))} if any(spans) else trace


def _half_span_h(sample: MoistureSample) -> float | None:
    """Half of the time within which it was weighed, where only the span is known."""
    if not sample.fact.is_range:
        return None
    return round((sample.fact.latest_at - sample.fact.earliest_at).total_seconds() / 7200.0, 4)


def _fitted(frame: Frame, determined: Sequence[MoistureSample]) -> list[dict[str, Any]]:
    """The curve through what was determined, in the band of its 95 % interval; beyond now dashed, as a forecast."""
    if not determined:
        return []
    known, ahead = moments_of(frame, determined)
    past, future = points_of(frame, known), points_of(frame, ahead)
    if len(past) + len(future) < 3:
        return []
    hue = token("steep")
    traces = [*_band(past + future[1:]), _line("fitted curve", past, {"width": 1.75, "color": hue}, FITTED, frame)]
    if len(future) > 1:
        word = AS_PLANNED if _is_air_planned(frame) else FORECAST
        traces.append(_line("forecast", future, {"width": 1.75, "color": hue, "dash": "dash"}, word, frame))
    return traces


def _is_air_planned(frame: Frame) -> bool:
    drying = fit(frame.history).drying
    return drying is not None and drying.end_h is None and drying.air.is_planned


def moments_of(frame: Frame, determined: Sequence[MoistureSample]) -> tuple[list[datetime], list[datetime]]:
    """The moments to draw the curve at, up to the last that is known, and beyond it: close enough to show its bends."""
    last = frame.end_at if frame.now_h is not None else determined[-1].at
    starts = [span.stage.starts_at for span in frame.spans]
    turns = [each for each in (*starts, *(sample.at for sample in determined)) if determined[0].at <= each <= last]
    even = _even(determined[0].at, last, _MOST_POINTS)
    ahead = _even(last, last + timedelta(hours=frame.ahead_h), _MOST_AHEAD) if frame.ahead_h else []
    return sorted({*turns, *even, last}), ahead


def _even(start: datetime, end: datetime, most: int) -> list[datetime]:
    parts = max(1, min(most, int((end - start) / _CLOSEST)))
    return [start + part * (end - start) / parts for part in range(parts + 1)]


def points_of(frame: Frame, moments: Sequence[datetime]) -> list[Point]:
    """The curve where it is known, in percent."""
    curve = fitted_curve(frame.history, moments)
    return [
        Point(moment, frame.hour(moment), round(100.0 * value, 3), round(200.0 * sd, 3))
        for moment, (value, sd) in zip(moments, curve, strict=True)
        if not math.isnan(value)
    ]


def _band(points: Sequence[Point]) -> list[dict[str, Any]]:
    edge = {
        "type": "scatter", "mode": "lines", "xaxis": "x", "yaxis": "y", "x": [point.hour for point in points],
        "hoverinfo": "skip", "line": {"width": 0, "color": token("steep", 0.0)}, "showlegend": False,
        "legendgroup": "fitted",
    }  # fmt: skip
    low = {**edge, "y": [round(max(point.percent - point.half_width, 0.0), 3) for point in points]}
    high = {**edge, "y": [round(min(point.percent + point.half_width, 100.0), 3) for point in points]}
    return [low, high | {"fill": "tonexty", "fillcolor": token("steep", 0.16)}]


def _line(name: str, points: Sequence[Point], line: dict[str, Any], said: str, frame: Frame) -> dict[str, Any]:
    return {
        "type": "scatter",
        "name": name,
        "legendgroup": "fitted",
        "mode": "lines",
        "xaxis": "x",
        "yaxis": "y",
        "x": [point.hour for point in points],
        "y": [point.percent for point in points],
        "line": line,
        "hoverinfo": "text",
        "hovertext": [
            curve_hover(point.percent / 100.0, point.half_width / 100.0, said, point.at, frame.clock)
            for point in points
        ],
        "showlegend": True,
    }


def _targets(frame: Frame, panel: Panel) -> None:
    """The moisture to cast at, from the last steep on; the moisture to stop at, on the kiln."""
    steep = frame.named(*_STEEP)
    grown = frame.named("germination", "stewing")
    wet = [*steep[-1:], *grown] if grown else list(steep[-1:])
    dried = frame.named("kilning", "cooling")
    for key, spans in (("cast_moisture", wet), ("final_moisture", list(dried))):
        limit = _limit(frame, key, spans)
        if limit is not None:
            _ribbon(panel, limit, spans[0].start_h, spans[-1].end_h)


def _limit(frame: Frame, key: str, spans: Sequence[Span]) -> Limit | None:
    programme = frame.history.programme_at(spans[-1].stage.starts_at) if spans else None
    return programme.limit(key) if programme else None


def _ribbon(panel: Panel, limit: Limit, start_h: float, end_h: float) -> None:
    if limit.target_low is not None and limit.target_high is not None:
        low, high = 100.0 * limit.target_low, 100.0 * limit.target_high
        panel.shapes.append(box("y", start_h, end_h, low, high, token("fine", 0.22)))
        panel.leave_room(start_h, end_h, low, high)
    for bound in (limit.low_caution, limit.high_caution):
        if bound is not None:
            line = {"color": token("caution"), "width": 1, "dash": "dot"}
            panel.shapes.append(rule("y", start_h, end_h, 100.0 * bound, 100.0 * bound, line))
