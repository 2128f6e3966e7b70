"""What lies behind and above the curves: stages, the line for now, flags, and the facts that have no curve."""

from collections.abc import Collection, Sequence
from typing import Any

from app.charts.frame import Frame, Panel, Span, box, rule
from app.charts.hover import circumstances, fact_hover, hover, lines
from app.charts.theme import SEVERITIES, STAGE_HUES, Style, token
from app.judgement.facts.kind_parts import ENTRY
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Action, Fact
from app.judgement.flags.answers import Key
from app.judgement.flags.base import Flag
from app.judgement.history.history import hours_between

FLAGS_ROW, STAGES_ROW, FACTS_ROW = 2.5, 1.5, 0.5
ROWS = {FLAGS_ROW: "flags", STAGES_ROW: "stage", FACTS_ROW: "entries"}
STRIP = "y3"


def backdrop(frame: Frame, flags: Sequence[Flag], answered: Collection[Key]) -> Panel:
    """Stages, flags, facts and now. answered: the keys of the flags that a person has answered."""
    panel = Panel()
    for span in frame.spans:
        panel.shapes.append(box("paper", span.start_h, span.end_h, 0, 1, token(STAGE_HUES[span.name], 0.07)))
    stage_row(frame, panel, STAGES_ROW)
    if rows := _other_facts(frame):
        panel.traces.append(_fact_marks(frame, rows))
    panel.traces.extend(_flag_marks(frame, flags, answered))
    if frame.now_h is not None:
        line = {"color": token("ink"), "width": 1.5, "dash": "dot"}
        panel.shapes.append(rule("paper", frame.now_h, frame.now_h, 0, 1, line))
    return panel


def _strip_trace(name: str, **more: Any) -> dict[str, Any]:
    place = {"type": "scatter", "xaxis": "x", "yaxis": STRIP}
    return {**place, "name": name, "hoverinfo": "text", "showlegend": False, **more}


def stage_row(frame: Frame, panel: Panel, middle: float) -> None:
    """The stages of a batch as boxes with their names; middle: the height of the row."""
    for span in frame.spans:
        colour = token(STAGE_HUES[span.name], 0.4)
        panel.shapes.append(box(STRIP, span.start_h, span.end_h, middle - 0.45, middle + 0.45, colour))
    if frame.spans:
        panel.traces.append(_stage_names(frame, middle))


def _stage_names(frame: Frame, middle: float) -> dict[str, Any]:
    return _strip_trace(
        "stages",
        mode="text",
        x=[round((span.start_h + span.end_h) / 2, 4) for span in frame.spans],
        y=[middle] * len(frame.spans),
        text=[span.stage.word for span in frame.spans],
        # From here the page's script knows which names fit into their boxes.
        customdata=[[span.start_h, span.end_h] for span in frame.spans],
        textfont={"size": 11, "color": token("ink")},
        hovertext=[_stage_hover(frame, span) for span in frame.spans],
    )


def _stage_hover(frame: Frame, span: Span) -> str:
    fact = frame.history.by_id(span.stage.fact_id)
    so_far = "" if span.stage.ends_at else " so far"
    return hover(
        f"{span.stage.word}, {span.end_h - span.start_h:.1f} h{so_far}",
        [*frame.clock.span(span.stage.starts_at, span.stage.ends_at), *(circumstances(fact) if fact else [])],
    )


def _other_facts(frame: Frame) -> list[Fact]:
    """Facts that no curve shows and that are not a matter of the record itself."""
    return [fact for fact in frame.history.facts if KINDS[fact.kind].mark == ENTRY]


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
    hours = hours_between(fact.earliest_at, end)
    return round(hours / 2, 4) if hours > 0 else None


def error_bars(
    half: Sequence[float | None], colour: str, *, width: float = 3, thickness: float = 1.5
) -> dict[str, Any]:
    return {"type": "data", "array": list(half), "color": colour, "thickness": thickness, "width": width}


def _flag_marks(frame: Frame, flags: Sequence[Flag], answered: Collection[Key]) -> list[dict[str, Any]]:
    rows = ((style, [flag for flag in flags if flag.severity == severity]) for severity, style in SEVERITIES.items())
    return [_flag_row(frame, mine, style, answered) for style, mine in rows if mine]


def _flag_row(frame: Frame, flags: Sequence[Flag], style: Style, answered: Collection[Key]) -> dict[str, Any]:
    """The flags of one severity: a mark where each begins, hollow once answered, and a bar as long as it held."""
    lasted = [frame.hour(flag.ends_at or frame.end_at) - frame.hour(flag.starts_at) for flag in flags]
    bars = error_bars([max(0.0, round(hours, 4)) for hours in lasted], token(style.hue, 0.6), width=0, thickness=2.5)
    return _strip_trace(
        f"flag: {style.word}",
        mode="markers",
        x=[frame.hour(flag.starts_at) for flag in flags],
        y=[FLAGS_ROW] * len(flags),
        error_x={**bars, "symmetric": False, "arrayminus": [0.0] * len(flags)},
        marker={
            "symbol": style.symbol,
            "size": 10,
            "color": [token("sheet") if flag.key in answered else token(style.hue) for flag in flags],
            "line": {"color": token(style.hue), "width": 1.5},
        },
        hovertext=[_flag_hover(frame, flag, style.word, flag.key in answered) for flag in flags],
        cliponaxis=False,
    )


def _flag_hover(frame: Frame, flag: Flag, word: str, is_answered: bool) -> str:
    words = flag.in_units(frame.units)
    standing = f"{word}, answered" if is_answered else word
    return hover(
        "<br>".join(lines(words.title)),
        [standing, *frame.clock.span(flag.starts_at, flag.ends_at), *lines(words.meaning)],
    )
