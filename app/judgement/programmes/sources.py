"""Where the numbers of a programme come from: its marks one by one, their tally, and the sources they name in full."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import NamedTuple

from app.judgement.programmes.parts import MARKS
from app.judgement.programmes.programme import Programme

PUBLISHED = ("P", "T")
DERIVED = "D"
"""A published range and a margin of ours, mostly a bound of a limit; seldom worked out of what is published."""


class Marked(NamedTuple):
    """What bears one mark: the path of its table in the programme's content."""

    path: str
    mark: str
    source: str


@cache
def sources() -> Mapping[str, str]:
    """Every source by the short name that stands in brackets beside a number."""
    file = resources.files("app.judgement").joinpath("programmes", "sources.toml")
    return MappingProxyType(tomllib.loads(file.read_text(encoding="utf-8")))


def named_in(text: str) -> tuple[str, ...]:
    """The short names of the sources that a text names."""
    return tuple(name for name in sources() if name in text)


def marked(programme: Programme) -> list[Marked]:
    """Every mark of a programme: of its steps, of each band of its limits, of its ceiling and of its settings."""
    rows = [Marked(f"steps/{place}", each.mark, each.source) for place, each in enumerate(programme.steps)]
    for key, limit in programme.limits.items():
        names = (("notice", "target"), ("caution", "caution"), ("act", "act"))
        given = {severity for severity, low, high in limit.bands() if (low, high) != (None, None)}
        rows += [
            Marked(f"limits/{key}/{name}", *limit.origin(severity)) for severity, name in names if severity in given
        ]
    rows += [Marked(f"ceiling/{place}", each.mark, each.source) for place, each in enumerate(programme.ceiling)]
    return rows + [Marked(f"settings/{key}", each.mark, each.source) for key, each in programme.settings.items()]


def tally(programme: Programme) -> Mapping[str, int]:
    """How many of its marks are which, by every mark's letter."""
    counts = Counter(each.mark for each in marked(programme))
    return {mark: counts[mark] for mark in MARKS}


def published(counts: Mapping[str, int]) -> int:
    """How many of a tally are published."""
    return sum(counts[mark] for mark in PUBLISHED)


def cited(programme: Programme) -> list[tuple[str, str]]:
    """(short name, in full) of every source that the programme names."""
    text = "\n".join(each.source for each in marked(programme))
    return [(name, sources()[name]) for name in named_in(text)]
