"""The air into a kiln that falls away while the heat is on: a fan or a fire that stands still, and wet, warm grain."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Reading
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.history.kiln_runs import FALLEN_K
from app.judgement.history.stages import Stage

WARMS_UP = timedelta(hours=1)
RISES_K = 1.0
"""From memory: a kiln that warms up shows more at each look, and is not judged in its first hour."""

_TELLS = ("heat_on", "resumed", "set_point", "heat_off", "paused", "interruption", "air_on_temperature")
_NO_HEAT = frozenset({"heat_off", "paused", "interruption"})


def air_fell(batch: BatchAt) -> Iterator[Flag]:
    """Air-on far below what it is set to, or was read before, and not rising; until it is back or the heat is off."""
    for stage in batch.stages_named("kilning"):
        since, wanted, last, was_set = None, 0.0, 0.0, False
        fallen: list[Reading] = []
        for fact in batch.within(batch.history.of_kind(*_TELLS), stage.starts_at, batch.end_of(stage)):
            value = fact.value if isinstance(fact, Reading) else None
            if fact.kind != "air_on_temperature":
                if value is not None:
                    wanted, was_set = value, True
                since = None if fact.kind in _NO_HEAT else fact.at
                if fallen and since is None:
                    yield _fell_flag(batch, stage, fallen, wanted, is_over=True)
                    fallen = []
            elif value is not None:
                is_low = value < wanted - FALLEN_K and value < last + RISES_K
                if since is not None and fact.at - since >= WARMS_UP and is_low and isinstance(fact, Reading):
                    fallen.append(fact)
                elif fallen and not is_low:
                    yield _fell_flag(batch, stage, fallen, wanted, is_over=True)
                    fallen = []
                wanted, last = wanted if was_set else max(wanted, value), value
        if fallen:
            yield _fell_flag(batch, stage, fallen, wanted, is_over=False)


def _fell_flag(batch: BatchAt, stage: Stage, fallen: Sequence[Reading], wanted: float, *, is_over: bool) -> Flag:
    lowest = min(each.value or 0.0 for each in fallen)
    below = f"{wording.kiln_temperature(lowest)}, from {wording.kiln_temperature(wanted)}"
    return raised(
        batch, "air_fell", "act", fallen,
        Message(f"Air-on down to {below}, with the heat on",
                "A fan or a fire stands still: wet, warm grain without air sours within hours.",
                "Look at fan, fuse and fire now. If it was put out, say so: heat off, or a pause."),
        "from memory", ends_at=fallen[-1].at if is_over else stage.ends_at, worst=lowest, unit="c",
    )  # fmt: skip


RULES = (Rule("air_fell", "Air-on fell away", air_fell),)
