"""The docstrings of formulas as running text with links."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from app.science.handbook import Method, marks_in_words, methods
from app.web.words.method_links import method_url

_NAMED = re.compile(r"`([^`]+)`")


def text_of(method: Method, part: str) -> Markup:
    """A part of an entry: marks in words, names of other formulas as links to them."""
    pieces = _NAMED.split(marks_in_words(str(getattr(method, part))))
    return Markup("").join(_named(piece, method) if place % 2 else escape(piece) for place, piece in enumerate(pieces))


def _named(name: str, method: Method) -> Markup:
    for anchor in (name, f"{method.chapter}.{name}", *_elsewhere(name)):
        if anchor in methods():
            return Markup('<a href="{}"><code>{}</code></a>').format(method_url(anchor), name)
    return Markup("<code>{}</code>").format(name)


def _elsewhere(name: str) -> list[str]:
    return [anchor for anchor in methods() if anchor.endswith(f".{name}")]
