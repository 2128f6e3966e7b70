"""What all parts of a batch's timeline share: its hours, its stages on them, and the rows of the drawing."""

import bisect
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from app.charts.hover import Clock
from app.charts.theme import STAGE_HUES
from app.judgement.facts.shapes import Reading
from app.judgement.history.history import History
from app.judgement.history.stages import Stage, is_live, stages

_LEAST_SPAN_H = 6.0
_MOST_AHEAD = 0.25
# Malt may wait days to be dressed: its cooling is shown for so long, and the rest is there to be dragged to.
_MOST_COOLING_H = 12.0
_MARGIN = 0.02
AHEAD_H: Mapping[str, float] = MappingProxyType(
    {"immersion": 12.0, "air_rest": 12.0, "germination": 18.0, "stewing": 3.0, "kilning": 6.0}
)
"""How far beyond now a batch is drawn as it goes if it is left as it is: not beyond when somebody will look again."""


@dataclass(frozen=True)
class Span:
    """A stage on the hour axis."""

    name: str
    start_h: float
    end_h: float
    stage: Stage


@dataclass(frozen=True)
class Frame:
    """One batch, ready to be drawn. now_h: None once the batch has ended."""

    history: History
    now: datetime
    units: str
    clock: Clock
    spans: tuple[Span, ...]
    low_h: float
    high_h: float
    now_h: float | None

    def hour(self, moment: datetime) -> float:
        return round(self.history.hour(moment), 4)

    def named(self, *names: str) -> tuple[Span, ...]:
        return tuple(span for span in self.spans if span.name in names)

    def by_stage(self, readings: Iterable[Reading]) -> list[list[Reading]]:
        """Readings that one line may join: from one stage to the next, nothing tells how it went."""
        begun = [span.stage.starts_at for span in self.spans]
        groups: dict[int, list[Reading]] = {}
        for reading in readings:
            groups.setdefault(bisect.bisect_right(begun, reading.at), []).append(reading)
        return list(groups.values())

    @property
    def ahead_h(self) -> float:
        """Hours beyond now for which something is foreseen; 0 once the batch has ended."""
        return AHEAD_H.get(self.spans[-1].name, 0.0) if self.now_h is not None and self.spans else 0.0

    @property
    def end_at(self) -> datetime:
        """Until when something can be said of the batch: now, or its last stage's end."""
        last = self.spans[-1].stage.ends_at if self.spans else None
        return self.now if self.now_h is not None or last is None else last


def frame_of(history: History, now: datetime, units: str, zone: ZoneInfo) -> Frame:
    past = stages(history, now)
    spans = tuple(
        Span(stage.name, round(history.hour(stage.starts_at), 4), round(history.hour(stage.ends_at or now), 4), stage)
        for stage in past
        if stage.name in STAGE_HUES
    )
    now_h = round(history.hour(now), 4) if is_live(past) and history.starts_at is not None else None
    low_h, high_h = _view(spans, now_h, history)
    return Frame(history, now, units, Clock(history, zone), spans, low_h, high_h, now_h)


def _view(spans: Sequence[Span], now_h: float | None, history: History) -> tuple[float, float]:
    """The hours that are seen at first."""
    ends = [min(span.end_h, span.start_h + _MOST_COOLING_H) if span.name == "cooling" else span.end_h for span in spans]
    end = max(ends, default=now_h or 0.0)
    if now_h is not None and spans:
        # A forecast must not squeeze what was measured.
        end += min(AHEAD_H.get(spans[-1].name, 0.0), _MOST_AHEAD * max(end, _LEAST_SPAN_H))
    span_h = max(end, _LEAST_SPAN_H)
    first = min((history.hour(fact.at) for fact in history.facts), default=0.0)
    return min(0.0, max(first, -0.1 * span_h)) - _MARGIN / 2 * span_h, span_h * (1 + _MARGIN)


@dataclass
class Panel:
    """What one part adds: traces, shapes, and the values to leave room for with the hours where they stand."""

    traces: list[dict[str, Any]] = field(default_factory=list)
    shapes: list[dict[str, Any]] = field(default_factory=list)
    rooms: list[tuple[float, float, float]] = field(default_factory=list)

    def leave_room(self, start_h: float, end_h: float, *values: float) -> None:
        self.rooms.extend((start_h, end_h, value) for value in values)

    def bounds(self, low_h: float, high_h: float) -> tuple[float, float] | None:
        """The least and the greatest value within these hours; a stretch that only touches them does not count."""
        values = [
            value
            for start, end, value in self.rooms
            if (start < high_h and end > low_h) or (start == end and low_h <= start <= high_h)
        ]
        return (min(values), max(values)) if values else None


def holder(axis: str) -> dict[str, Any]:
    """A trace without a point: Plotly leaves out an axis on which there is nothing."""
    return {
        "type": "scatter", "x": [None], "y": [None], "xaxis": "x", "yaxis": axis, "hoverinfo": "skip",
        "showlegend": False,
    }  # fmt: skip


def stacked(rows: Iterable[tuple[str, float]]) -> tuple[float, Mapping[str, tuple[float, float]]]:
    """Rows from the top down, each (name, height in px): the whole height, and each one's domain."""
    listed = list(rows)
    whole = sum(height for _, height in listed)
    domains: dict[str, tuple[float, float]] = {}
    top = whole
    for name, height in listed:
        domains[name] = (max(0.0, (top - height) / whole), top / whole)
        top -= height
    return whole, MappingProxyType(domains)


def box(axis: str, x0: float, x1: float, y0: float, y1: float, colour: str, **more: Any) -> dict[str, Any]:
    """A filled rectangle below the curves; axis: that of its y values, or paper."""
    return {
        "type": "rect",
        "xref": "x",
        "yref": axis,
        "x0": x0,
        "x1": x1,
        "y0": y0,
        "y1": y1,
        "fillcolor": colour,
        "line": {"width": 0},
        "layer": "below",
        **more,
    }


def rule(axis: str, x0: float, x1: float, y0: float, y1: float, line: Mapping[str, Any]) -> dict[str, Any]:
    """A straight line over the grid and below the curves."""
    return {
        "type": "line", "xref": "x", "yref": axis, "x0": x0, "x1": x1, "y0": y0, "y1": y1, "line": dict(line),
        "layer": "between",
    }  # fmt: skip
