"""The kiln's ceiling as steps: how hot the grain may be at each moisture, from wet on the left to dry on the right."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

from app.judgement.programmes.parts import CeilingStep

_HEIGHT = 150
_AXIS = 22
_HEADROOM = 26
_GAP_PERCENT = 0.6
_COLDEST_C = 20.0


def ceiling_svg(
    steps: Sequence[CeilingStep],
    *,
    label: str,
    temperature: Callable[[float], str],
    moisture: Callable[[float], str],
) -> str:
    """The ceiling as ``<svg>`` text, a bar for each of its steps; temperature and moisture say a value to the reader.

    Bars are of equal width, for the steps that matter most are the narrow ones at the dry end. Places along it are per
    cent of the width, as in the ribbon.
    """
    width = 100.0 / max(len(steps), 1)
    hottest_c = max((step.grain_c for step in steps), default=_COLDEST_C + 1.0)
    bars = "".join(
        _bar(step, range_words(steps, place, moisture), temperature(step.grain_c), place * width, width, hottest_c)
        for place, step in enumerate(steps)
    )
    said = "; ".join(
        f"{range_words(steps, place, moisture)}: {temperature(step.grain_c)}" for place, step in enumerate(steps)
    )
    text = escape(f"{label}: {said}")
    return f'<svg class="ribbon" width="100%" height="{_HEIGHT + _AXIS}" role="img" aria-label="{text}">{bars}</svg>'


def range_words(steps: Sequence[CeilingStep], place: int, moisture: Callable[[float], str]) -> str:
    """The moistures for which a step holds."""
    edge = steps[place].moisture_above_wb
    if place == 0:
        return f"above {moisture(edge)}" if edge else "at any moisture"
    above = moisture(steps[place - 1].moisture_above_wb)
    return f"{moisture(edge)} to {above}" if edge else f"below {above}"


def _bar(step: CeilingStep, below: str, above: str, start: float, width: float, hottest_c: float) -> str:
    share = (step.grain_c - _COLDEST_C) / max(hottest_c - _COLDEST_C, 1.0)
    height = round(max(share, 0.1) * (_HEIGHT - _HEADROOM))
    top, middle = _HEIGHT - height, f"{start + width / 2:.2f}%"
    return (
        f'<rect class="rb-stage" fill="url(#rb-kilning)" x="{start + _GAP_PERCENT:.2f}%" y="{top}" '
        f'width="{width - 2 * _GAP_PERCENT:.2f}%" height="{height}" rx="3"/>'
        f'<text class="rb-hour" x="{middle}" y="{top - 7}" text-anchor="middle">{escape(above)}</text>'
        f'<text class="rb-hour" x="{middle}" y="{_HEIGHT + 16}" text-anchor="middle">{escape(below)}</text>'
    )
