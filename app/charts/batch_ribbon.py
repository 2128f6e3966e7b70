"""The ribbon of one batch: its stages, what is still planned, its facts, flags, and now, as the ribbon wants them."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from app.charts.answered import answered_keys
from app.charts.ribbon import DRAWN_STAGES, FlagMark, Segment, Tick, ribbon_svg
from app.judgement.facts.shapes import Answer, Withdrawal
from app.judgement.flags.answers import Key
from app.judgement.flags.base import Flag
from app.judgement.history.history import History
from app.judgement.history.stages import Stage, is_live, stages
from app.judgement.programmes.plan import PlannedStage


@dataclass(frozen=True)
class RibbonParts:
    """What is drawn, in hours from first water. now_h: None once the batch has ended."""

    segments: tuple[Segment, ...]
    planned: tuple[Segment, ...]
    ticks: tuple[Tick, ...]
    flags: tuple[FlagMark, ...]
    now_h: float | None

    @property
    def end_h(self) -> float:
        """Where the last of it ends: batches under one another share the greatest as hours_total."""
        ends = [segment.end_h for segment in (*self.segments, *self.planned)]
        return max([*ends, self.now_h or 0.0, 1.0])


def batch_ribbon(
    history: History,
    now: datetime,
    flags: Sequence[Flag] = (),
    *,
    answered: Collection[Key] | None = None,
    hours_total: float | None = None,
    height: int = 20,
    has_axis: bool = False,
) -> str:
    """The ribbon as SVG text. answered: the keys of the flags that a person has answered, where they are known."""
    parts = ribbon_parts(history, now, flags, answered)
    return ribbon_svg(
        parts.segments,
        label=_label(history),
        planned=parts.planned,
        ticks=parts.ticks,
        flags=parts.flags,
        now_h=parts.now_h,
        hours_total=hours_total,
        height=height,
        has_axis=has_axis,
    )


def stacked_ribbons(histories: Sequence[History], now: datetime, **options: Any) -> list[str]:
    """The ribbons of several batches on one scale of hours, for a row of each; the last carries the axis."""
    total_h = max((ribbon_parts(history, now).end_h for history in histories), default=1.0)
    last = len(histories) - 1
    return [
        batch_ribbon(each, now, hours_total=total_h, has_axis=place == last, **options)
        for place, each in enumerate(histories)
    ]


def ribbon_parts(
    history: History, now: datetime, flags: Sequence[Flag] = (), answered: Collection[Key] | None = None
) -> RibbonParts:
    past = stages(history, now)
    answered_flags = answered_keys(history, flags, now) if answered is None else answered
    has_begun = any(stage.name in DRAWN_STAGES for stage in past)
    told = [fact.at for fact in history.facts if fact.at <= now and not isinstance(fact, Answer | Withdrawal)]
    now_h = history.hour(now) if has_begun and is_live(past) else None
    return RibbonParts(
        segments=tuple(_segment(history, stage, now) for stage in past),
        planned=tuple(_still_planned(history, past, now)) if is_live(past) else (),
        ticks=tuple([Tick(hour) for hour in history.hours(told)]),
        flags=tuple(
            FlagMark(history.hour(flag.starts_at), flag.severity, flag.key in answered_flags) for flag in flags
        ),
        now_h=now_h,
    )


def _segment(history: History, stage: Stage, now: datetime) -> Segment:
    return Segment(stage.name, history.hour(stage.starts_at), history.hour(stage.ends_at or now))


def _still_planned(history: History, past: Sequence[Stage], now: datetime) -> Iterable[Segment]:
    """The rest of the stage that runs, and those after it, one after the other from now on."""
    programme = history.programme_at(now)
    if programme is None:
        return
    lived = [stage for stage in past if stage.name in DRAWN_STAGES]
    plan = programme.planned_stages()
    done, running = _place_in_plan(plan, [stage.name for stage in lived])
    hour = history.hour(now) if lived else 0.0
    if running is not None and lived:
        left_h = running.end_h - running.start_h - lived[-1].hours(now)
        if left_h > 0.0:
            yield Segment(running.stage, hour, hour + left_h)
            hour += left_h
    for stage in plan[done:]:
        length_h = stage.end_h - stage.start_h
        yield Segment(stage.stage, hour, hour + length_h)
        hour += length_h


def _place_in_plan(plan: Sequence[PlannedStage], lived: Sequence[str]) -> tuple[int, PlannedStage | None]:
    """How many stages of the plan are begun or passed, and the one that runs; None while one runs that is not in it.

    What was left out is passed by; what was done beyond the plan, as a steep more than it has, moves nothing on.
    """
    done = 0
    running: PlannedStage | None = None
    for name in lived:
        place = next((at for at in range(done, len(plan)) if plan[at].stage == name), None)
        running = None if place is None else plan[place]
        done = done if place is None else place + 1
    return done, running


def _label(history: History) -> str:
    batch = history.batch
    return " ".join(["Batch", *([str(batch.number)] if batch.number else []), batch.title]).strip()
