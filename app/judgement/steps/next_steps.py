"""What to do next, when and why: from the programme's plan, what was found, and what the batch's own facts foresee."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta

from app.judgement.batch_at import BatchAt, batch_at
from app.judgement.facts.kinds import STAGE_KINDS
from app.judgement.flags import evaluate
from app.judgement.flags.answers import answered
from app.judgement.history.guard import WHY
from app.judgement.history.history import History
from app.judgement.history.stages import Stage
from app.judgement.history.told_late import told_until
from app.judgement.programmes.programme import Programme
from app.judgement.steps.floor import floor_steps
from app.judgement.steps.kiln import kiln_steps, stew_steps
from app.judgement.steps.malt import malt_steps
from app.judgement.steps.ranking import Ranked, holding, rank
from app.judgement.steps.steep import steep_steps
from app.judgement.steps.step import BEGINS, InPlan, NextStep
from app.judgement.wording import METRIC, Words

__all__ = ["NextStep", "next_steps", "ranked"]

_BY_STAGE: Mapping[str, Callable[[InPlan], list[NextStep]]] = {
    "immersion": steep_steps,
    "air_rest": steep_steps,
    "germination": floor_steps,
    "stewing": stew_steps,
    "kilning": kiln_steps,
    "cooling": malt_steps,
}


def next_steps(history: History, now: datetime, words: Words = METRIC) -> list[NextStep]:
    """What to do now, and what comes after. Facts after now have no say."""
    return list(ranked(history, now, words).steps)


def ranked(history: History, now: datetime, words: Words = METRIC) -> Ranked:
    """The steps, and beside them the flags that don't ask for the opposite."""
    if history.is_set_aside:
        return Ranked(
            [NextStep("correction", "Correct an entry", now, now, now + timedelta(hours=1), WHY, "facts")], []
        )
    batch = batch_at(history, now)
    known = batch.once(_by_words)
    if words not in known:
        judged = answered(history, evaluate(history, now, words), now)
        known[words] = rank(batch, [*holding(batch), *_planned(batch, words)], judged, words)
    return known[words]


def _by_words(batch: BatchAt) -> dict[Words, Ranked]:
    return {}


def _planned(batch: BatchAt, words: Words) -> list[NextStep]:
    """What the programme, what was found and what is foreseen ask for."""
    stage, programme = batch.stage, batch.programme
    if programme is None or not batch.is_live:
        return []
    if stage is None or stage.name == "charged":
        return _first(batch.history, programme, batch.now)
    steps = _BY_STAGE[stage.name](InPlan(batch, programme, stage, words))
    until = told_until(batch.history, batch.now)
    return steps if until is None else [_catch_up(batch, stage, until, steps, words)]


def _catch_up(batch: BatchAt, stage: Stage, until: datetime, steps: list[NextStep], words: Words) -> NextStep:
    """Where the record breaks off long ago, nobody knows what is due."""
    due = [step for step in steps if step.due_at <= batch.now]
    first = min(due, key=lambda step: (step.kind not in STAGE_KINDS, step.due_at), default=None)
    still = f" If it still is: {first.what[:1].lower()}{first.what[1:]}." if first is not None else ""
    what = f"Write down what was done since {words.clock(until)}"
    return NextStep(
        "note", what, until, until, batch.now, f"By the last entry it was {stage.word} then.{still}", "facts"
    )


def _first(history: History, programme: Programme, now: datetime) -> list[NextStep]:
    first = programme.planned_stages()[0]
    kind, what = BEGINS.get(first.stage, ("heat_on", "Heat on"))
    if first.stage == "kilning":
        kind, what = "heat_on", "Heat on"
    why = f"The plan begins with {first.hours_high:g} h at the most."
    if kind == "steep_on" and not history.of_kind("test_bag_start"):
        why += " Fill and weigh a test bag first: it tells the uptake."
    return [NextStep(kind, what, now, now, now + timedelta(hours=12), why)]
