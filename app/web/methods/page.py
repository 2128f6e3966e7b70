"""What the pages of methods show: what each mark is worth, and how many numbers bear which."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from app.judgement.programmes.parts import MARKS
from app.judgement.programmes.programme import load_builtin
from app.judgement.programmes.sources import tally


@dataclass(frozen=True)
class ProgrammeRow:
    """A built-in programme with how many of its numbers bear which mark."""

    digest: str
    name: str
    counts: tuple[int, ...]


def mark_rows() -> list[tuple[str, str, str]]:
    """Each mark: letter, word, and what to make of it."""
    return [(letter, word, _WHAT_IT_IS_WORTH[letter]) for letter, word in MARKS.items()]


@cache
def programme_rows() -> tuple[ProgrammeRow, ...]:
    """The programmes that ship, and the marks of all their numbers."""
    return tuple(ProgrammeRow(each.digest, each.name, tuple(tally(each).values())) for each in load_builtin().values())


_WHAT_IT_IS_WORTH = {
    "P": "The source is named and was read. It holds for what was measured there, which need not be your grain.",
    "T": "The source is named, but its numbers were read in somebody's copy. A check value pins them.",
    "D": "It follows from a formula, a definition or a fit to published data; in programmes mostly from a published "
    "range and a margin of ours.",
    "C": "What maltsters do. No source; a place to start from.",
    "M": "The source is believed to say so, and was not looked up again. A default to be edited, never a hard limit.",
    "H": "Set in this house, in a revision of its own.",
}
