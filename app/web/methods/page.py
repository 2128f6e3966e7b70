"""What the pages of methods show: docstrings as running text with links, and how many numbers bear which mark."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from functools import cache

from markupsafe import Markup, escape

from app.judgement.programme import Programme, load_builtin
from app.judgement.programme_parts import MARKS
from app.science.handbook import Method, marks_in_words, methods

_NAMED = re.compile(r"`([^`]+)`")


@dataclass(frozen=True)
class ProgrammeRow:
    """A built-in programme with how many of its numbers bear which mark."""

    digest: str
    name: str
    counts: tuple[int, ...]


def text_of(method: Method, part: str) -> Markup:
    """A part of an entry: marks in words, names of other formulas as links to them."""
    pieces = _NAMED.split(marks_in_words(str(getattr(method, part))))
    return Markup("").join(_named(piece, method) if place % 2 else escape(piece) for place, piece in enumerate(pieces))


def _named(name: str, method: Method) -> Markup:
    for anchor in (name, f"{method.chapter}.{name}", *_elsewhere(name)):
        if anchor in methods():
            return Markup('<a href="#{}"><code>{}</code></a>').format(anchor, name)
    return Markup("<code>{}</code>").format(name)


def _elsewhere(name: str) -> list[str]:
    return [anchor for anchor in methods() if anchor.endswith(f".{name}")]


def mark_rows() -> list[tuple[str, str, str]]:
    """Each mark: letter, word, and what to make of it."""
    return [(letter, word, _WHAT_IT_IS_WORTH[letter]) for letter, word in MARKS.items()]


@cache
def programme_rows() -> tuple[ProgrammeRow, ...]:
    """The programmes that ship, and the marks of all their numbers."""
    return tuple(
        ProgrammeRow(each.digest, each.name, tuple(_counted(each)[mark] for mark in MARKS))
        for each in load_builtin().values()
    )


def _counted(programme: Programme) -> Counter[str]:
    marks = [each.mark for each in programme.steps]
    marks += [each.mark for each in programme.limits.values()] + [each.mark for each in programme.ceiling]
    return Counter(marks + [each.mark for each in programme.settings.values()])


_WHAT_IT_IS_WORTH = {
    "P": "The source is named and was read. It holds for what was measured there, which need not be your grain.",
    "T": "The source is named, but its numbers were read in somebody's copy. A check value pins them.",
    "D": "It follows from the formula beside it, from a definition, or from a fit to published data.",
    "C": "What maltsters do. No source; a place to start from.",
    "M": "The source is believed to say so, and was not looked up again. A default to be edited, never a hard limit.",
    "H": "Set in this house, in a revision of its own.",
}
