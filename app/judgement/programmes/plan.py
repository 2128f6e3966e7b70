"""What the steps of a programme foresee, hour by hour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from app.judgement.programmes.parts import Step


class PlannedStage(NamedTuple):
    """A stretch of the plan, hours from its beginning; and how short and how long it may be."""

    stage: str
    start_h: float
    end_h: float
    hours_low: float
    hours_high: float


def planned_stages(steps: Sequence[Step]) -> list[PlannedStage]:
    """The stages in order, neighbouring steps of one stage put together."""
    planned: list[PlannedStage] = []
    hour = 0.0
    for step in steps:
        row = PlannedStage(step.stage, hour, hour + step.hours, step.hours_low, step.hours_high)
        if planned and planned[-1].stage == step.stage:
            last = planned.pop()
            low, high = last.hours_low + row.hours_low, last.hours_high + row.hours_high
            row = PlannedStage(step.stage, last.start_h, row.end_h, low, high)
        planned.append(row)
        hour += step.hours
    return planned


def planned_curve(steps: Sequence[Step], quantity: str, charge_moisture_wb: float | None) -> list[tuple[float, float]]:
    """(hour, value) at the end of each step that foresees one. Chits and growth begin at none."""
    if quantity not in ("moisture_wb", "chitted_fraction", "acrospire"):
        raise ValueError(f"a plan foresees no {quantity}")
    points: list[tuple[float, float]] = []
    if quantity == "moisture_wb" and charge_moisture_wb is not None:
        points.append((0.0, charge_moisture_wb))
    hour = 0.0
    for step in steps:
        value = getattr(step, quantity)
        if value is not None and not points and quantity != "moisture_wb":
            points.append((hour, 0.0))
        hour += step.hours
        if value is not None:
            points.append((hour, value))
    return points
