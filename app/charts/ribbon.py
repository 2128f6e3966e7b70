"""The batch ribbon: one strip of stages, hours from first water left to right, as SVG text.

Places along the strip are percentages of its width, so that one drawing suits a phone and a desk without stretching
its patterns. Colours come from the style sheet by class, patterns and shapes from the definitions that every page
carries once (``_ribbon_defs.html``); nothing here needs an inline style.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from itertools import chain

DRAWN_STAGES = ("immersion", "air_rest", "germination", "stewing", "kilning", "cooling")
SEVERITIES = ("notice", "caution", "act")

_STRIP_TOP = 12
_BELOW_STRIP = 9
_AXIS_HEIGHT = 16
# 1.2 % is four pixels on the narrowest phone: ten minutes in water still show in a batch of eight days.
_LEAST_SHARE = 1.2
_POINTED_AT = 24
# Ticks nearer than this (in thousandths of the width) would run together.
_TICK_GAP = 6
_AXIS_STEPS_H = (1, 2, 3, 6, 12, 24, 48, 96, 168, 336)
_MOST_AXIS_LABELS = 9


@dataclass(frozen=True)
class Segment:
    """A stage as it was or as it is planned. ``abandoned`` draws a cross, ``charged`` and ``finished`` draw nothing."""

    stage: str
    start_h: float
    end_h: float


@dataclass(frozen=True)
class Tick:
    at_h: float


@dataclass(frozen=True)
class FlagMark:
    at_h: float
    severity: str
    is_answered: bool = False


def ribbon_svg(
    segments: Sequence[Segment],
    *,
    label: str,
    planned: Sequence[Segment] = (),
    ticks: Iterable[Tick] = (),
    flags: Sequence[FlagMark] = (),
    now_h: float | None = None,
    hours_total: float | None = None,
    height: int = 20,
    has_axis: bool = False,
) -> str:
    """The ribbon as ``<svg>`` text; ``height`` is that of the strip alone, in CSS pixels."""
    total_h = _hours_shown(segments, planned, now_h, hours_total)
    whole = _STRIP_TOP + height + _BELOW_STRIP + (_AXIS_HEIGHT if has_axis else 0)
    parts = chain(
        _planned_strip(planned, segments, total_h, height),
        _lived_strip(segments, total_h, height),
        _tick_marks(ticks, total_h, height),
        _axis(total_h, height) if has_axis else (),
        _flag_marks(flags, total_h),
        _now_mark(now_h, total_h, height),
    )
    text = escape(ribbon_text(segments, label=label, planned=planned, flags=flags, now_h=now_h))
    return f'<svg class="ribbon" width="100%" height="{whole}" role="img" aria-label="{text}">{"".join(parts)}</svg>'


def ribbon_text(
    segments: Sequence[Segment],
    *,
    label: str,
    planned: Sequence[Segment] = (),
    flags: Sequence[FlagMark] = (),
    now_h: float | None = None,
) -> str:
    """What the ribbon shows, in words."""
    lived = _in_words(segments)
    if any(segment.stage == "abandoned" for segment in segments):
        lived = [*lived, "abandoned"]
    said = [", ".join(lived) or "no water yet"]
    if now_h is not None:
        said.append(f"now hour {_number(now_h)}")
    if ahead := _in_words(planned):
        said.append(f"still planned: {', '.join(ahead)}")
    if flags:
        said.append("flags: " + ", ".join(_flag_in_words(flag) for flag in sorted(flags, key=lambda flag: flag.at_h)))
    return f"{label}: {'; '.join(said)}"


def _flag_in_words(flag: FlagMark) -> str:
    severity = {"act": "act now"}.get(flag.severity, flag.severity)
    return f"{severity} at hour {_number(flag.at_h)}" + (", answered" if flag.is_answered else "")


def _in_words(segments: Iterable[Segment]) -> list[str]:
    return [
        f"{_stage_words(segment.stage)} {_number(segment.end_h - segment.start_h)} h" for segment in _drawn(segments)
    ]


def _stage_words(stage: str) -> str:
    return stage.replace("_", " ")


def _drawn(segments: Iterable[Segment]) -> list[Segment]:
    """The segments that have a colour, from hour 0 on, each the right way round."""
    return [
        Segment(segment.stage, max(0.0, segment.start_h), segment.end_h)
        for segment in segments
        if segment.stage in DRAWN_STAGES and segment.end_h >= max(0.0, segment.start_h)
    ]


def _hours_shown(
    segments: Iterable[Segment], planned: Iterable[Segment], now_h: float | None, hours_total: float | None
) -> float:
    ends = [segment.end_h for segment in chain(segments, planned)]
    return max([*ends, now_h or 0.0, hours_total or 0.0, 1.0])


def _share(at_h: float, total_h: float) -> float:
    """Where an hour lies, in per cent of the width."""
    return 100.0 * min(max(at_h / total_h, 0.0), 1.0)


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _percent(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") + "%"


def _box(segment: Segment, total_h: float, height: int, css_class: str, fill: str) -> str:
    start, end = _share(segment.start_h, total_h), _share(segment.end_h, total_h)
    width = max(end - start, _LEAST_SHARE)
    start = min(start, 100.0 - width)
    hours = f"hour {_number(segment.start_h)} to {_number(segment.end_h)}"
    # The small ones have no room to point at: what they show is told by the name of the whole.
    said = f"><title>{_stage_words(segment.stage)}, {hours}</title></rect>" if height >= _POINTED_AT else "/>"
    return (
        f'<rect class="{css_class}"{fill} x="{_percent(start)}" y="{_STRIP_TOP}" width="{_percent(width)}" '
        f'height="{height}" rx="3"{said}'
    )


def _lived_strip(segments: Sequence[Segment], total_h: float, height: int) -> Iterable[str]:
    # The shortest are drawn last, so that a stage widened to be seen is not covered by its neighbour.
    for segment in sorted(_drawn(segments), key=lambda drawn: drawn.start_h - drawn.end_h):
        yield _box(segment, total_h, height, "rb-stage", f' fill="url(#rb-{segment.stage})"')
    for segment in segments:
        if segment.stage == "abandoned":
            x, middle = _percent(_share(segment.start_h, total_h)), _STRIP_TOP + height // 2
            yield f'<use class="rb-end" href="#rb-cross" x="{x}" y="{middle}"/>'


def _planned_strip(
    planned: Sequence[Segment], segments: Sequence[Segment], total_h: float, height: int
) -> Iterable[str]:
    for segment in _drawn(planned):
        yield _box(segment, total_h, height, f"rb-plan rb-{segment.stage}", "")
    if not _drawn(planned) and not _drawn(segments):
        yield f'<rect class="rb-plan rb-bare" y="{_STRIP_TOP}" width="100%" height="{height}" rx="3"/>'


def _tick_marks(ticks: Iterable[Tick], total_h: float, height: int) -> Iterable[str]:
    places = sorted({round(10 * _share(tick.at_h, total_h) / _TICK_GAP) * _TICK_GAP for tick in ticks})
    if places:
        strokes = "".join(f"M{min(place, 1000)} 0v5" for place in places)
        yield (
            f'<svg y="{_STRIP_TOP + height + 2}" width="100%" height="5" viewBox="0 0 1000 5" '
            f'preserveAspectRatio="none"><path class="rb-tick" d="{strokes}"/></svg>'
        )


def _flag_marks(flags: Iterable[FlagMark], total_h: float) -> Iterable[str]:
    # The worst come last and so lie on top.
    for flag in sorted(flags, key=lambda mark: (SEVERITIES.index(mark.severity), mark.at_h)):
        css_class = f"rb-{flag.severity}{' rb-answered' if flag.is_answered else ''}"
        yield f'<use class="{css_class}" href="#rb-flag-{flag.severity}" x="{_percent(_share(flag.at_h, total_h))}"/>'


def _now_mark(now_h: float | None, total_h: float, height: int) -> Iterable[str]:
    if now_h is not None:
        x, foot = _percent(_share(now_h, total_h)), _STRIP_TOP + height + 5
        yield f'<line class="rb-now" x1="{x}" x2="{x}" y1="{_STRIP_TOP - 3}" y2="{foot}"/>'
        yield f'<circle class="rb-now-dot" cx="{x}" cy="{foot}" r="3.5"/>'


def _axis(total_h: float, height: int) -> Iterable[str]:
    step = next((step for step in _AXIS_STEPS_H if total_h / step <= _MOST_AXIS_LABELS), _AXIS_STEPS_H[-1])
    baseline = _STRIP_TOP + height + _BELOW_STRIP + _AXIS_HEIGHT - 4
    for hour in range(0, int(total_h) + 1, step):
        share = _share(hour, total_h)
        anchor = "start" if hour == 0 else "end" if share > 97 else "middle"
        text = f"h {hour}" if hour == 0 else str(hour)
        yield f'<text class="rb-hour" x="{_percent(share)}" y="{baseline}" text-anchor="{anchor}">{text}</text>'
