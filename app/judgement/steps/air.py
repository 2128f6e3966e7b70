"""The air on the kiln: which phase of the plan it is in, when to raise it, and when to lower it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.forecast import KilnForecast, When
from app.judgement.forecasts.moisture import judged_wb
from app.judgement.programmes.programme import Programme, Step
from app.judgement.steps.step import Basis, InPlan, NextStep, reaches, step
from app.judgement.watch.exposure import OVER_BY_C
from app.judgement.watch.layers import as_read

RECENT = timedelta(hours=1)
SAME_AIR_C = 3.0
"""Air within this of what is planned is as planned: a kiln's own swing, from memory."""

KNOWN_WITHIN_WB = 0.03
"""Air is raised on grain whose break was seen, or whose moisture is known to so much, 80 % interval: from memory."""

IN_TIME = timedelta(hours=1)
QUARTER = timedelta(minutes=15)
CEILING = "enzymes.hours_and_degree_hours_above"
DRYING, BREAK = "kiln_bed.drying_time_h", "kiln_bed.break_point_db"


@dataclass(frozen=True)
class Phase:
    """A step of the plan on the kiln, and when the wettest tray comes to its end; None where nothing tells."""

    planned: Step
    ends: When | None


def phases_of(plan: InPlan) -> list[Phase]:
    phases = []
    for planned in plan.programme.steps:
        if planned.stage == "kilning" and planned.air_on_c is not None:
            wb = planned.moisture_wb
            phases.append(Phase(planned, None if wb is None else plan.comes_to(wb)))
    return phases


def phase_now(plan: InPlan, kiln: KilnForecast, phases: list[Phase]) -> int:
    """Which phase of the plan the grain has come to by its moisture; past the break withering is over."""
    for place, phase in enumerate(phases):
        is_over = phase.ends is not None and phase.ends.is_past(plan.batch.now)
        if phase.planned.phase == "withering" and kiln.broke is not None:
            is_over = True
        if not is_over:
            return place
    return len(phases) - 1


def change_of_air(plan: InPlan, kiln: KilnForecast, phases: list[Phase], current: int) -> NextStep | None:
    """Cooler air where the grain does not bear it, else the hotter air that the plan has next."""
    return _lower(plan, kiln) or _raise(plan, kiln, phases, current)


def _air_c(plan: InPlan) -> float | None:
    """Into the grain now: as set within the hour, else as read."""
    read = plan.last("air_on_temperature", since=plan.stage.starts_at)
    put = plan.last("set_point", since=plan.stage.starts_at)
    if isinstance(put, Reading) and (read is None or put.at >= read.at - RECENT):
        return put.value
    return read.value if isinstance(read, Reading) else None


def _raise(plan: InPlan, kiln: KilnForecast, phases: list[Phase], current: int) -> NextStep | None:
    """To what the plan has next: at the break, or at the end of the phase, and no sooner than the ceiling allows."""
    air_c, moisture = _air_c(plan), plan.batch.forecast.moisture
    is_known = moisture.low is not None and moisture.high is not None and moisture.high - moisture.low < KNOWN_WITHIN_WB
    if kiln.broke is None and not is_known:
        return None
    for before, phase in pairwise(phases[max(current - 1, 0) :]):
        wanted_c = phase.planned.air_on_c
        if air_c is None or wanted_c is None or wanted_c < air_c + SAME_AIR_C:
            continue
        return _raise_step(plan, kiln, before, wanted_c)
    return None


def _raise_step(plan: InPlan, kiln: KilnForecast, before: Phase, wanted_c: float) -> NextStep | None:
    is_withering = before.planned.phase == "withering"
    broke, ends = kiln.broke, before.ends
    if is_withering and broke is not None:
        when, why, method = When(broke.at, broke.at, broke.at + IN_TIME, broke.moisture_wb), "The bed has broken", BREAK
    elif is_withering and _is_sooner(kiln.break_due, ends):
        when, why, method = kiln.break_due, "The bed breaks about then", BREAK
    elif ends is not None and ends.central is not None:
        figure = plan.words.percent(ends.target, decimals=0)
        when, why, method = ends, f"Its wettest is down to {figure} about then", DRYING
    else:
        return None
    allowed = _allowed_from(plan, wanted_c)
    if allowed is not None and _is_sooner(when, allowed):
        figure = plan.words.percent(allowed.target, decimals=0)
        when, why, method = allowed, f"Below {figure} the grain bears it", DRYING
    if when.central is None:
        return None
    both = f"{plan.words.temperature(wanted_c)} ({plan.words.other_temperature(wanted_c)})"
    why = f"{why}: it gives less water than the air could take." if method == BREAK else f"{why}."
    late = (when.high or when.central) + IN_TIME
    basis: Basis = "facts" if method == BREAK and broke is not None else "forecast"
    what = f"Raise the air-on to {both}"
    return step("set_point", what, when.central, when.low, late, why, basis, method, does="raise")


def _is_sooner(first: When, second: When | None) -> bool:
    one, other = first.central, reaches(second)
    return one is not None and (other is None or one < other)


def _allowed_from(plan: InPlan, air_c: float) -> When | None:
    """When the wettest is dry enough for grain as hot as this air; None where it always was."""
    edge = _allowed_wb(plan.programme, air_c)
    return None if edge is None else plan.comes_to(edge)


def _allowed_wb(programme: Programme, air_c: float) -> float | None:
    """The moisture below which the programme's ceiling lets the grain come to the air's own heat."""
    edge: float | None = None
    for each in programme.ceiling:
        if each.grain_c >= air_c - SAME_AIR_C:
            return edge
        edge = each.moisture_above_wb
    return edge


def _lower(plan: InPlan, kiln: KilnForecast) -> NextStep | None:
    """Now, where the grain stands over its ceiling; and in time, where the air is too hot for it once it has broken."""
    moisture = plan.batch.moisture
    over = max(_over(plan), key=lambda each: each.excess_c, default=None)
    if over is not None and over.excess_c >= OVER_BY_C:
        hottest, ceiling_c = over.reading, over.ceiling_c
        where = f" ({hottest.place})" if hottest.place else ""
        grain, limit = plan.words.temperature(hottest.value or 0.0), plan.words.temperature(ceiling_c)
        if over.layer_wb != judged_wb(moisture):
            figure = plan.words.percent(over.layer_wb, decimals=0)
            why = f"Grain{where} {grain}; its ceiling is {limit} at the {figure} that its layer holds by its heat."
        elif moisture is not None and moisture.is_told:
            figure = plan.words.percent(moisture.where_wettest_wb, moisture.half_width)
            why = f"Grain{where} {grain}; its ceiling is {limit} at {figure} moisture."
        else:
            why = f"Grain{where} {grain}; its moisture is not known, and the ceiling of wet grain is {limit}."
        return _lower_step(plan, ceiling_c, hottest.at, hottest.at, hottest.at + QUARTER, why, "facts")
    return _lower_in_time(plan, kiln)


def _lower_in_time(plan: InPlan, kiln: KilnForecast) -> NextStep | None:
    air_c, broke = _air_c(plan), kiln.break_due
    at_break_wb = kiln.broke.moisture_wb if kiln.broke is not None else broke.target
    limit_c = plan.programme.ceiling_c(at_break_wb)
    if air_c is None or limit_c is None or air_c <= limit_c + SAME_AIR_C or kiln.broke is not None:
        return None
    if broke.central is None or broke.central <= plan.batch.now:
        return None
    figure, limit = plan.words.percent(at_break_wb, decimals=0), plan.words.temperature(limit_c)
    why = f"From the break on the grain comes to the air’s own heat, and at {figure} it bears {limit}."
    return _lower_step(plan, limit_c, broke.central, broke.low, broke.central + QUARTER, why, "forecast")


def _lower_step(
    plan: InPlan, limit_c: float, due: datetime, early: datetime | None, late: datetime, why: str, basis: Basis
) -> NextStep:
    both = f"{plan.words.temperature(limit_c)} ({plan.words.other_temperature(limit_c)})"
    what = f"Lower the air-on to {both} or less"
    order = "batch" if basis == "facts" else ""
    return step("set_point", what, due, early, late, why, basis, CEILING, does="lower", order=order)


class _Over(NamedTuple):
    """A reading of the grain, and the ceiling of its layer."""

    reading: Reading
    layer_wb: float
    ceiling_c: float

    @property
    def excess_c(self) -> float:
        return (self.reading.value or 0.0) - self.ceiling_c


def _over(plan: InPlan) -> Iterator[_Over]:
    """The last hour's last readings at each place, under a programme with a ceiling."""
    since = max(plan.stage.starts_at, plan.batch.now - RECENT)
    read = [
        each for each in plan.batch.history.readings("grain_temperature") if each.value is not None and each.at >= since
    ]
    for reading in {each.place: each for each in read}.values():
        layer_wb = as_read(plan.batch.history, reading, plan.batch.now)
        ceiling_c = plan.programme.ceiling_c(layer_wb)
        if ceiling_c is not None:
            yield _Over(reading, layer_wb, ceiling_c)
