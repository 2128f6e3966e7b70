"""The formulas as they describe themselves: what each takes, gives, comes from and is checked by.

The Methods page and docs/methods.md are made of this, so neither can say anything else than the code.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType, ModuleType
from typing import Any

import app.science

MARK_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "P": "published",
        "T": "published, read at second hand",
        "D": "derived",
        "C": "common practice",
        "M": "from memory",
    }
)
"""What the letter beside a source says of it. Values from memory are defaults to be edited, never hard limits."""

_ORDER = (
    ("moisture", "Moisture from weight"),
    ("moisture_methods", "Moisture by oven and meter"),
    ("germination", "Is the lot alive?"),
    ("proportions", "Counting kernels"),
    ("bulk", "Grain in bulk"),
    ("uptake", "Taking up water"),
    ("growth", "Growth"),
    ("left_alone", "Left alone"),
    ("ventilation", "Air for living grain"),
    ("humid_air", "Air"),
    ("drying", "Drying"),
    ("sorption", "Where drying ends"),
    ("kiln_bed", "A bed on the kiln"),
    ("enzymes", "Heat and enzymes"),
    ("curing", "Curing"),
    ("mass_balance", "The mass account"),
    ("cost", "What it costs"),
    ("malt_analysis", "Malt in the hand"),
    ("flour", "In the bakery"),
    ("storage_life", "Keeping"),
    ("sacks", "In the sack"),
    ("control_charts", "Is this batch different?"),
    ("groups", "Groups side by side"),
    ("fitting", "Fitting curves"),
    ("units", "Units"),
)
_HEADINGS = ("Args", "Returns", "Source", "Check")
_HEADING = re.compile(rf"^({'|'.join(_HEADINGS)}):[ \t]*", re.MULTILINE)
_MARKED = re.compile(r"\[(?=[PTDCM]\b)[^\]]*\]")
_MARK = re.compile(r"\b[PTDCM]\b")
_ARGUMENT = re.compile(r"^    (?=\S)", re.MULTILINE)


@dataclass(frozen=True)
class Method:
    """One formula. marks: the letters that stand beside its source; about: what is said after the first sentence."""

    chapter: str
    function: str
    summary: str
    about: str
    args: str
    returns: str
    source: str
    marks: tuple[str, ...]
    check: str

    @property
    def anchor(self) -> str:
        """Where it stands on the Methods page."""
        return f"{self.chapter}.{self.function}"

    @property
    def mark_words(self) -> str:
        """Its marks in words."""
        return "; ".join(MARK_WORDS[mark] for mark in self.marks)


@dataclass(frozen=True)
class Chapter:
    """One chapter of the science with its formulas, in the order in which they are written."""

    key: str
    title: str
    about: str
    methods: tuple[Method, ...]


@cache
def chapters() -> tuple[Chapter, ...]:
    """Read every chapter of the science.

    Args: none.
    Returns: the chapters in the order of a malting, each with its public formulas; this one is left out.
    Source: the docstrings themselves [D].
    Check: a test counts the public functions and finds each of them once.
    """
    titles = dict(_ORDER)
    modules = {module.name for module in pkgutil.iter_modules(app.science.__path__)}
    keys = [key for key in titles if key in modules]
    keys += sorted(key for key in modules - set(titles) if not key.startswith("_") and key != "handbook")
    return tuple(_chapter(key, titles.get(key, key.replace("_", " ").capitalize())) for key in keys)


@cache
def methods() -> Mapping[str, Method]:
    """Find formulas by the name of their chapter and function, such as `moisture.dry_matter_kg`.

    Args: none.
    Returns: every formula by its anchor.
    Source: the docstrings themselves [D].
    Check: `moisture.dry_matter_kg` is there.
    """
    return MappingProxyType({method.anchor: method for chapter in chapters() for method in chapter.methods})


def marks_in_words(text: str) -> str:
    """Write the marks in a text out in words: [P] becomes (published).

    Args: text: a source or a check as it stands in a docstring.
    Returns: the text with each mark in words.
    Source: the marks of this handbook [D].
    Check: "Wilson 1927 [P]" becomes "Wilson 1927 (published)".
    """
    return _MARKED.sub(lambda found: f"({_MARK.sub(_mark_word, found[0][1:-1])})", text)


def _mark_word(match: re.Match[str]) -> str:
    return MARK_WORDS[match[0]]


def _chapter(key: str, title: str) -> Chapter:
    module = importlib.import_module(f"app.science.{key}")
    about = " ".join((inspect.getdoc(module) or "").split())
    own = [function for function in _functions(module) if not function.__name__.startswith("_")]
    return Chapter(key, title, about, tuple(_method(key, each) for each in sorted(own, key=_line)))


def _functions(module: ModuleType) -> list[Callable[..., Any]]:
    """The functions that the module itself defines; cached ones too, which hide the function in a wrapper."""
    values = [inspect.unwrap(each) for each in vars(module).values() if callable(each) and not inspect.isclass(each)]
    own = [each for each in values if inspect.isfunction(each) and each.__module__ == module.__name__]
    return list(dict.fromkeys(own))


def _line(function: Callable[..., Any]) -> int:
    return function.__code__.co_firstlineno


def _method(chapter: str, function: Callable[..., Any]) -> Method:
    head, parts = _parts(inspect.getdoc(function) or "")
    summary, _, about = head.partition("\n\n")
    marked = "".join(_MARKED.findall(parts["Source"]))
    return Method(
        chapter=chapter,
        function=function.__name__,
        summary=_flowing(summary),
        about=_flowing(about),
        args=_arguments(parts["Args"]),
        returns=_flowing(parts["Returns"]),
        source=_flowing(parts["Source"]),
        marks=tuple(dict.fromkeys(_MARK.findall(marked))),
        check=_flowing(parts["Check"]),
    )


def _parts(text: str) -> tuple[str, dict[str, str]]:
    """What stands before the first heading, and what stands under each of them."""
    pieces = _HEADING.split(text)
    parts = dict.fromkeys(_HEADINGS, "") | dict(zip(pieces[1::2], pieces[2::2], strict=True))
    return pieces[0], parts


def _arguments(text: str) -> str:
    """Some chapters write the arguments as a sentence, some as a list: here all are a sentence."""
    if not text.startswith("\n"):
        return _flowing(text)
    return "; ".join(_flowing(each).removesuffix(".") for each in _ARGUMENT.split(text) if each.strip()) + "."


def _flowing(text: str) -> str:
    """Lines of a docstring as one running text."""
    return " ".join(text.split())
