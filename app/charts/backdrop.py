"""What lies behind and above the curves: stages, the line for now, flags, and the facts that have no curve."""

from collections.abc import Collection, Sequence
from typing import Any

from app.charts.frame import Frame, Panel, Span, box, rule
from app.charts.hover import circumstances, fact_hover, hover, lines
from app.charts.theme import SEVERITIES, STAGE_HUES, TEMPERATURES, token
from app.judgement.facts import Action, Answer, Fact, Part, StageChange, Withdrawal
from app.judgement.flags.base import Flag

FLAGS_ROW, STAGES_ROW, FACTS_ROW = 2.5, 1.5, 0.5
_STRIP = "y3"
# A name that would not fit into its box on a phone is left to the hover text.
_LEAST_SHARE_FOR_WORDS = 0.2
_WEIGHED_ON_THE_CURVE = frozenset({"test_bag", "tray", "charge_weighing", "moisture_test"})


def backdrop(frame: Frame, flags: Sequence[Flag], answered: Collection[tuple[str, str]]) -> Panel:
    """Stages, flags, facts and now. answered: (rule, episode_id) of the flags that a person has answered."""
    panel = Panel()
    for span in frame.spans:
        hue = STAGE_HUES[span.name]
        panel.shapes.append(box("paper", span.start_h, span.end_h, 0, 1, token(hue, 0.07)))
        panel.shapes.append(box(_STRIP, span.start_h, span.end_h, 1.05, 1.95, token(hue, 0.4)))
    if frame.spans:
        panel.traces.append(_stage_names(frame))
    if rows := _other_facts(frame):
        panel.traces.append(_fact_marks(frame, rows))
    panel.traces.extend(_flag_marks(frame, flags, answered))
    if frame.now_h is not None:
        line = {"color": token("ink"), "width": 1.5, "dash": "dot"}
        panel.shapes.append(rule("paper", frame.now_h, frame.now_h, 0, 1, line))
    return panel


def _strip_trace(name: str, **more: Any) -> dict[str, Any]:
    return {"type": "scatter", "name": name, "xaxis": "x", "yaxis": _STRIP, "hoverinfo": "text", **more}


def _stage_names(frame: Frame) -> dict[str, Any]:
    whole = frame.high_h - frame.low_h
    fits = [(span.end_h - span.start_h) / whole >= _LEAST_SHARE_FOR_WORDS for span in frame.spans]
    return _strip_trace(
        "stages",
        mode="text",
        x=[round((span.start_h + span.end_h) / 2, 4) for span in frame.spans],
        y=[STAGES_ROW] * len(frame.spans),
        text=[span.stage.word if fit else "" for span, fit in zip(frame.spans, fits, strict=True)],
        textfont={"size": 11, "color": token("ink")},
        hovertext=[_stage_hover(frame, span) for span in frame.spans],
        showlegend=False,
    )


def _stage_hover(frame: Frame, span: Span) -> str:
    fact = frame.history.by_id(span.stage.fact_id)
    so_far = "" if span.stage.ends_at else " so far"
    return hover(
        f"{span.stage.word}, {span.end_h - span.start_h:.1f} h{so_far}",
        [frame.clock.span(span.stage.starts_at, span.stage.ends_at), *(circumstances(fact) if fact else [])],
    )


def _other_facts(frame: Frame) -> list[Fact]:
    """Facts that no curve shows and that are not a matter of the record itself."""
    return [
        fact
        for fact in frame.history.facts
        if not isinstance(fact, StageChange | Answer | Withdrawal | Part)
        and fact.kind not in TEMPERATURES
        and fact.kind not in _WEIGHED_ON_THE_CURVE
    ]


def _fact_marks(frame: Frame, facts: Sequence[Fact]) -> dict[str, Any]:
    lengths = [_half_length_h(fact) for fact in facts]
    trace = _strip_trace(
        "other entries",
        mode="markers",
        x=[frame.hour(fact.earliest_at) + (half or 0.0) for fact, half in zip(facts, lengths, strict=True)],
        y=[FACTS_ROW] * len(facts),
        marker={"symbol": "line-ns", "size": 8, "line": {"color": token("soft"), "width": 1.5}},
        hovertext=[fact_hover(fact, frame.clock, frame.units) for fact in facts],
    )
    if any(lengths):
        trace["error_x"] = error_bars(lengths, token("soft"))
    return trace


def _half_length_h(fact: Fact) -> float | None:
    """Half of the time that a fact takes up, where it is more than an instant."""
    end = fact.until_at if isinstance(fact, Action) and fact.until_at else fact.latest_at
    hours = (end - fact.earliest_at).total_seconds() / 3600.0
    return round(hours / 2, 4) if hours > 0 else None


def error_bars(
    half: Sequence[float | None], colour: str, *, width: float = 3, thickness: float = 1.5
) -> dict[str, Any]:
    return {"type": "data", "array": list(half), "color": colour, "thickness": thickness, "width": width}


def _flag_marks(frame: Frame, flags: Sequence[Flag], answered: Collection[tuple[str, str]]) -> list[dict[str, Any]]:
    traces = []
    for severity, style in SEVERITIES.items():
        mine = [flag for flag in flags if flag.severity == severity]
        if not mine:
            continue
        done = [flag.key in answered for flag in mine]
        colours = [token("sheet") if each else token(style.hue) for each in done]
        ends = [flag.ends_at or frame.end_at for flag in mine]
        lasting = [
            max(0.0, round(frame.hour(end) - frame.hour(flag.starts_at), 4))
            for flag, end in zip(mine, ends, strict=True)
        ]
        bars = {**error_bars(lasting, token(style.hue, 0.6), width=0, thickness=2.5), "symmetric": False}
        traces.append(
            _strip_trace(
                f"flag: {style.word}",
                mode="markers",
                x=[frame.hour(flag.starts_at) for flag in mine],
                y=[FLAGS_ROW] * len(mine),
                error_x={**bars, "arrayminus": [0.0] * len(mine)},
                marker={
                    "symbol": style.symbol,
                    "size": 10,
                    "color": colours,
                    "line": {"color": token(style.hue), "width": 1.5},
                },
                hovertext=[_flag_hover(frame, flag, style.word, each) for flag, each in zip(mine, done, strict=True)],
                cliponaxis=False,
            )
        )
    return traces


def _flag_hover(frame: Frame, flag: Flag, word: str, is_answered: bool) -> str:
    words = flag.in_units(frame.units)
    head = "<br>".join(lines(words.title))
    standing = f"{word}, answered" if is_answered else word
    return hover(head, [standing, frame.clock.span(flag.starts_at, flag.ends_at), *lines(words.meaning)])
