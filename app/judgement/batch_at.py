"""A batch at a moment: what is known of it by then, each thing worked out once however many ask."""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any, TypeVar

from app.judgement.facts.shapes import Fact, Reading
from app.judgement.forecasts.forecast import Fit, Forecast, fit, forecast_at
from app.judgement.forecasts.moisture import Estimate, moisture_at
from app.judgement.forecasts.trusted import doubted, known_and_trusted
from app.judgement.history.history import History, by_place
from app.judgement.history.stages import ENDED, Section, Stage, by_section, sections, stages
from app.judgement.programmes.programme import Programme

FactType = TypeVar("FactType", bound=Fact)
Derived = TypeVar("Derived")


@dataclass(frozen=True, eq=False)
class BatchAt:
    """What every judgement looks at.

    history: the facts up to now, less those that look like a slip and wait for an answer; whole: the history as it was
    given, later facts too; doubted: the facts up to now that look like a slip.
    """

    history: History
    whole: History
    now: datetime
    doubted: tuple[Fact, ...] = ()

    @cached_property
    def stages(self) -> list[Stage]:
        return stages(self.history, self.now)

    @cached_property
    def _starts(self) -> list[datetime]:
        return [stage.starts_at for stage in self.stages]

    @cached_property
    def _sections(self) -> list[Section]:
        return sections(self.history, self.stages)

    def by_section(self, facts: Sequence[FactType]) -> Iterator[tuple[Section, Sequence[FactType]]]:
        """Facts in order of time, by the stretch of one stage and one programme that they lie in."""
        return by_section(self._sections, facts)

    @property
    def stage(self) -> Stage | None:
        """The stage that it is in."""
        return self.stages[-1] if self.stages else None

    def stage_at(self, moment: datetime) -> Stage | None:
        place = bisect.bisect_right(self._starts, moment)
        return self.stages[place - 1] if place else None

    def stages_named(self, *names: str) -> list[Stage]:
        return [stage for stage in self.stages if stage.name in names]

    def is_in(self, *names: str) -> bool:
        """Whether one of these stages is going on."""
        return self.stage is not None and self.stage.name in names

    def end_of(self, stage: Stage) -> datetime:
        """The end of a stage, or now while it goes on."""
        return stage.ends_at or self.now

    @cached_property
    def is_live(self) -> bool:
        return not self.is_in(*ENDED)

    @cached_property
    def ended_at(self) -> datetime | None:
        return None if self.is_live else self.stages[-1].starts_at

    @cached_property
    def programme(self) -> Programme | None:
        """The programme that holds now."""
        return self.history.programme_at(self.now)

    def programme_at(self, moment: datetime) -> Programme | None:
        """The programme that held at a moment."""
        return self.history.programme_at(moment)

    @property
    def moisture(self) -> Estimate | None:
        """The moisture now."""
        return self.moisture_at(self.now)

    def moisture_at(self, moment: datetime) -> Estimate | None:
        """The moisture determined or estimated of a moment."""
        return moisture_at(self.history, moment)

    @cached_property
    def fitted(self) -> Fit:
        """The curves fitted to all its facts."""
        return fit(self.history)

    @cached_property
    def forecast(self) -> Forecast:
        """What those curves say now."""
        return forecast_at(self.history, self.now)

    def once(self, compute: Callable[[BatchAt], Derived]) -> Derived:
        """compute(self), worked out at the first call."""
        if compute not in self._derived:
            self._derived[compute] = compute(self)
        derived: Derived = self._derived[compute]
        return derived

    @cached_property
    def _derived(self) -> dict[Callable[[BatchAt], Any], Any]:
        return {}

    def within(self, facts: Sequence[FactType], starts_at: datetime, ends_at: datetime) -> Sequence[FactType]:
        """Those of the ordered facts that lie between, both ends included."""
        times = [fact.at for fact in facts]
        return facts[bisect.bisect_left(times, starts_at) : bisect.bisect_right(times, ends_at)]

    def readings_by_place(self, kind: str) -> dict[str | None, list[Reading]]:
        """The readings of one kind that have a value, by place, in order."""
        return by_place(reading for reading in self.history.readings(kind) if reading.value is not None)

    def hour_words(self, moment: datetime) -> str:
        return f"hour {self.history.hour(moment):.0f}"

    def span_words(self, starts_at: datetime, ends_at: datetime) -> str:
        """The hours of the malthouse clock, such as "hours 91–95"."""
        first, last = (f"{self.history.hour(moment):.0f}" for moment in (starts_at, ends_at))
        return f"hour {first}" if first == last else f"hours {first}–{last}"


def batch_at(history: History, now: datetime) -> BatchAt:
    """The batch at a moment; the same one for all that ask about this history at this moment."""
    moments = history.once(_moments)
    if now not in moments:
        doubted_by_now = tuple([fact for fact in doubted(history) if fact.at <= now])
        moments[now] = BatchAt(known_and_trusted(history, now), history, now, doubted_by_now)
    return moments[now]


def _moments(history: History) -> dict[datetime, BatchAt]:
    """Remembered with the history: its BatchAt for each moment that was asked about."""
    return {}
