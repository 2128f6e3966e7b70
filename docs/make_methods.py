"""Writes docs/methods.md from the docstrings of the formulas: python docs/make_methods.py

What stands between the two marks of the backtest is kept as it is, unless the backtest is to be run again:

    python docs/make_methods.py --backtest
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "methods.md"
BACKTEST = "How well the forecasts did"
BEGIN, END = "<!-- backtest: begin -->", "<!-- backtest: end -->"

HEAD = """# Methods and sources

Every formula as the program uses it, made from the code by `python docs/make_methods.py`; the Methods page of a running
Chitbook shows the same, and its Workings page does each calculation by hand. Moistures are fractions on the wet basis
unless a name says otherwise.

The letters are: {marks}. What is from memory is a default that a house edits, never a hard limit.
Wherever a page says "x ± u", u is the half-width of an interval of about 95 % (see
[decision 7](decisions/0007-uncertainty.md)).
"""


def render(kept: str = "") -> str:
    """The whole page; kept: what stands between the marks of the backtest."""
    from app.science.handbook import MARK_WORDS, chapters

    marks = ", ".join(f"[{letter}] {word}" for letter, word in MARK_WORDS.items())
    parts = [HEAD.format(marks=marks)]
    parts += [f"- [{each.title}](#{each.key.replace('_', '-')})" for each in chapters()]
    parts += [f"- [{BACKTEST}](#backtest)"]
    for chapter in chapters():
        parts += ["", f'<a id="{chapter.key.replace("_", "-")}"></a>', "", f"## {chapter.title}", "", chapter.about]
        for each in chapter.methods:
            parts += ["", f"### `{each.anchor}`", "", _escaped(each.summary)]
            parts += ["", _escaped(each.about)] if each.about else []
            parts += ["", f"- Takes: {_escaped(each.args)}", f"- Gives: {_escaped(each.returns)}"]
            parts += [f"- Source: {_escaped(each.source)}", f"- Check: {_escaped(each.check)}"]
    parts += ["", '<a id="backtest"></a>', "", f"## {BACKTEST}", ""]
    return "\n".join([*parts, BEGIN, *([kept] if kept else []), END, ""])


def kept_part(page: str) -> str:
    """What stands between the marks of the backtest of a page that is there already."""
    _, _, rest = page.partition(BEGIN)
    return rest.partition(END)[0].strip("\n")


def _escaped(text: str) -> str:
    """Stars and lines are multiplication and subscripts here, not emphasis."""
    pieces = text.split("`")
    outside = [piece.replace("*", "\\*").replace("_", "\\_").replace("<", "&lt;") for piece in pieces]
    return "`".join(piece if place % 2 else outside[place] for place, piece in enumerate(pieces))


def backtested() -> str:
    """What the backtest says of the forecasts as they are now: a minute or two."""
    from tests.benchmarks.backtest_page import page_part, results

    return page_part(results())


def main(arguments: Sequence[str]) -> None:
    before = PAGE.read_text(encoding="utf-8") if PAGE.exists() else ""
    kept = backtested() if "--backtest" in arguments else kept_part(before)
    PAGE.write_text(render(kept), encoding="utf-8")


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main(sys.argv[1:])
