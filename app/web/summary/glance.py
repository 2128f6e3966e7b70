"""A batch at a glance: where it is, how moist and how warm, what is wrong, what comes next. In the reader's words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from app.charts.batch_ribbon import batch_ribbon
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Reading, Result, Tally
from app.judgement.flags import evaluate
from app.judgement.flags.answers import answered
from app.judgement.forecasts.band import Z80
from app.judgement.forecasts.moisture import moisture_at
from app.judgement.history.guard import UNJUDGED
from app.judgement.history.history import History, hours_between
from app.judgement.history.stages import Stage, is_live, stages
from app.judgement.history.told_late import told_until
from app.judgement.meaning.meaning import by_itself
from app.judgement.steps.next_steps import NextStep, next_steps, ranked
from app.judgement.watch.bed_ahead import OLD_AFTER, bed_key
from app.judgement.wording import Words
from app.web.summary.flags import FlagView, flag_views
from app.web.words.figures import NO_BREAK, Figure, unbroken

ORDINALS = {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth"}
TEMPERATURES = ("water_temperature", "grain_temperature", "air_on_temperature")
ONE_LOOK = timedelta(minutes=30)
STALE_H = 48.0
"""A temperature older than this tells nothing of now: common practice."""


@dataclass(frozen=True)
class StepView:
    """A next step with its times in words. line: what to do and by when, in one; heading: how near that is.

    figure: by which it is explained, if it can be.
    """

    what: str
    line: str
    heading: str
    status: str
    why: str
    kind: str
    due_at: datetime
    is_overdue: bool
    figure: str = ""
    order: str = ""

    @property
    def near(self) -> str:
        """The heading inside a line: days keep their capitals."""
        return self.heading[:1].lower() + self.heading[1:]


@dataclass(frozen=True)
class Glance:
    """A batch as lists and page heads show it. views: every flag, open ones first. open_flags:
    those that ask for something now, and for nothing that the next steps make wrong."""

    history: History
    name: str
    stages: list[Stage]
    hour: float
    place: str
    ribbon: Markup
    status: str
    status_word: str
    figures: list[Figure]
    views: list[FlagView]
    open_flags: list[FlagView]
    steps: list[StepView]

    @property
    def is_live(self) -> bool:
        return is_live(self.stages)

    @property
    def hour_said(self) -> str:
        """The hour of the malthouse clock, which starts with the first water."""
        if self.history.is_set_aside:
            return f"hour{NO_BREAK}?"
        is_charged = not self.stages or self.stages[-1].name == "charged"
        programme = self.history.programme
        is_steeped = programme is None or any(step.stage == "immersion" for step in programme.steps)
        if is_charged and is_steeped and self.history.first_water_at is None:
            return f"not{NO_BREAK}steeped{NO_BREAK}yet"
        return f"hour{NO_BREAK}{self.hour:.0f}"

    @property
    def hour_in_full(self) -> str:
        return self.hour_said + (" since first water" if self.history.first_water_at is not None else "")

    @property
    def must_leave(self) -> bool:
        """Whether the one thing to do is to get out: then nothing else is said beside it."""
        return bool(self.steps) and self.steps[0].order == "people"

    @property
    def loud_flags(self) -> list[FlagView]:
        """Those that quiet hours don't silence."""
        return [view for view in self.open_flags if view.severity == "act"]

    @property
    def lots(self) -> str:
        return " + ".join(lot.name for lot in self.history.lots.values())

    @property
    def urgency(self) -> tuple[bool, float]:
        """What is overdue first, then what is due soonest."""
        first = self.steps[0] if self.steps else None
        return (first is None or not first.is_overdue, first.due_at.timestamp() if first else float("inf"))


def glance_at(history: History, words: Words, *, height: int = 20, has_axis: bool = False) -> Glance:
    """Judge a batch as of now."""
    assert words.now is not None
    now = words.now
    if history.is_set_aside:
        return _unjudged(history, words)
    past = stages(history, now)
    flags = answered(history, evaluate(history, now), now)
    views = flag_views(flags, words)
    to_do = ranked(history, now, words)
    said = {judged.flag.key for judged in to_do.flags}
    open_flags = [view for view in views if view.is_open and view.judged.flag.key in said]
    status, status_word = state_of(open_flags, is_live(past), _unread(history, words))
    given = {judged.flag.key for judged in flags if judged.holds}
    drawn = [judged.flag for judged in flags]
    last = past[-1] if past else None
    return Glance(
        history=history,
        name=batch_name(history.batch.number, history.batch.title),
        stages=past,
        hour=history.hour(last.ends_at if last is not None and last.ends_at else now),
        place=stage_words(last, now, words),
        ribbon=Markup(batch_ribbon(history, now, drawn, answered=given, height=height, has_axis=has_axis)),
        status=status,
        status_word=status_word,
        figures=[each for each in (moisture_said(history, words), temperature_said(history, words)) if each],
        views=views,
        open_flags=open_flags,
        steps=step_views(to_do.steps, words),
    )


def _unjudged(history: History, words: Words) -> Glance:
    """A batch that was set aside: what it is called, and that an entry has to be corrected."""
    assert words.now is not None
    return Glance(
        history=history,
        name=batch_name(history.batch.number, history.batch.title),
        stages=[],
        hour=0.0,
        place=UNJUDGED,
        ribbon=Markup(),
        status="caution",
        status_word=UNJUDGED,
        figures=[],
        views=[],
        open_flags=[],
        steps=step_views(next_steps(history, words.now, words), words),
    )


def batch_name(number: int, title: str) -> str:
    return f"Batch {number}, {title}" if title else f"Batch {number}"


def stage_words(stage: Stage | None, now: datetime, words: Words) -> str:
    """Where the batch is: "second air rest, 3 h 20 min"."""
    if stage is None:
        return "nothing yet"
    if stage.name == "immersion":
        name = f"{ORDINALS.get(stage.ordinal, 'another')} steep"
    else:
        name = f"{ORDINALS[stage.ordinal]} {stage.word}" if stage.ordinal in range(2, 6) else stage.word
    return name if stage.ends_at else f"{name}, {words.span(stage.hours(now))}"


def _tells(fact: Fact) -> bool:
    """Whether it tells how the batch does: something was read, counted, weighed again or looked at."""
    return isinstance(fact, Reading | Tally | Result) or fact.kind in (
        "test_bag",
        "tray",
        "charge_weighing",
        "inspection",
    )


READ_WITHIN = timedelta(hours=12)
"""What was read longer ago tells nothing of now: a night and some hours, from memory."""


def _unread(history: History, words: Words) -> str:
    """Why nobody can say that all is well; nothing where it was read of late."""
    assert words.now is not None
    now, until = words.now, told_until(history, words.now)
    if until is not None:
        return f"not written up since {words.clock(until)}"
    last = next((fact.at for fact in reversed(history.facts) if fact.at <= now and _tells(fact)), None)
    if last is None:
        return "nothing read yet"
    return "" if now - last <= READ_WITHIN else f"nothing read for {words.span(hours_between(last, now))}"


def state_of(views: list[FlagView], is_going_on: bool = True, unread: str = "") -> tuple[str, str]:
    """The gravest open flag as status and word; or that all is well. unread: why nobody can say so."""
    grave = [view for view in views if view.is_open]
    for severity, text in (("act", "act now"), ("caution", "caution"), ("notice", "notice")):
        found = [view for view in grave if view.severity == severity]
        if found:
            return severity, text if len(found) == 1 else f"{text} × {len(found)}"
    if not is_going_on:
        return ("none", "ended")
    return ("none", unread) if unread else ("fine", "all within limits")


def step_views(steps: Sequence[NextStep], words: Words) -> list[StepView]:
    """Steps with their times in words. Of those of one kind the first that comes from a formula is explained."""
    explained = {step.kind: step for step in reversed(steps) if step.method}
    return [step_view(step, words, f"step.{step.kind}" if explained.get(step.kind) is step else "") for step in steps]


def step_view(step: NextStep, words: Words, figure: str = "") -> StepView:
    assert words.now is not None
    now, heading, status = words.now, "Next", ""
    if step.order:
        heading, status = "Now", "act"
    elif step.is_overdue(now):
        heading, status = f"Overdue since {words.around(step.due_at)}", "overdue"
    elif step.is_due(now):
        heading = "Now"
    return StepView(step.what, step.line(words, now), heading, status, step.why,
                    step.kind, step.due_at, step.is_overdue(now), figure, step.order)  # fmt: skip


def moisture_said(history: History, words: Words) -> Figure | None:
    """The moisture now, and whether it is where the programme wants it by now."""
    assert words.now is not None
    estimate = moisture_at(history, words.now)
    if estimate is None:
        return None
    if not estimate.is_told:
        said = "nothing since it was loaded tells it: weigh a tray, or test it"
        return Figure("Moisture", "not known", said, key="moisture")
    value = unbroken(words.percent(estimate.moisture_wb, estimate.half_width))
    source = "estimate, " if estimate.is_estimate and estimate.since_h else ""
    note = f"{source}last known {words.span(estimate.since_h)} ago"
    programme, past = history.programme_at(words.now), stages(history, words.now)
    place = past[-1].name if past else ""
    key = {"germination": "cast_moisture", "cooling": "final_moisture", "finished": "final_moisture"}.get(place)
    limit = programme.limit(key) if programme is not None and key else None
    off = Z80 * estimate.sd if key == "cast_moisture" else 0.0
    verdict = limit.judge_surely(estimate.moisture_wb, off) if limit is not None else None
    judgement = (verdict.status, verdict.said) if verdict is not None else ("", "")
    is_fine = verdict is not None and verdict.is_fine
    if limit is not None and off and is_fine and not limit.is_told_by(estimate.moisture_wb, estimate.half_width):
        judgement = ("", "too unsure to say")
    return Figure("Moisture", value, note, *judgement, key="moisture")


def temperature_said(history: History, words: Words) -> Figure | None:
    """The last temperature read, of the water while it is under water and of the grain else; and how it is judged.

    Of several places of a look, and of several beds, the hottest.
    """
    assert words.now is not None
    last = _last_temperature(history, words.now)
    if last is None or last.value is None or history.hour(words.now) - history.hour(last.at) > STALE_H:
        return None
    said = by_itself(history, last, words.now, words)
    place = f"{last.place}, " if last.place else ""
    ago = words.span(hours_between(last.at, words.now))
    judgement = (said.status, said.text.rpartition(": ")[2]) if ": " in said.text else ("", "")
    value, key = unbroken(words.temperature(last.value)), f"/facts/{last.id}/how"
    return Figure(KINDS[last.kind].word, value, f"{place}{ago} ago", *judgement, key=key)


def _last_temperature(history: History, now: datetime) -> Reading | None:
    read = [reading for reading in history.readings(*TEMPERATURES) if reading.value is not None and reading.at <= now]
    past = stages(history, now)
    wanted = "water_temperature" if past and past[-1].name == "immersion" else "grain_temperature"
    fitting = [each for each in read if each.kind == wanted]
    if not fitting:
        return read[-1] if read else None
    looks: dict[str, list[Reading]] = {}
    for each in reversed(fitting):
        look = looks.setdefault(bed_key(each.place), [each])
        if each is not look[0] and look[0].at - each.at <= ONE_LOOK and each.place not in {seen.place for seen in look}:
            look.append(each)
    lately = [each for look in looks.values() for each in look if fitting[-1].at - look[0].at <= OLD_AFTER]
    return max(lately, key=lambda each: each.value or 0.0)
