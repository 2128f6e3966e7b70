"""The backtest's tables, and the words beside them, as docs/methods.md shows them.

Run `python docs/make_methods.py --backtest` after any change of a forecast: it writes them anew, in a minute or two of
one core, whatever they say.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache, partial
from pathlib import Path

import numpy as np
from sqlalchemy import Engine

from app.judgement.history.build import history_from_records
from app.judgement.history.history import History
from app.judgement.programmes.programme import load_builtin
from app.operations.programmes import ensure_builtin_programmes
from app.store import schema
from app.store.engine import make_engine, write_session
from tests.benchmarks import made_up
from tests.benchmarks.backtest import (
    Known,
    Score,
    Series,
    backtest,
    growth_series,
    kiln_series,
    pooled,
    steep_as_it_is,
    steep_by_plan,
)
from tests.benchmarks.demo_told import NOW, told_again, whole_demo
from tests.benchmarks.known_by import Record, known_by

# Molina-Cano et al. 1995, J. Inst. Brew. 101:79-83, data set barleyh20 of the CRAN package pbANOVA.
PUBLISHED = Path(__file__).parents[1] / "science" / "data" / "molina_cano_1995.csv"
SEEDS = range(100, 160)
TOO_NARROW = 0.70
POINTS, LENGTHS = "points of moisture", "hundredths of a kernel length"
PAIRED = "the published steeps of barley (Molina-Cano et al. 1995)"
EVERY = "all of these"
WHATEVER = "Uptake as it is: the published steeps, with each of the built-in programmes"
HEAD = "| seen | forecast | last value | straight line | in the 80 % interval | its mean width | hidden ones |"

INTRODUCTION = """\
Each forecast was made from what was known at a moment, and from nothing later: when one, two, three and four
determinations were there, whatever happened, was written down or was corrected since was hidden, of the batch and of
all others. Then it was held against what the later determinations said; beside two naive forecasts of the same, the
last value and a straight line through the last two. Mean absolute errors and mean widths are in points of moisture,
for growth in hundredths of a kernel length. In the tables, "seen" is how many determinations a forecast knew, and
"hidden ones" how many later ones it was held against. Written by `python docs/make_methods.py --backtest`.

- Programmes: nobody has a batch without one. The demo's batches go by their own; the published steeps and the made-up
  lots by *Barley, pale base malt*, the built-in one for ordinary malt of barley, whose hours most of them do not
  keep. The published steeps were also forecast with each of the built-in ones: what somebody means to malt must not
  make another grain of it.
- Uptake is forecast in both ways that the pages show. By the plan: with the steeps that the programme still plans,
  held against every later weighing, whether the plan was kept or not. As it is: as if the water never came or went
  again, held against the weighings until it did. The published steeps were never drained, nor was a quarter
  of the made-up ones, and two quarters went by other hours: scored by a plan that nobody kept, they make no fair row.
- Growth goes on as warm as the last day was; drying in the air that the program counts on at that moment.
- The spreads of the forecasts were set on made-up lots of other seeds than those here, by an earlier backtest that
  knew the temperatures, the drains and the air of the hours to come; those of uptake, and how much a plan tells, anew
  on the first set of the bench of truth, with the published and some of the made-up steeps in sight.
- What a bag or a tray said leans on the moisture that it began with, as the forecast does: where that is wrong, both
  are, and it does not show here.
- The published steeps are two mean series of one study; the demo and the made-up lots are invented. The tables say
  how the method did on those, and no more."""


@dataclass(frozen=True)
class Result:
    """One table."""

    title: str
    unit: str
    scores: dict[int, Score]


def empty_record(folder: Path) -> Engine:
    """A record with the built-in programmes and nothing else."""
    engine = make_engine(f"sqlite:///{folder / 'chitbook.sqlite'}")
    schema.upgrade(engine)
    with write_session(engine) as session:
        ensure_builtin_programmes(session, now=NOW)
    return engine


def results() -> list[Result]:
    """Every table, in the order of the page."""
    with tempfile.TemporaryDirectory() as folder:
        engine = empty_record(Path(folder))
        demo = demo_series(engine)
        engine.dispose()
    steeps, published = [lot(made_up.steep(seed)) for seed in SEEDS], [lot(each) for each in published_steeps()]
    found: list[Result] = []
    for title, make in (("Uptake by the plan", steep_by_plan), ("Uptake as it is", steep_as_it_is)):
        mine = {
            PAIRED: [make("published", *each) for each in published],
            "the demo's batches": demo[title],
            "made-up steeps": [make("made up", *each) for each in steeps],
        }
        found += _tables(title, POINTS, mine)
    found.append(Result(WHATEVER, POINTS, pooled(by_programme().values())))
    floors, kilns = ([lot(make(seed)) for seed in SEEDS] for make in (made_up.floor, made_up.kiln))
    counted = {"the demo's batches": demo["Growth"], "made-up floors": [growth_series("made up", *f) for f in floors]}
    dried = [each for kiln in kilns for each in kiln_series("made up", *kiln)]
    found += _tables("Growth", LENGTHS, counted)
    found += _tables("Drying", POINTS, {"the demo's trays": demo["Drying"], "made-up kilns": dried})
    return found


def lot(records: Sequence[Record]) -> tuple[History, Known]:
    """How it turned out, and how it was known at a moment."""
    return history_from_records(records), cache(partial(known_by, records))


def published_steeps(programme: str = made_up.PROGRAMME) -> list[list[made_up.Record]]:
    """The slow and the fast lot."""
    data = np.loadtxt(PUBLISHED, delimiter=",", skiprows=2)
    return [made_up.published_steep(data[:, 0], data[:, column], programme) for column in (1, 2)]


def by_programme() -> dict[str, dict[int, Score]]:
    """The published steeps as it is, by the programme that somebody had chosen for them."""
    return {key: backtest(steep_as_it_is(key, *lot(each)) for each in published_steeps(key)) for key in load_builtin()}


def demo_series(engine: Engine) -> dict[str, list[Series]]:
    """The demo's, by what is forecast. It is told twice: to see what there is to ask, and again to be asked."""
    known: dict[tuple[str, datetime], History | None] = {}
    found: dict[str, list[Series]] = {"Uptake by the plan": [], "Uptake as it is": [], "Growth": [], "Drying": []}
    for whole in whole_demo(engine):
        told = (str(whole.batch.number), whole, _looked_up(known, whole.batch.id))
        found["Uptake by the plan"].append(steep_by_plan(*told))
        found["Uptake as it is"].append(steep_as_it_is(*told))
        found["Growth"].append(growth_series(*told))
        found["Drying"] += kiln_series(*told)
    every = [series for several in found.values() for series in several]
    known |= told_again(engine, {(one.whole.batch.id, at) for one in every for at in one.moments().values()})
    return found


def _looked_up(
    known: dict[tuple[str, datetime], History | None], batch_id: str
) -> Callable[[datetime], History | None]:
    return lambda moment: known[batch_id, moment]


def _tables(title: str, unit: str, series: dict[str, list[Series]]) -> list[Result]:
    """Each by itself, and all together."""
    told = [Result(f"{title}: {of}", unit, backtest(mine)) for of, mine in series.items()]
    return [*told, Result(f"{title}: {EVERY}", unit, pooled(each.scores for each in told))]


def page_part(told: Iterable[Result]) -> str:
    """What stands between the marks of the page."""
    told = list(told)
    parts = [INTRODUCTION, "", *_in_short(told)]
    for each in told:
        parts += ["", f"### {each.title}", "", HEAD, "| ---: | ---: | ---: | ---: | ---: | ---: | ---: |"]
        parts += [row_of(seen, score) for seen, score in each.scores.items() if score.held]
    return "\n".join(parts)


def row_of(seen: int, score: Score) -> str:
    """A line of a table."""
    error, last, line, held, width, n = score.row()
    return f"| {seen} | {error:.2f} | {last:.2f} | {line:.2f} | {held:.0f} % | {width:.1f} | {n} |"


def _in_short(told: Sequence[Result]) -> list[str]:
    """Where the intervals are too narrow, and where a naive forecast did as well."""
    narrow = _where(told, lambda score: score.coverage < TOO_NARROW, lambda score: f" ({100 * score.coverage:.0f} %)")
    worse = _where(told, lambda score: not score.is_better, lambda score: "")
    lines = [f"Too narrow, for the 80 % interval held less than {100 * TOO_NARROW:.0f} % of what came:", "", *narrow]
    if not narrow:
        lines = [f"No 80 % interval held less than {100 * TOO_NARROW:.0f} % of what came."]
    if not worse:
        return [*lines, "", "Everywhere the forecast was nearer than both naive ones."]
    return [*lines, "", "A naive forecast was as near, or nearer:", "", *worse]


def _where(told: Sequence[Result], is_so: Callable[[Score], bool], beside: Callable[[Score], str]) -> list[str]:
    lines = []
    for each in told:
        seen = [f"{seen}{beside(score)}" for seen, score in each.scores.items() if score.held and is_so(score)]
        if seen:
            lines.append(f"- {each.title}: after {', '.join(seen)}")
    return lines
