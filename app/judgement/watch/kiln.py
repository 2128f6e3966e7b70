"""What may go past its limit on the kiln: grain over its ceiling, and green malt that waits for its heat."""

from __future__ import annotations

from datetime import datetime, timedelta

from app.judgement.batch_at import batch_at
from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.course import is_usable
from app.judgement.history.history import History, by_place
from app.judgement.history.stages import Stage
from app.judgement.programmes.programme import Programme, provenance
from app.judgement.watch.layers import as_read
from app.judgement.watch.waiting import WAITING_H, waiting_now
from app.judgement.watch.watch import Slope, Watch, clock_watch, rate_words
from app.judgement.wording import Words
from app.science.left_alone import hours_to_limit, warming

RECENT = timedelta(hours=3)
"""Older readings of grain on the kiln belong to another air: common practice."""


def waiting_watch(history: History, now: datetime, words: Words) -> Watch | None:
    """Green malt that waits without heat, its hours counted anew from each look that found it cool."""
    wait = waiting_now(batch_at(history, now))
    if wait is None:
        return None
    is_read_cool = wait.starts_at > wait.fact.at
    began = "Loaded and not heated" if wait.is_of_loading else "Without heat"
    what = "Green malt has waited too long for its heat"
    began = f"{began}; last read cool, and not read" if is_read_cool else began
    return clock_watch("waiting", what, wait.starts_at, WAITING_H, words, began)


def ceiling_watch(history: History, programme: Programme, stage: Stage, now: datetime, words: Words) -> Watch | None:
    """The grain's slope against the ceiling at its moisture now: as it dries, the ceiling only rises."""
    since = max(stage.starts_at, now - RECENT)
    read = history.readings("grain_temperature")
    places = by_place(each for each in read if is_usable(each) and since <= each.at <= now)
    watches = [
        _place_watch(history, inside, ceiling_c, programme, words)
        for inside in places.values()
        if (ceiling_c := programme.ceiling_c(as_read(history, inside[-1], now))) is not None
    ]
    return min((each for each in watches if each is not None), key=lambda each: each.safe_at, default=None)


def _place_watch(
    history: History, inside: list[Reading], ceiling_c: float, programme: Programme, words: Words
) -> Watch | None:
    if len({each.at for each in inside}) < 2:
        return None
    line = warming([history.hour(each.at) for each in inside], [each.value or 0.0 for each in inside])
    safe = hours_to_limit(line.level_c + 2.0 * line.level_sd, ceiling_c, line.per_h + 2.0 * line.per_h_sd)
    likely = hours_to_limit(line.level_c, ceiling_c, line.per_h)
    if safe is None:
        return None
    last = inside[-1]
    step = next((each for each in programme.ceiling if each.grain_c == ceiling_c), programme.ceiling[-1])
    both = f"{words.temperature(ceiling_c)} ({words.other_temperature(ceiling_c)})"
    where = f" ({last.place})" if last.place else ""
    stood = f"{words.temperature(last.value or 0.0)} at {words.clock(last.at)}"
    return Watch(
        key="ceiling",
        what=f"The grain{where} comes to its ceiling of {both}",
        safe_at=last.at + timedelta(hours=safe),
        likely_at=None if likely is None else last.at + timedelta(hours=likely),
        why=f"It warmed by {rate_words(words, line.per_h, 2.0 * line.per_h_sd)}; it stood at {stood}",
        basis=f"{len(inside)} readings of the grain; the ceiling: {provenance(step.mark, step.source)}",
        method="left_alone.hours_to_limit",
        is_estimate=True,
        by=Slope(line, ceiling_c, last),
    )
