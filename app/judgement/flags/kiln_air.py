"""The air into a kiln that falls away while the heat is on: a fan or a fire that stands still, and wet, warm grain."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import timedelta

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Reading
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.forecasts.moisture import judged_wb
from app.judgement.history.kiln_runs import FALLEN_K, run_at
from app.judgement.history.stages import Stage

WARMS_UP = timedelta(hours=1)
RISES_K = 1.0
"""From memory: a kiln that warms up shows more at each look, and is not
judged in the hour after its heat came on or was set higher."""


def air_fell(batch: BatchAt) -> Iterator[Flag]:
    """Air-on far below what it is set to, or was read before, and not rising; until it is back or the heat is off."""
    for stage in batch.stages_named("kilning"):
        run = run_at(batch.history, stage.starts_at)
        if run is None:
            continue
        back = [run.heat_at, *(gap.ends_at for gap in run.gaps if gap.ends_at is not None)]
        wanted, last, was_set = 0.0, 0.0, False
        fallen: list[Reading] = []
        told = batch.history.of_kind("set_point", "air_on_temperature")
        for fact in batch.within(told, stage.starts_at, batch.end_of(stage)):
            if not isinstance(fact, Reading) or fact.value is None:
                continue
            if fact.kind == "set_point":
                back += [fact.at] if fact.value > wanted else []
                wanted, was_set = fact.value, True
                continue
            is_low = fact.value < wanted - FALLEN_K and fact.value < last + RISES_K
            # Where no set point is written, lower air may be what the app asked for.
            is_low = is_low and (was_set or fact.value < _bearable(batch, fact) - FALLEN_K)
            is_judged = not run.is_without_heat(fact.at) and all(not at <= fact.at < at + WARMS_UP for at in back)
            if is_low and is_judged:
                fallen.append(fact)
            elif fallen and not is_low:
                yield _fell_flag(batch, stage, fallen, wanted, was_set=was_set, is_over=True)
                fallen = []
            wanted, last = wanted if was_set else max(wanted, fact.value), fact.value
        if fallen:
            stopped = any(gap.starts_at >= fallen[-1].at for gap in run.gaps)
            yield _fell_flag(batch, stage, fallen, wanted, was_set=was_set, is_over=stopped)


def _bearable(batch: BatchAt, read: Reading) -> float:
    """The ceiling of the grain: to this the app asks for the air to be lowered."""
    programme = batch.programme_at(read.at)
    ceiling_c = programme.ceiling_c(judged_wb(batch.moisture_at(read.at))) if programme is not None else None
    return math.inf if ceiling_c is None else ceiling_c


def _fell_flag(
    batch: BatchAt, stage: Stage, fallen: Sequence[Reading], wanted: float, *, was_set: bool, is_over: bool
) -> Flag:
    lowest = min(each.value or 0.0 for each in fallen)
    below = f"{wording.kiln_temperature(lowest)}, from {wording.kiln_temperature(wanted)}"
    lower = "" if was_set else "; if it was set lower, enter the set point"
    return raised(
        batch, "air_fell", "act", fallen,
        Message(f"Air-on down to {below}, with the heat on",
                "A fan or a fire stands still: wet, warm grain without air sours within hours.",
                f"Look at fan, fuse and fire now. If it was put out, say so: heat off, or a pause{lower}."),
        "from memory", ends_at=fallen[-1].at if is_over else stage.ends_at, worst=lowest, unit="c",
    )  # fmt: skip


RULES = (Rule("air_fell", "Air-on fell away", air_fell),)
