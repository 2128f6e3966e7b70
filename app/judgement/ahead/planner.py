"""The start hour: when to put the first water on, so that what has to be done falls into the house's waking hours.

Each stage of the plan may be as short or as long as its own window says; of all the ways to go through a plan the one
with the least work at night is found, and of those the one nearest to the plan. It is found backwards, once for all
starts: what is left to do depends only on the moment at which a step begins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo

import numpy as np

from app.judgement.ahead.planner_tasks import Counts, Kilned, Task, Turns, begins_as, step_task, turn_task
from app.judgement.ahead.planner_time import STEPS_PER_H, Clock, Waking
from app.judgement.programmes.programme import Programme, Step

HALF_HOURS = 6
LONGEST_H = 45.0 * 24.0
"""Of a whole plan: what takes longer isn't planned by the hour."""

MOST_CHOICES = 160
NIGHT = 10_000.0
"""One task at night outweighs any stretching of the plan: the penalty for that stays well below it."""

APART = timedelta(hours=2)
"""Starts that are shown one beside the other are at least so far apart: neighbours are much the same."""


class TooLong(ValueError):
    """The plan takes longer than is planned by the hour."""


@dataclass(frozen=True)
class Start:
    """A moment to begin at. night: tasks at night, and hours of firing at night as the looks that they ask for.

    away_h: how far the steps are from their planned hours, together.
    """

    at: datetime
    night: float
    away_h: float

    @property
    def rank(self) -> tuple[float, float, datetime]:
        return (round(self.night, 6), round(self.away_h, 6), self.at)


@dataclass(frozen=True)
class Timetable:
    """One start with everything to do, in order of time. fired_at_night_h: the kiln hot while the house sleeps."""

    start: Start
    tasks: tuple[Task, ...]
    ends_at: datetime
    fired_at_night_h: float

    @property
    def at_night(self) -> tuple[Task, ...]:
        return tuple(task for task in self.tasks if task.is_at_night)


class Plan:
    """A programme against a house's waking hours, from a first day on."""

    def __init__(self, programme: Programme, waking: Waking, first_day: date, zone: tzinfo) -> None:
        longest_h = sum(step.hours_high for step in programme.steps)
        if longest_h > LONGEST_H:
            raise TooLong(f"This plan may take {longest_h / 24.0:.0f} days: too long to plan by the hour.")
        self.programme = programme
        self.clock = Clock(first_day, zone, waking, longest_h + 26.0)
        self._kilned = Kilned(self.clock)
        self._turns = Turns(self.clock, programme)
        self._best: list[Counts] = []
        self._choice: list[Counts] = []
        self._solve()

    def starts(self) -> list[Start]:
        """Each half hour of the first day, in order of the clock."""
        return [self._start(place) for place in range(0, self.clock.day_steps, HALF_HOURS)]

    def best(self, how_many: int = 3) -> list[Start]:
        """The best of them, not too near to one another."""
        starts: list[Start] = []
        for start in sorted(self.starts(), key=lambda each: each.rank):
            if len(starts) < how_many and all(abs(start.at - other.at) >= APART for other in starts):
                starts.append(start)
        return starts

    def timetable(self, start: Start) -> Timetable:
        """All that there is to do after this start."""
        place = self.clock.place_of(start.at)
        tasks, fired_h = [begins_as(self.programme, self.clock, place)], 0.0
        for number, step in enumerate(self.programme.steps):
            end = place + int(self._choice[number][place])
            if step.stage == "germination":
                tasks += [turn_task(self.clock, at) for at in self._turns.between(place, end)]
            if step.stage in ("kilning", "stewing"):
                fired_h += self._kilned.night_h(place, end)
            tasks.append(step_task(self.programme, number, self.clock, place, end))
            place = end
        return Timetable(start, tuple(tasks), self.clock.moment(place), fired_h)

    def _start(self, place: int) -> Start:
        """What its best way costs, told apart again into night and stretching."""
        night, away, at = (0.0 if self.clock.is_awake(place) else 1.0), 0.0, place
        for number, step in enumerate(self.programme.steps):
            length = int(self._choice[number][at])
            night += self._night(step, at, length)
            away += abs(length - _steps(step.hours)) / STEPS_PER_H
            at += length
        return Start(self.clock.moment(place), night, away)

    def _night(self, step: Step, place: int, length: int) -> float:
        end = place + length
        night = 0.0 if self.clock.is_awake(end) else 1.0
        if step.stage == "germination":
            night += self._turns.at_night(place, end)
        if step.stage in ("kilning", "stewing"):
            night += self._kilned.looks(place, end)
        return night

    def _solve(self) -> None:
        """For each step, from the last to the first: the best length to give it, at every moment it may begin."""
        size = len(self.clock.awake)
        following = np.zeros(size)
        end_cost = np.where(self.clock.awake, 0.0, NIGHT)
        for step in reversed(self.programme.steps):
            best, choice = np.full(size, np.inf), np.zeros(size, dtype=np.int64)
            for length in _lengths(step):
                cost = np.full(size, np.inf)
                cost[: size - length] = end_cost[length:] + following[length:]
                cost += abs(length - _steps(step.hours)) / STEPS_PER_H
                cost[: size - length] += self._inside(step, length, size - length)
                is_better = cost < best - 1e-9
                best, choice = np.where(is_better, cost, best), np.where(is_better, length, choice)
            following = best
            self._best.insert(0, best)
            self._choice.insert(0, choice)

    def _inside(self, step: Step, length: int, until: int) -> Counts:
        """What happens at night inside a step of that length, for each moment that it may begin at."""
        if step.stage == "germination":
            return NIGHT * self._turns.night_counts(length)[:until]
        if step.stage in ("kilning", "stewing"):
            return NIGHT * self._kilned.look_counts(length)[:until]
        return np.zeros(until)


def _steps(hours: float) -> int:
    return round(hours * STEPS_PER_H)


def _lengths(step: Step) -> Sequence[int]:
    """The lengths to try, the planned one first: every half hour of the window, and its two ends."""
    low, planned, high = (_steps(hours) for hours in (step.hours_low, step.hours, step.hours_high))
    apart = max(HALF_HOURS, -(-(high - low) // MOST_CHOICES))
    tried = {low, high, *range(planned, high + 1, apart), *range(planned, low - 1, -apart)}
    return sorted(tried, key=lambda length: (abs(length - planned), length))
