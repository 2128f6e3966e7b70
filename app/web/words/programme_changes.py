"""What another programme would ask of a batch: hours of each stage, targets and limits, where they differ."""

from __future__ import annotations

from dataclasses import dataclass

from app.judgement.history.stages import WORDS as STAGE_WORDS
from app.judgement.programmes.programme import LIMIT_UNITS, Limit, Programme
from app.judgement.wording import Words
from app.web.words.programmes import BAND_WORDS, LIMIT_WORDS, Scale


@dataclass(frozen=True)
class ChangeRow:
    """What a programme asks for, and what the other does; empty where it asks for nothing."""

    name: str
    old: str
    new: str


def plan_differences(old: Programme, new: Programme, words: Words) -> list[ChangeRow]:
    """Stage by stage and limit by limit. Two programmes may have other steps, so steps are not held side by side."""
    return [*_stages(old, new), *_limits(old, new, words), *_ceiling(old, new, words)]


def _stages(old: Programme, new: Programme) -> list[ChangeRow]:
    """The hours planned for each stage in all, in the order of the plans."""
    before, after = (dict.fromkeys(_names(old, new), 0.0) for _ in range(2))
    for hours, programme in ((before, old), (after, new)):
        for step in programme.steps:
            hours[step.stage] += step.hours
    say = Scale("h").say
    return [
        ChangeRow(
            _capital(STAGE_WORDS.get(name, name)), *(say(each[name]) if each[name] else "" for each in (before, after))
        )
        for name in before
        if before[name] != after[name]
    ]


def _names(old: Programme, new: Programme) -> list[str]:
    stages = {step.stage for programme in (old, new) for step in programme.steps}
    return [name for name in STAGE_WORDS if name in stages]


def _limits(old: Programme, new: Programme, words: Words) -> list[ChangeRow]:
    """For each limit the innermost of its bands that differs: target, caution or act."""
    rows = []
    for key, unit in LIMIT_UNITS.items():
        scale = Scale(unit, words.system)
        sides = (_bands(old.limits.get(key)), _bands(new.limits.get(key)))
        band = next((each for each in BAND_WORDS if sides[0].get(each) != sides[1].get(each)), None)
        if band is not None:
            said = [scale.range(*side[band]) if side.get(band, (None, None)) != (None, None) else "" for side in sides]
            rows.append(ChangeRow(f"{LIMIT_WORDS[key]}: {BAND_WORDS[band].lower()}", *said))
    return rows


def _bands(limit: Limit | None) -> dict[str, tuple[float | None, float | None]]:
    """The bounds of a limit by the name of their band; a band without bounds is none."""
    if limit is None:
        return {}
    bounds = {{"notice": "target"}.get(severity, severity): (low, high) for severity, low, high in limit.bands()}
    return {name: pair for name, pair in bounds.items() if pair != (None, None)}


def _ceiling(old: Programme, new: Programme, words: Words) -> list[ChangeRow]:
    """The hottest that grain may be at the driest end of the ceiling."""
    say = Scale("c", words.system).say
    sides = [say(max(step.grain_c for step in each.ceiling)) if each.ceiling else "" for each in (old, new)]
    return [ChangeRow("Hottest that dry grain may be", *sides)] if old.ceiling != new.ceiling else []


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
