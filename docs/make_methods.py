"""Writes docs/methods.md from the docstrings of the formulas: python docs/make_methods.py

What stands between the marks of the backtest and of the bench of truth is kept as it is, unless one is to be run again:

    python docs/make_methods.py --backtest
    python docs/make_methods.py --truth
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "methods.md"
PROGRAMMES = "Where the numbers of the programmes come from"
BACKTEST = "How well the forecasts did"
TRUTH = "Held against batches that never were"

HEAD = """# Methods and sources

Every formula as the program uses it, made from the code by `python docs/make_methods.py`; the Methods page of a running
Chitbook shows the same, and its Workings page does each calculation by hand. Moistures are fractions on the wet basis
unless a name says otherwise.

The letters are: {marks}. What is from memory is a default that a house edits, never a hard limit.
Wherever a page says "x ± u", u is the half-width of an interval of about 95 % (see
[decision 7](decisions/0007-uncertainty.md)).
"""


def render(kept: str = "", truth: str = "") -> str:
    """The whole page; kept and truth: what stands between the marks of the backtest and of the bench of truth."""
    from app.science.handbook import MARK_WORDS, chapters

    marks = ", ".join(f"[{letter}] {word}" for letter, word in MARK_WORDS.items())
    parts = [HEAD.format(marks=marks)]
    parts += [f"- [{each.title}](#{each.key.replace('_', '-')})" for each in chapters()]
    parts += [f"- [{PROGRAMMES}](#programmes)"]
    parts += [f"- [{BACKTEST}](#backtest)", f"- [{TRUTH}](#truth)"]
    for chapter in chapters():
        parts += ["", f'<a id="{chapter.key.replace("_", "-")}"></a>', "", f"## {chapter.title}", "", chapter.about]
        for each in chapter.methods:
            parts += ["", f"### `{each.anchor}`", "", _escaped(each.summary)]
            parts += ["", _escaped(each.about)] if each.about else []
            parts += ["", f"- Takes: {_escaped(each.args)}", f"- Gives: {_escaped(each.returns)}"]
            parts += [f"- Source: {_escaped(each.source)}", f"- Check: {_escaped(each.check)}"]
    parts += ["", '<a id="programmes"></a>', "", f"## {PROGRAMMES}", "", *_programmes()]
    parts += ["", '<a id="backtest"></a>', "", f"## {BACKTEST}", ""]
    parts += [_mark("backtest", "begin"), *([kept] if kept else []), _mark("backtest", "end")]
    parts += ["", '<a id="truth"></a>', "", f"## {TRUTH}", ""]
    return "\n".join([*parts, _mark("truth", "begin"), *([truth] if truth else []), _mark("truth", "end"), ""])


def _programmes() -> list[str]:
    """The marks of the programmes that ship, and the sources they name."""
    from app.judgement.programmes.parts import MARKS
    from app.judgement.programmes.programme import load_builtin
    from app.judgement.programmes.sources import DERIVED, published, sources, tally

    tallies = {each.name: tally(each) for each in load_builtin().values()}
    letters = [letter for letter in MARKS if letter != "H"]
    found = sum(map(published, tallies.values()))
    derived = sum(counts[DERIVED] for counts in tallies.values())
    total = sum(sum(counts.values()) for counts in tallies.values())
    rows = []
    for name, counts in tallies.items():
        cells = [str(counts[letter]) for letter in letters] + [
            f"{100 * published(counts) / sum(counts.values()):.0f} %"
        ]
        rows.append(f"| {name} | {' | '.join(cells)} |")
    return [
        f"Of {total} marks, one to each step, bound, ceiling and setting, {found} ({100 * found / total:.0f} %) are",
        f"published (P or T); {derived} ({100 * derived / total:.0f} %) are derived (D), mostly a published range",
        f"and a margin of ours; the other {total - found - derived} are from memory, in part or",
        "wholly, or common practice. A source holds for what was measured there. Beside a target stands what is",
        "published, or that nothing published was found.",
        "",
        f"| programme | {' | '.join(letters)} | published |",
        f"|---|{'--:|' * (len(letters) + 1)}",
        *rows,
        "",
        *(f"- **{name}**: {text}" for name, text in sources().items()),
    ]


def kept_part(page: str, of: str = "backtest") -> str:
    """What stands between the marks of the backtest, or of the bench of truth, of a page that is there already."""
    _, _, rest = page.partition(_mark(of, "begin"))
    return rest.partition(_mark(of, "end"))[0].strip("\n")


def _mark(of: str, edge: str) -> str:
    return f"<!-- {of}: {edge} -->"


def _escaped(text: str) -> str:
    """Stars and lines are multiplication and subscripts here, not emphasis."""
    pieces = text.split("`")
    outside = [piece.replace("*", "\\*").replace("_", "\\_").replace("<", "&lt;") for piece in pieces]
    return "`".join(piece if place % 2 else outside[place] for place, piece in enumerate(pieces))


def backtested() -> str:
    """What the backtest says of the forecasts as they are now: a minute or two."""
    from tests.benchmarks.backtest_page import page_part, results

    return page_part(results())


def looked_at() -> str:
    """What the bench of truth says of the program as it is now: about ten minutes on two cores."""
    from tests.truth.page import page_part, results

    told = subprocess.run(["git", "log", "-1", "--format=%h"], cwd=ROOT, capture_output=True, text=True, check=True)
    return page_part(results(), f"Run on {datetime.now(UTC):%d %B %Y}, after commit {told.stdout.strip()}")


def main(arguments: Sequence[str]) -> None:
    before = PAGE.read_text(encoding="utf-8") if PAGE.exists() else ""
    kept = backtested() if "--backtest" in arguments else kept_part(before)
    truth = looked_at() if "--truth" in arguments else kept_part(before, "truth")
    PAGE.write_text(render(kept, truth), encoding="utf-8")


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main(sys.argv[1:])
