"""The air that the plan has for the kiln, taken up from where the readings show that the kiln stands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from app.judgement.programmes.programme import Programme

AS_PLANNED_C = 2.0
"""Air within this of what is planned is as planned: a kiln's own swing, from memory."""


class PlannedAir(NamedTuple):
    """A step's air: its hour, air-on temperature, and how many hours it is planned to last."""

    hour: float
    temperature_c: float
    hours: float


class Point(NamedTuple):
    """Air from an hour on. is_read: as it was read or set, and not as the plan has it."""

    hour: float
    temperature_c: float
    is_read: bool


def planned_air(programme: Programme | None, start_h: float = 0.0) -> list[PlannedAir]:
    """Each step on the kiln that plans its air, from the hour of the heat on.

    A step that plans none has that of the step before it; before the first that does, its air is there already.
    """
    steps: list[PlannedAir] = []
    hour = start_h
    for step in programme.steps if programme else ():
        if step.stage != "kilning":
            continue
        end_h = steps[-1].hour + steps[-1].hours if steps else start_h
        hour += step.hours
        if step.air_on_c is not None:
            steps.append(PlannedAir(end_h, step.air_on_c, hour - end_h))
        elif steps:
            steps[-1] = steps[-1]._replace(hours=hour - steps[-1].hour)
    return steps


def along_plan(plan: Sequence[PlannedAir], looks: Sequence[tuple[float, float]]) -> list[Point]:
    """The air before, between and after the looks (hour, °C): as read, and going on by the plan from where it stands.

    A look that is as planned changes nothing. One that is not says at which step of the plan the kiln stands: what was
    read holds for the hours that this step has left, and the later steps come after it, each for its planned hours. A
    step whose hours are over gives way at once to the next. What came between two looks lies between what they read,
    and above it by no more than the plan itself falls until then.

    The hotter the last look, the hotter the air at every hour: a kiln behind its plan is never foreseen dry sooner.
    """
    run = _Run(plan)
    points: list[Point] = []
    since = Point(plan[0].hour, plan[0].temperature_c, False)
    least_c = -math.inf
    for look_h, read_c in looks:
        low_c, high_c = sorted((least_c, read_c))
        more_c = high_c - run.expected_c(since, look_h)
        came = (since, *(point for point in run.goes_on(since) if point.hour < look_h))
        points += [
            each._replace(temperature_c=min(max(each.temperature_c, low_c), max(high_c, each.temperature_c + more_c)))
            for each in came
        ]
        run.take_up(since, look_h, read_c)
        since, least_c = Point(max(look_h, since.hour), read_c, True), read_c
    planned_c = plan[run.place].temperature_c
    if abs(since.temperature_c - planned_c) <= AS_PLANNED_C:
        since = Point(since.hour, planned_c, since.is_read and since.temperature_c == planned_c)
    return [*points, since, *run.goes_on(since)]


class _Run:
    """Where a kiln stands in its plan. place: which step; stood: how many hours it has stood at each."""

    def __init__(self, plan: Sequence[PlannedAir]) -> None:
        self.plan, self.stood, self.place = plan, [0.0] * len(plan), 0

    def _coming(self, since: Point) -> list[tuple[float, int]]:
        """The hour of each step still to come. In the last one, air that is too cold gives way to the planned."""
        last = len(self.plan) - 1
        hour = since.hour + max(self.plan[self.place].hours - self.stood[self.place], 0.0)
        if self.place == last:
            return [(hour, last)] if since.temperature_c < self.plan[last].temperature_c else []
        coming = []
        for place in range(self.place + 1, last + 1):
            coming.append((hour, place))
            hour += self.plan[place].hours
        return coming

    def expected_c(self, since: Point, look_h: float) -> float:
        """What the plan has at an hour, from where it stands."""
        passed = [place for hour, place in self._coming(since) if hour < look_h]
        return self.plan[passed[-1] if passed else self.place].temperature_c

    def goes_on(self, since: Point) -> list[Point]:
        return [Point(hour, self.plan[place].temperature_c, False) for hour, place in self._coming(since)]

    def take_up(self, since: Point, look_h: float, read_c: float) -> None:
        """Stand where a look says; the hours up to it were stood at the steps that it leaves possible."""
        passed = [(since.hour, self.place), *(each for each in self._coming(since) if each[0] < look_h)]
        came_to = self._nearest(passed[-1][1], read_c)
        lived = [each for each in passed if each[1] <= max(came_to, self.place)]
        for (begun_h, place), (ended_h, _) in pairwise([*lived, (max(look_h, since.hour), -1)]):
            self.stood[place] += ended_h - begun_h
        self.place = came_to

    def _nearest(self, place: int, read_c: float) -> int:
        """The step expected, where the air is as planned; else the hottest one, before or after it, that it came to."""
        temperatures = [each.temperature_c for each in self.plan]
        if abs(read_c - temperatures[place]) <= AS_PLANNED_C:
            return place
        while place > 0 and temperatures[place - 1] < temperatures[place] > read_c + AS_PLANNED_C:
            place -= 1
        while place + 1 < len(self.plan) and temperatures[place] < temperatures[place + 1] <= read_c + AS_PLANNED_C:
            place += 1
        return place
