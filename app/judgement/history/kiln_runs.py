"""Each load of grain on the kiln as one run: when it was loaded, from when it was heated, and when the heat stood.

The grain dries under heat. Heat off until heat on, a pause and an interruption are gaps: by the clock of the heat no
time passes in them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

from app.judgement.facts.shapes import Action, Fact, Reading
from app.judgement.history.history import History
from app.judgement.history.stages import Stage, all_stages

SAME_LOAD = timedelta(hours=48)
"""Heat that comes back later than this dries malt that has drawn water since: a run of its own, from memory."""

COOLS_IN = timedelta(minutes=30)
COOLER_BY_C, NO_AIR_YET_C = 2.0, 40.0
"""A kiln without heat cools: air into the grain that half an hour later is as hot as before is heated. From memory."""

AS_LOADED = timedelta(minutes=30)
"""Grain weighed or tested within this of the heat is as moist as it was loaded, from memory; later it has dried."""

HEATED_C, FALLEN_K = 30.0, 15.0
"""From memory: no cooler air is heated; and no draught and no thermostat takes so much off."""

BY_A_FIRE_C = 55.0
"""Grain as hot as this a few hours after it was loaded was not warmed by its own breath alone: from memory."""

SHOWS_HEAT = ("set_point", "air_on_temperature", "air_off_temperature")
WEIGHED_DRY = frozenset({"tray", "moisture_test", "charge_weighing"})
UNLOADED = frozenset({"stripped", "outturn", "culms"})


@dataclass(frozen=True)
class HeatBreak:
    """The heat stood still. ends_at None: nothing says yet that it is back. fact_id: what said that it stopped."""

    starts_at: datetime
    ends_at: datetime | None
    fact_id: str

    def covers(self, moment: datetime) -> bool:
        return self.starts_at <= moment and (self.ends_at is None or moment < self.ends_at)


@dataclass(frozen=True)
class Run:
    """stage: from loading to the last heat off. heat_at: from when it was heated. gaps: in order of time."""

    stage: Stage
    heat_at: datetime
    gaps: tuple[HeatBreak, ...]

    def covers(self, moment: datetime) -> bool:
        return self.stage.starts_at <= moment and (self.stage.ends_at is None or moment <= self.stage.ends_at)

    def is_without_heat(self, moment: datetime) -> bool:
        return self.gap_at(moment) is not None

    def without_heat(self, start: datetime, end: datetime) -> timedelta:
        """How long the heat stood still between two moments."""
        spans = (min(gap.ends_at or end, end) - max(gap.starts_at, start) for gap in self.gaps)
        return sum((span for span in spans if span > timedelta(0)), timedelta(0))

    def hours_of_heat(self, start: datetime, end: datetime) -> float:
        return (end - start - self.without_heat(start, end)).total_seconds() / 3600.0

    def gap_at(self, moment: datetime) -> HeatBreak | None:
        """The gap in which the heat stands still at a moment; None while it is on."""
        return next((gap for gap in self.gaps if gap.covers(moment)), None)

    def changes_after(self, moment: datetime) -> datetime | None:
        """When the heat next stops or comes back after a moment."""
        ends = [each for gap in self.gaps for each in (gap.starts_at, gap.ends_at) if each is not None]
        return min((end for end in ends if end > moment), default=None)


def runs(history: History) -> tuple[Run, ...]:
    """Every run on the kiln, in order of time."""
    return history.once(_runs)


def run_at(history: History, moment: datetime) -> Run | None:
    """The last run that had begun by a moment."""
    return next((run for run in reversed(runs(history)) if run.stage.starts_at <= moment), None)


def fired_at(history: History, stage: Stage, until: datetime) -> datetime | None:
    """When this kiln was first heated, as far as anything up to a moment tells; None while the grain waits in it."""
    for fact in history.of_kind("heat_on", "heat_off", *SHOWS_HEAT, "grain_temperature"):
        shows_none = (fact.kind == "air_on_temperature" and _is_cold(fact)) or (
            isinstance(fact, Reading) and fact.kind == "grain_temperature" and (fact.value or 0.0) < BY_A_FIRE_C
        )
        if stage.starts_at <= fact.at <= until and not shows_none:
            return fact.at
    return None


def air_was_out(history: History, run: Run, start: datetime, end: datetime) -> bool:
    """Whether the air into the grain, hot before, was read cold in a stretch or last before it: nothing dries in it."""
    hottest_c, was_out = -math.inf, False
    for fact in history.of_kind("set_point", "air_on_temperature"):
        if not isinstance(fact, Reading) or fact.value is None or not run.heat_at <= fact.at <= end:
            continue
        if fact.kind == "air_on_temperature":
            is_out = has_fallen_out(fact.value, hottest_c)
            was_out = is_out or (was_out and fact.at > start)
        hottest_c = max(hottest_c, fact.value)
    return was_out


def has_fallen_out(air_c: float, hottest_c: float) -> bool:
    """Whether air that was so hot before is no longer heated."""
    return air_c < HEATED_C and air_c < hottest_c - FALLEN_K


def _is_cold(fact: Fact) -> bool:
    return isinstance(fact, Reading) and not _is_heated(fact)


def _is_heated(reading: Reading) -> bool:
    """Too hot for the instrument is hot."""
    return reading.quality == "over_range" or (reading.value or 0.0) >= HEATED_C


def _runs(history: History) -> tuple[Run, ...]:
    found: list[list[Stage]] = []
    for stage in all_stages(history):
        if stage.name != "kilning":
            continue
        if found and _is_same_load(history, found[-1][-1], stage):
            found[-1].append(stage)
        else:
            found.append([stage])
    return tuple(_run(history, heated) for heated in found)


def _is_same_load(history: History, before: Stage, after: Stage) -> bool:
    """Whether the heat only came back: nothing was loaded anew, taken off, or left lying too long."""
    since, start = before.ends_at, history.by_id(after.fact_id)
    if since is None or start is None or start.kind != "heat_on" or after.starts_at - since > SAME_LOAD:
        return False
    between = [stage.name for stage in all_stages(history) if since <= stage.starts_at < after.starts_at]
    taken_off = any(fact.kind in UNLOADED and since <= fact.at <= after.starts_at for fact in history.facts)
    return between == ["cooling"] and not taken_off


def _run(history: History, heated: Sequence[Stage]) -> Run:
    first, last = heated[0], heated[-1]
    stage = replace(first, ends_at=last.ends_at)
    stopped = [*_cold(heated), *_broken_off(history, stage), *_not_heated(history, stage)]
    heat_at = _heat_at(history, stage, min((gap.starts_at for gap in stopped), default=None))
    return Run(stage, heat_at, tuple(_joined(_inside(stopped, heat_at, stage.ends_at))))


def _heat_at(history: History, stage: Stage, stopped_at: datetime | None) -> datetime:
    """The first heat on; or the loading, where nobody said it, and where the first that was said brought heat back."""
    inside = [fact for fact in history.of_kind("heat_on", *SHOWS_HEAT) if stage.starts_at <= fact.at]
    first = next((fact.at for fact in inside if fact.kind == "heat_on"), None)
    if first is None or (stage.ends_at is not None and first > stage.ends_at):
        return stage.starts_at
    was_hot = stopped_at is not None and stopped_at < first and inside[0].at <= stopped_at
    return stage.starts_at if was_hot else first


def _cold(heated: Sequence[Stage]) -> Iterator[HeatBreak]:
    """Between heat off and heat on."""
    for before, after in pairwise(heated):
        assert before.ends_at is not None
        yield HeatBreak(before.ends_at, after.starts_at, after.fact_id)


def _broken_off(history: History, stage: Stage) -> Iterator[HeatBreak]:
    """Pauses and interruptions, each until it was said or shown that the heat was back."""
    for fact in history.of_kind("paused", "interruption"):
        until = fact.until_at if isinstance(fact, Action) else None
        if until is not None and fact.at < until:
            yield HeatBreak(fact.at, until, fact.id)
        elif until is None and fact.at >= stage.starts_at:
            yield HeatBreak(fact.at, _back_at(history, fact), fact.id)


def _not_heated(history: History, stage: Stage) -> Iterator[HeatBreak]:
    """Loaded, and nothing that was said or read since tells of any heat."""
    start = history.by_id(stage.fact_id)
    if start is not None and start.kind == "loaded" and stage.ends_at is None:
        since = [fact for fact in history.facts if fact.at >= stage.starts_at]
        if not any(tells_of_heat(fact, stage.starts_at) for fact in since):
            yield HeatBreak(stage.starts_at, None, stage.fact_id)


def tells_of_heat(fact: Fact, loaded_at: datetime) -> bool:
    """Whether it says, or can only be so, that the grain loaded then is heated."""
    if isinstance(fact, Reading):
        is_of_kiln = fact.kind == "grain_temperature" or fact.kind in SHOWS_HEAT
        return is_of_kiln and _is_heated(fact)
    return fact.kind == "heat_on" or (fact.kind in WEIGHED_DRY and fact.at > loaded_at + AS_LOADED)


def _back_at(history: History, stopped: Fact) -> datetime | None:
    back = [fact.at for fact in history.of_kind("resumed", "heat_on") if fact.at > stopped.at]
    air = [reading for reading in history.readings("air_on_temperature") if reading.value is not None]
    before = [each.value or 0.0 for each in air if each.at <= stopped.at]
    hot_c = before[-1] - COOLER_BY_C if before else NO_AIR_YET_C
    back += [each.at for each in air if each.at >= stopped.at + COOLS_IN and (each.value or 0.0) >= hot_c]
    return min(back, default=None)


def _inside(gaps: Iterable[HeatBreak], first: datetime, last: datetime | None) -> Iterator[HeatBreak]:
    """The parts of the gaps that lie in the run."""
    for gap in gaps:
        start = max(gap.starts_at, first)
        ends = [each for each in (gap.ends_at, last) if each is not None]
        end = min(ends, default=None)
        if end is None or start < end:
            yield replace(gap, starts_at=start, ends_at=end)


def _joined(gaps: Iterable[HeatBreak]) -> list[HeatBreak]:
    joined: list[HeatBreak] = []
    for gap in sorted(gaps, key=lambda each: each.starts_at):
        last = joined[-1] if joined else None
        if last is None or (last.ends_at is not None and last.ends_at < gap.starts_at):
            joined.append(gap)
        elif last.ends_at is not None and (gap.ends_at is None or gap.ends_at > last.ends_at):
            joined[-1] = replace(last, ends_at=gap.ends_at)
    return joined


def by_heat(history: History, run: Run) -> tuple[History, Stage]:
    """The same told by the clock of the heat: what was read without heat left out, all after a gap moved up to it."""
    if not run.gaps:
        return history, run.stage
    kept = [fact for fact in history.facts if not (isinstance(fact, Reading) and run.is_without_heat(fact.at))]
    facts = tuple(_moved(fact, run.without_heat(run.heat_at, fact.at)) for fact in kept)
    ends_at = run.stage.ends_at
    stage = (
        run.stage if ends_at is None else replace(run.stage, ends_at=ends_at - run.without_heat(run.heat_at, ends_at))
    )
    return history.with_facts(facts), stage


def _moved(fact: Fact, back: timedelta) -> Fact:
    if not back:
        return fact
    return replace(fact, earliest_at=fact.earliest_at - back, latest_at=fact.latest_at - back)
