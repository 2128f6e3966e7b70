"""The timeline in words: a row for each stage, for those who can't see the chart or have no script."""

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from app.charts.frame import Frame, Span, frame_of
from app.charts.hover import shown_temperature, temperature_symbol
from app.charts.theme import temperature_styles
from app.judgement.forecasts.moisture import moisture_at
from app.judgement.history.history import History
from app.science.units import format_quantity

_UTC = ZoneInfo("UTC")
HEADINGS = ("Stage", "Began", "Hours", "Moisture at its end", "Temperatures, lowest to highest")

Table = tuple[tuple[str, ...], list[tuple[str, ...]]]


def timeline_table(history: History, now: datetime, *, units: str = "metric", zone: ZoneInfo = _UTC) -> Table:
    """(headings, rows) as plain text."""
    frame = frame_of(history, now, units, zone)
    return HEADINGS, [_row(frame, span) for span in frame.spans]


def _row(frame: Frame, span: Span) -> tuple[str, ...]:
    stage = span.stage
    hours = f"{span.end_h - span.start_h:.1f}" + ("" if stage.ends_at else " so far")
    estimate = moisture_at(frame.history, stage.ends_at or frame.now)
    moisture = "not known"
    if estimate is not None:
        about = "about " if estimate.is_estimate else ""
        moisture = estimate.said(lambda value, half: about + format_quantity(value, "percent", half))
    warmth = "; ".join(_warmth(frame, span)) or "none read"
    return (stage.word, frame.clock.moment(stage.starts_at), hours, moisture, warmth)


def _warmth(frame: Frame, span: Span) -> Iterator[str]:
    for kind, style in temperature_styles().items():
        within = [reading for reading in frame.history.readings(kind) if span.stage.covers(reading.at)]
        values = [
            shown_temperature(value, frame.units)
            for reading in within
            for value in (reading.value, reading.lowest, reading.highest)
            if value is not None
        ]
        if values:
            symbol = temperature_symbol(frame.units)
            yield f"{style.word} {min(values):.1f} to {max(values):.1f} {symbol} ({len(within)} read)"
