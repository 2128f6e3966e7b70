"""The moisture of a batch: determinations with their interval, the estimate between, the targets aimed at."""

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any

from app.charts.backdrop import error_bars
from app.charts.frame import Frame, Panel, Span, box, rule
from app.charts.hover import estimate_hover, sample_hover
from app.charts.theme import MOISTURES, Style, token
from app.judgement.moisture import Estimate, MoistureSample, moisture_at, samples
from app.judgement.programme import Limit

_HOURS_A_PART, _MOST_PARTS, _NEAR_H = 5.0, 8, 1.0
# The first and the last point tell themselves by where they stand.
_AT_AN_END = ("charged", "outturn")
_STEEP = ("immersion", "air_rest")


def moisture_panel(frame: Frame) -> Panel:
    panel = Panel()
    _targets(frame, panel)
    found = samples(frame.history)
    panel.traces.extend(_estimate(frame, found))
    for basis in dict.fromkeys(sample.basis for sample in found):
        mine = [sample for sample in found if sample.basis == basis]
        style = MOISTURES.get(basis, Style(basis.replace("_", " "), "steep"))
        panel.traces.append(_determined(frame, mine, style))
        for sample in mine:
            hour, middle, half = frame.hour(sample.at), 100.0 * sample.moisture_wb, 100.0 * sample.half_width
            panel.leave_room(hour, hour, middle - half, middle + half)
    return panel


def _determined(frame: Frame, found: Sequence[MoistureSample], style: Style) -> dict[str, Any]:
    widths: list[float | None] = [round(100.0 * sample.half_width, 3) for sample in found]
    trace = {
        "type": "scatter",
        "name": style.word,
        "mode": "markers",
        "xaxis": "x",
        "yaxis": "y",
        "x": [frame.hour(sample.at) for sample in found],
        "y": [round(100.0 * sample.moisture_wb, 3) for sample in found],
        "error_y": error_bars(widths, token(style.hue)),
        "marker": style.marker(8),
        "hoverinfo": "text",
        "hovertext": [sample_hover(sample, style.word, frame.clock) for sample in found],
        "showlegend": found[0].basis not in _AT_AN_END,
    }
    spans = [_half_span_h(sample) for sample in found]
    return trace | {"error_x": error_bars(spans, token(style.hue))} if any(spans) else trace


def _half_span_h(sample: MoistureSample) -> float | None:
    """Half of the time within which it was weighed, where only the span is known."""
    if not sample.fact.is_range:
        return None
    return round((sample.fact.latest_at - sample.fact.earliest_at).total_seconds() / 7200.0, 4)


def _estimate(frame: Frame, found: Sequence[MoistureSample]) -> list[dict[str, Any]]:
    """The line between determinations, dashed, in the band of its 95 % interval."""
    points = _estimates(frame, found)
    if len(points) < 2:
        return []
    hours = [hour for hour, _, _ in points]
    edge = {
        "type": "scatter", "mode": "lines", "xaxis": "x", "yaxis": "y", "x": hours, "hoverinfo": "skip",
        "line": {"width": 0, "color": token("steep", 0.0)}, "showlegend": False, "legendgroup": "estimated",
    }  # fmt: skip
    low = {**edge, "y": [round(100.0 * max(each.moisture_wb - each.half_width, 0.0), 3) for _, each, _ in points]}
    high = {**edge, "y": [round(100.0 * each.upper, 3) for _, each, _ in points], "fill": "tonexty"}
    line = {
        **edge,
        "name": "estimated",
        "y": [round(100.0 * each.moisture_wb, 3) for _, each, _ in points],
        "line": {"width": 1.75, "color": token("steep"), "dash": "dash"},
        "hoverinfo": "text",
        "hovertext": [text for _, _, text in points],
        "showlegend": True,
    }
    return [low, high | {"fillcolor": token("steep", 0.16)}, line]


def _estimates(frame: Frame, found: Sequence[MoistureSample]) -> list[tuple[float, Estimate, str]]:
    if not found:
        return []
    ends = [frame.end_at] if frame.now_h is not None and frame.end_at > found[-1].at else []
    points = []
    for moment in _moments([*(sample.at for sample in found), *ends]):
        if (estimate := moisture_at(frame.history, moment)) is not None:
            points.append((frame.hour(moment), estimate, estimate_hover(estimate, moment, frame.clock)))
    return points


def _moments(known: Sequence[datetime]) -> list[datetime]:
    """The moments themselves, and as many between as show how the interval widens and narrows again."""
    moments = list(dict.fromkeys(known))
    for before, after in pairwise(list(moments)):
        hours = (after - before).total_seconds() / 3600.0
        parts = min(_MOST_PARTS, round(hours / _HOURS_A_PART) + 1) if hours > _NEAR_H else 1
        moments.extend(before + part * (after - before) / parts for part in range(1, parts))
    return sorted(moments)


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
