"""What a next step is, and where a batch stands in its plan."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact
from app.judgement.forecasts.asking import GROWTH_AHEAD_H, KILN_AHEAD_H, STEEP_AHEAD_H
from app.judgement.forecasts.band import Array, never, when_reached
from app.judgement.forecasts.forecast import When
from app.judgement.forecasts.grid import bounded
from app.judgement.history.kiln_runs import run_at
from app.judgement.history.stages import Stage, planned_place
from app.judgement.programmes.programme import Limit, PlannedStage, Programme
from app.judgement.wording import Words

EVERY_H = 0.5
AT_ONCE = timedelta(minutes=15)
"""What is done so soon after its time is done in time: the person stands beside it, from memory."""

Basis = Literal["plan", "facts", "forecast"]
BEGINS = {
    "immersion": ("steep_on", "Steep on"),
    "air_rest": ("drained", "Drain"),
    "germination": ("cast", "Cast"),
    "stewing": ("stew_on", "Stew, covered"),
    "kilning": ("loaded", "Load the kiln"),
    "cooling": ("heat_off", "Heat off, cool"),
}


@dataclass(frozen=True)
class NextStep:
    """kind: the entry that records it. earliest_at to latest_at: the span in which it is in time.

    basis: whether it was read off the plan, what was found, or a forecast: then the span is from the least to the most
    that is wanted, and no narrower than the 80 % interval. method: the formula behind it, where there is one.
    does: what is done, where the kind doesn't say it. order: what it is urgently done for (`ranking.py`).
    """

    kind: str
    what: str
    due_at: datetime
    earliest_at: datetime
    latest_at: datetime
    why: str
    basis: Basis = "plan"
    method: str | None = None
    does: str = ""
    order: str = ""

    @property
    def doing(self) -> str:
        return self.does or self.kind

    def is_overdue(self, now: datetime) -> bool:
        return now > self.latest_at + AT_ONCE

    def is_due(self, now: datetime) -> bool:
        return bool(self.order) or self.due_at <= now

    def line(self, words: Words, now: datetime) -> str:
        """What to do, and the one time by when."""
        about = "about" if self.basis == "forecast" else "by"
        return self.what if self.is_due(now) else f"{self.what} {about} {words.around(self.due_at)}"


class Ending(NamedTuple):
    """How the plan ends the stage: the entry that ends it, and after how long, at the least and at the most."""

    kind: str
    what: str
    due_at: datetime
    earliest_at: datetime
    latest_at: datetime
    planned: PlannedStage


@dataclass(frozen=True)
class InPlan:
    """A batch that is in a stage now, and where that stage stands in its programme's plan."""

    batch: BatchAt
    programme: Programme
    stage: Stage
    words: Words

    def comes_to(self, target: float) -> When:
        """When moisture or acrospire comes to a target if it is left as it is."""
        curve, fitted = self.batch.once(_curve), self.batch.fitted
        if curve is None:
            return never(target, "Nothing tells it.")
        hours, band = curve
        return when_reached(lambda _: band, hours, target, fitted.zero_at, falls=fitted.stage == "kilning")

    @cached_property
    def place(self) -> int | None:
        return planned_place(self.programme, self.batch.stages)

    @property
    def planned(self) -> PlannedStage | None:
        return None if self.place is None else self.programme.planned_stages()[self.place]

    @property
    def following(self) -> str | None:
        """The stage that the plan has next."""
        plan = self.programme.planned_stages()
        return plan[self.place + 1].stage if self.place is not None and self.place + 1 < len(plan) else None

    @property
    def ending(self) -> Ending | None:
        """None where the plan has nothing after this stage."""
        planned, following = self.planned, self.following
        if planned is None or following is None:
            return None
        kind, what = BEGINS[following]
        hours = (planned.end_h - planned.start_h, planned.hours_low, planned.hours_high)
        due, least, most = (self.after_start(hour) for hour in hours)
        return Ending(kind, what, due, least, most, planned)

    def after_start(self, hours: float) -> datetime:
        """On the kiln it is hours of heat that count."""
        run = run_at(self.batch.history, self.batch.now) if self.stage.name == "kilning" else None
        start = self.stage.starts_at if run is None else run.stage.starts_at
        stood = timedelta(0) if run is None else run.without_heat(start, self.batch.now)
        return start + stood + timedelta(hours=hours)

    def last(self, *kinds: str, since: datetime | None = None) -> Fact | None:
        told = self.batch.history.of_kind(*kinds)
        return told[-1] if told and (since is None or told[-1].at >= since) else None

    def last_at(self, *kinds: str, since: datetime | None = None) -> datetime | None:
        fact = self.last(*kinds, since=since)
        return fact.at if fact else None

    def limit(self, key: str) -> Limit | None:
        return self.programme.limit(key)


def _curve(batch: BatchAt) -> tuple[Array, tuple[Array, Array, Array]] | None:
    """What is waited for in this stage, by the hour with its band: acrospire, the wettest tray, or the moisture."""
    fitted = batch.fitted
    now_h, story, growth = fitted.hour(batch.now), fitted.story, fitted.growth
    if fitted.stage == "germination":
        if growth is None or growth.end_h is not None:
            return None
        hours = _hours(growth.start_h, max(now_h, growth.start_h) + GROWTH_AHEAD_H)
        return hours, growth.band(hours)
    if fitted.stage == "kilning":
        drying = story.drying if story is not None else None
        if drying is None or drying.end_h is not None:
            return None
        hours = _hours(drying.start_h, max(now_h, drying.start_h) + KILN_AHEAD_H)
        return hours, drying.band(hours, drying.wettest_tray)
    if story is None or story.uptake is None or story.uptake.end_h is not None:
        return None
    hours = _hours(0.0, max(now_h, 0.0) + STEEP_AHEAD_H)
    return hours, story.band(hours)


def _hours(start_h: float, end_h: float) -> Array:
    return np.linspace(start_h, end_h, bounded(int((end_h - start_h) / EVERY_H) + 1))


def step(
    kind: str,
    what: str,
    due: datetime,
    early: datetime | None,
    late: datetime | None,
    why: str,
    basis: Basis = "plan",
    method: str | None = None,
    *,
    does: str = "",
    order: str = "",
) -> NextStep:
    """A step whose span holds the moment at which it is due."""
    earliest, latest = min(early or due, due), max(late or due, due)
    return NextStep(kind, what, due, earliest, latest, why, basis, method, does, order)


def look(
    kind: str, what: str, due: datetime, late_h: float, why: str, early_h: float = 1.0, basis: Basis = "plan"
) -> NextStep:
    hour = timedelta(hours=1)
    return NextStep(kind, what, due, due - early_h * hour, due + late_h * hour, why, basis)


def while_it_lasts(main: NextStep | None, looks: Iterable[NextStep], now: datetime) -> list[NextStep]:
    """The stage's end, and the looks that are due before it: those after it fall away with the stage."""
    if main is None:
        return list(looks)
    until = max(main.due_at, now)
    return [main, *(each for each in looks if each.due_at <= until)]


def within(moment: datetime, first: datetime, last: datetime) -> datetime:
    """The moment, or the nearer end of the span."""
    return min(max(moment, first), max(first, last))


def earliest_of(*moments: datetime | None) -> datetime | None:
    return min((moment for moment in moments if moment is not None), default=None)


def latest_of(*moments: datetime | None) -> datetime | None:
    return max((moment for moment in moments if moment is not None), default=None)


def reaches(when: When | None) -> datetime | None:
    return when.central if when is not None else None
