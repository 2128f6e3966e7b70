"""When a bed, or a steep's water, comes to its limit if nobody looks: from its slope since it was last turned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import fmean, stdev

from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.course import is_usable
from app.judgement.forecasts.moisture import moisture_at
from app.judgement.grain.losses import RELATIVE_SD, RESPIRATION_LOSS_PER_H, losses_between
from app.judgement.history.history import History, by_place, hours_between
from app.judgement.history.stages import Stage
from app.judgement.programmes.programme import Limit
from app.judgement.watch.bed_ahead import LEAST_APART, OLD_AFTER
from app.judgement.watch.watch import Gap, Slope, Watch, bound_of, rate_words
from app.judgement.wording import Words
from app.science.left_alone import WARMING_Q10, Warming, hours_to_limit, warming, warming_without_loss_c_per_h

COOLS_WITHIN = timedelta(hours=24)
TURNS_BACK = 6
"""How many stretches between turns tell how the bed goes now: it changes from day to day. Common practice."""

TWICE = "take its temperature at the same spot twice, an hour and a half or more apart"
NOBODY_READ = "no temperature was read {since}"


@dataclass(frozen=True)
class _Rise:
    """How a place warms: the line, the last reading, and what it rests on in words."""

    line: Warming
    last: Reading
    basis: str


def bed_watches(
    history: History, stage: Stage, kind: str, limit: Limit, turned: Sequence[datetime], now: datetime, words: Words
) -> tuple[list[Watch], list[Gap]]:
    """turned: when the stage began, and each time since that the bed was mixed."""
    watches: list[Watch] = []
    gaps: list[Gap] = []
    places = _places(history, stage, kind, now)
    for place, readings in places.items():
        rise = _rise(history, readings, turned, words)
        if rise is None:
            gaps.append(_read_once(readings[-1], words))
            last = readings[-1]
            watches += (
                soonest_without_loss(history, last, last.at, limit, now, words) if kind == "grain_temperature" else []
            )
            continue
        if now - rise.last.at > OLD_AFTER:
            said = (
                f"The last temperature of {_named(kind, place)} is {words.span(hours_between(rise.last.at, now))} old"
            )
            gaps.append(Gap("old_temperature", said, TWICE, kind))
        watches += _watches(kind, place, rise, limit, now, words)
    if not places:
        said = f"How warm {_named(kind, None)} is: {NOBODY_READ.format(since='since ' + words.clock(stage.starts_at))}"
        gaps.append(Gap("no_temperature", said, TWICE, kind))
    return watches, gaps


def _places(history: History, stage: Stage, kind: str, now: datetime) -> dict[str | None, list[Reading]]:
    inside = (
        reading for reading in history.readings(kind) if is_usable(reading) and stage.starts_at <= reading.at <= now
    )
    grouped = by_place(inside)
    newest = max((read[-1].at for read in grouped.values()), default=now)
    # A spot that nobody reads any more is no reason to stay up.
    return {place: read for place, read in grouped.items() if newest - read[-1].at <= OLD_AFTER}


def _rise(history: History, readings: Sequence[Reading], turned: Sequence[datetime], words: Words) -> _Rise | None:
    """From the readings since the bed was last mixed; else the mean slope of the stretches between the times before."""
    last = readings[-1]
    edges = list(pairwise([*turned, last.at + LEAST_APART]))
    inside = [[reading for reading in readings if start <= reading.at < end] for start, end in edges]
    lines = [(run, _line(history, run)) for run in inside if run and run[-1].at - run[0].at >= LEAST_APART]
    if not lines:
        return None
    run, line = lines[-1]
    if run is inside[-1]:
        when = f"between {words.clock(run[0].at)} and {words.clock(run[-1].at)}"
        return _Rise(line, last, f"{len(run)} readings {when}")
    # The bed has been mixed since: the lines tell how fast it warms, but not where it stands.
    earlier = [each for _, each in lines[-TURNS_BACK:]]
    turns = "the last turn" if len(earlier) == 1 else f"{len(earlier)} turns"
    carried = Warming(fmean(each.per_h for each in earlier), _spread(earlier), last.value or 0.0, line.level_sd)
    return _Rise(carried, last, f"how it went before {turns}, and one reading since")


def _line(history: History, run: Sequence[Reading]) -> Warming:
    return warming([history.hour(each.at) for each in run], [each.value or 0.0 for each in run])


def _spread(earlier: Sequence[Warming]) -> float:
    """How far the next stretch may lie from the mean of those before; of one alone, twice its own uncertainty."""
    if len(earlier) == 1:
        return 2.0 * earlier[0].per_h_sd
    own = math.sqrt(fmean(each.per_h_sd**2 for each in earlier))
    return max(own, stdev(each.per_h for each in earlier)) * math.sqrt(1.0 + 1.0 / len(earlier))


def _watches(kind: str, place: str | None, rise: _Rise, limit: Limit, now: datetime, words: Words) -> list[Watch]:
    high, low = bound_of(limit, is_high=True), bound_of(limit, is_high=False)
    warms = _watch(kind, place, rise, high, words, sign=1.0) if high is not None else None
    cools = _watch(kind, place, rise, low, words, sign=-1.0) if low is not None else None
    # Cold grain only lags: that it may come to that is nothing to get up for, that it does is.
    if cools is not None and (cools.likely_at is None or cools.likely_at > now + COOLS_WITHIN):
        cools = None
    return [each for each in (warms, cools) if each is not None]


def _watch(
    kind: str, place: str | None, rise: _Rise, bound: tuple[float, str], words: Words, sign: float
) -> Watch | None:
    line, (limit_c, source) = rise.line, bound
    quickens = WARMING_Q10 if sign > 0.0 and kind == "grain_temperature" else 1.0
    level, limit_level, per_h = sign * line.level_c, sign * limit_c, sign * line.per_h
    likely = hours_to_limit(level, limit_level, per_h)
    safe = hours_to_limit(level + 2.0 * line.level_sd, limit_level, per_h + 2.0 * line.per_h_sd, quickens)
    if safe is None:
        return None
    comes = "comes to" if sign > 0.0 else "falls to"
    moved = rate_words(words, abs(line.per_h), 2.0 * line.per_h_sd)
    how = f"It {'warmed' if line.per_h >= 0.0 else 'cooled'} by {moved}; it stood at "
    stood = f"{words.temperature(rise.last.value or 0.0)} at {words.clock(rise.last.at)}"
    name = _named(kind, place)
    return Watch(
        key="temperature",
        what=f"{name[:1].upper()}{name[1:]} {comes} {words.temperature(limit_c)}",
        safe_at=rise.last.at + timedelta(hours=safe),
        likely_at=None if likely is None else rise.last.at + timedelta(hours=likely),
        why=how + stood,
        basis=f"{rise.basis}; the limit: {source}",
        method="left_alone.hours_to_limit",
        is_estimate=True,
        by=Slope(line, limit_c, rise.last),
    )


def soonest_without_loss(
    history: History, last: Reading, since: datetime, limit: Limit, now: datetime, words: Words
) -> list[Watch]:
    """The soonest that it can be: from a moment on at which it was as warm as read, if none of its heat got away."""
    moisture, bound = moisture_at(history, now), bound_of(limit, is_high=True)
    if moisture is None or bound is None or last.value is None:
        return []
    lost = losses_between(history, now, now + timedelta(hours=1))
    breath = lost.respiration * (1.0 + 2.0 * RELATIVE_SD["respiration"])
    most = min(max(breath, lost.steep * (1.0 + 2.0 * RELATIVE_SD["steep"])) or RESPIRATION_LOSS_PER_H, 0.01)
    rate = warming_without_loss_c_per_h(most, min(moisture.moisture_wb, 0.9))
    hours = hours_to_limit(last.value, bound[0], rate, WARMING_Q10)
    if hours is None:
        return []
    name = _named("grain_temperature", last.place)
    return [
        Watch(
            key="temperature",
            what=f"{name[:1].upper()}{name[1:]} comes to {words.temperature(bound[0])}, at the very soonest",
            safe_at=since + timedelta(hours=hours),
            likely_at=None,
            why=f"If none of its heat got away it would warm by {rate_words(words, rate)} and quicken",
            basis=f"one reading, {words.temperature(last.value)} at {words.clock(last.at)}; the limit: {bound[1]}",
            method="left_alone.warming_without_loss_c_per_h",
            is_estimate=True,
            by=Slope(Warming(rate, 0.0, last.value, 0.0), bound[0], last),
        )
    ]


def _read_once(last: Reading, words: Words) -> Gap:
    name, at = _named(last.kind, last.place), words.clock(last.at)
    said = f"How fast {name} warms: not read twice, an hour and a half apart, since it was turned; last at {at}"
    return Gap("one_temperature", said, TWICE, last.kind)


def _named(kind: str, place: str | None) -> str:
    name = "the water" if kind == "water_temperature" else "the bed"
    return f"{name} ({place})" if place else name
