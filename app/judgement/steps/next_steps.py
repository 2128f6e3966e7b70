"""What to do next, when and why: from the programme's plan, what was found, and what the batch's own facts foresee."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta

from app.judgement.batch_at import BatchAt, batch_at
from app.judgement.history.guard import WHY
from app.judgement.history.history import History
from app.judgement.malt.mould import is_mouldy
from app.judgement.programmes.programme import Programme
from app.judgement.steps.floor import floor_steps
from app.judgement.steps.kiln import kiln_steps, stew_steps
from app.judgement.steps.malt import malt_steps
from app.judgement.steps.steep import steep_steps
from app.judgement.steps.step import BEGINS, InPlan, NextStep
from app.judgement.wording import METRIC, Words

__all__ = ["NextStep", "next_steps"]

STIRS_UP = frozenset({"turned", "growth_count", "rub_out", "loaded", "chit_count", "squeeze_test"})
_BY_STAGE: Mapping[str, Callable[[InPlan], list[NextStep]]] = {
    "immersion": steep_steps,
    "air_rest": steep_steps,
    "germination": floor_steps,
    "stewing": stew_steps,
    "kilning": kiln_steps,
    "cooling": malt_steps,
}


def next_steps(history: History, now: datetime, words: Words = METRIC) -> list[NextStep]:
    """What comes next, the soonest due first; empty once the batch has ended. Facts after now have no say."""
    if history.is_set_aside:
        return [NextStep("correction", "Correct an entry", now, now, now + timedelta(hours=1), WHY, "facts")]
    batch = batch_at(history, now)
    steps = batch.once(_by_words)
    if words not in steps:
        steps[words] = _steps(batch, words)
    return list(steps[words])


def _by_words(batch: BatchAt) -> dict[Words, list[NextStep]]:
    return {}


def _steps(batch: BatchAt, words: Words) -> list[NextStep]:
    stage, programme = batch.stage, batch.programme
    if programme is None or not batch.is_live:
        return []
    if stage is None or stage.name == "charged":
        return _first(batch.history, programme, batch.now)
    steps = _BY_STAGE[stage.name](InPlan(batch, programme, stage, words))
    due = sorted(steps, key=lambda step: step.due_at)
    return _left_lying(due, batch.now) if is_mouldy(batch.history, batch.now) else due


def _left_lying(steps: list[NextStep], now: datetime) -> list[NextStep]:
    """Mouldy grain is handled by nobody who was not told so: nothing that stirs it up is a next step."""
    why = "Damp it, mask on, bag it, clean the floor wet. Until somebody says that it was a false alarm, it is no food."
    leave = NextStep("inspection", "Leave it lying: don’t turn, sniff or shake it", now, now, now, why, "facts")
    return [leave, *(each for each in steps if each.kind not in STIRS_UP)]


def _first(history: History, programme: Programme, now: datetime) -> list[NextStep]:
    first = programme.planned_stages()[0]
    kind, what = BEGINS.get(first.stage, ("heat_on", "Heat on"))
    if first.stage == "kilning":
        kind, what = "heat_on", "Heat on"
    why = f"The plan begins with {first.hours_high:g} h at the most."
    if kind == "steep_on" and not history.of_kind("test_bag_start"):
        why += " Fill and weigh a test bag first: it tells the uptake."
    return [NextStep(kind, what, now, now, now + timedelta(hours=12), why)]
