"""What there is to do in a plan: the ends of its steps, the turns of the bed, and looking after a hot kiln."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt

from app.judgement.ahead.planner_time import STEPS_PER_H, Clock
from app.judgement.flags.bed import TURNING_H
from app.judgement.programmes.programme import Programme, Step
from app.judgement.steps.step import BEGINS

LOOKS_PER_H = 0.5
"""A hot kiln at night asks for somebody every two hours, as by day: common practice."""

SOON_DONE = 2 * STEPS_PER_H
"""A bed turned within two hours is not turned again before bed, nor one about to be unloaded: common practice."""

USUAL_TURNING_H = 8.0
Counts = npt.NDArray[Any]


@dataclass(frozen=True)
class Task:
    """kind: the entry that records it. earliest_at to latest_at: the window that the plan leaves, given what was done
    before; a turn has none of its own. shift_h: how far it was moved from the planned hours of its step.
    """

    kind: str
    what: str
    at: datetime
    earliest_at: datetime
    latest_at: datetime
    is_at_night: bool
    shift_h: float = 0.0

    @property
    def is_shifted(self) -> bool:
        return abs(self.shift_h) > 0.1


def begins_as(programme: Programme, clock: Clock, place: int) -> Task:
    first = programme.steps[0]
    kind, what = ("heat_on", "Heat on") if first.stage == "kilning" else BEGINS.get(first.stage, ("steep_on", "Begin"))
    at = clock.moment(place)
    return Task(kind, what, at, at, at, not clock.is_awake(place))


def step_task(programme: Programme, number: int, clock: Clock, place: int, end: int) -> Task:
    """The task at the end of a step that began at a place: what begins the next, or ends the plan."""
    step, following = programme.steps[number], programme.steps[number + 1 : number + 2]
    kind, what = _what(step, following[0] if following else None)
    start, at = clock.moment(place), clock.moment(end)
    window = (start + timedelta(hours=hours) for hours in (step.hours_low, step.hours_high))
    earliest, latest = window
    shift_h = (end - place) / STEPS_PER_H - step.hours
    # The clock goes by five minutes: a window that ends between two of them is not left by the rounding.
    return Task(kind, what, at, min(earliest, at), max(latest, at), not clock.is_awake(end), shift_h)


def _what(step: Step, following: Step | None) -> tuple[str, str]:
    if following is None:
        return ("stripped", "Strip, rub off the culms") if step.stage == "cooling" else ("heat_off", "Heat off")
    if following.stage == step.stage:
        if following.stage != "kilning":
            return "grain_temperature", "Next part of the stage: look"
        return "set_point", _air_words(following)
    return BEGINS.get(following.stage, ("note", "Go on as planned"))


def _air_words(step: Step) -> str:
    return f"Change the air: {step.phase}" if step.phase else "Change the air"


def turn_task(clock: Clock, place: int) -> Task:
    at = clock.moment(place)
    return Task("turned", "Turn the bed", at, at, at, not clock.is_awake(place))


class Kilned:
    """A kiln is never left alone: its hours at night count as the looks that they ask for."""

    def __init__(self, clock: Clock) -> None:
        self._asleep = clock.asleep_before

    def night_h(self, place: int, end: int) -> float:
        return float(self._asleep[end] - self._asleep[place]) / STEPS_PER_H

    def looks(self, place: int, end: int) -> float:
        return LOOKS_PER_H * self.night_h(place, end)

    def look_counts(self, length: int) -> Counts:
        return LOOKS_PER_H / STEPS_PER_H * (self._asleep[length:] - self._asleep[: len(self._asleep) - length])


class Turns:
    """The turns after a cast: every so many hours by day; once before bed and once on getting up, where the night is
    not longer than the bed may lie; and in the night only where it is.
    """

    def __init__(self, clock: Clock, programme: Programme) -> None:
        self.clock = clock
        limit = programme.limit("turning_h") or TURNING_H
        self.every = round((limit.target_high or limit.high_caution or USUAL_TURNING_H) * STEPS_PER_H)
        self.most = max(round((limit.high_caution or 0.0) * STEPS_PER_H), self.every)
        longest = sum(step.hours_high for step in programme.steps if step.stage == "germination")
        self._rows = self._in_turn(round(longest * STEPS_PER_H))

    def between(self, cast: int, end: int) -> list[int]:
        """The places of the turns from a cast to the end of the floor."""
        places = []
        last = cast
        for row in self._rows:
            turn = int(row[cast])
            if not self._is_done(turn, last, end):
                break
            places.append(turn)
            last = turn
        return places

    def at_night(self, cast: int, end: int) -> float:
        return float(sum(not self.clock.is_awake(turn) for turn in self.between(cast, end)))

    def night_counts(self, length: int) -> Counts:
        """How many turns fall into the night, by the place of the cast, on a floor of this length."""
        casts = np.arange(len(self.clock.awake))
        ends, last, nights = casts + length, casts, np.zeros(len(casts))
        for row in self._rows:
            nights += self._is_done(row, last, ends) & ~self.clock.awake[np.minimum(row, len(casts) - 1)]
            last = row
        return nights

    def _is_done(self, turn: Any, last: Any, end: Any) -> Any:
        """One that falls due shortly before the end is left to the unloading, if the bed may lie until then."""
        return (turn < end) & ((turn <= end - SOON_DONE) | (last + self.most < end))

    def _in_turn(self, longest: int) -> list[Counts]:
        """Rows: the place of the first turn, the second, …, by the place of the cast."""
        following = self._following()
        rows: list[Counts] = []
        row = following
        casts = np.arange(len(following))
        while len(casts) and bool((row < np.minimum(casts + longest, len(casts))).any()):
            rows.append(row)
            row = following[np.minimum(row, len(casts) - 1)]
        return rows

    def _following(self) -> Counts:
        """The turn after one at each place; or after a cast there."""
        size = len(self.clock.awake)
        places = np.arange(size)
        due = places + self.every
        inside = np.minimum(due, size - 1)
        bed = np.maximum.accumulate(np.where(self.clock.awake, places, -size))[inside]
        up = np.minimum.accumulate(np.where(self.clock.awake, places, 2 * size)[::-1])[::-1][inside]
        at_night = np.where(bed - places >= SOON_DONE, bed, np.where(up - places <= self.most, up, due))
        return np.where(self.clock.awake[inside] | (due >= size), due, at_night)
