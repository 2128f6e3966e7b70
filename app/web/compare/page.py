"""What the comparison shows: ribbons on one axis, curves laid over each other, and measures side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup
from sqlalchemy.orm import Session

from app.charts.batch_ribbon import stacked_ribbons
from app.charts.comparison import comparison_figure
from app.judgement.flags import evaluate
from app.judgement.history.guard import UNJUDGED, judged
from app.judgement.history.history import History
from app.judgement.measures.batch import Severe, flags_counted
from app.judgement.measures.comparison import ComparisonRow, SideRow, compare_lots, comparison_table, lots_of
from app.judgement.measures.measure import Measure
from app.judgement.measures.summary import LEFT
from app.judgement.wording import Words
from app.store.batches import Batch
from app.store.digests import BatchDigest, get_digests, list_digests
from app.store.history import load_histories
from app.web.compare.choice import MOST, Choice
from app.web.request.moment import zone
from app.web.summary.batch_rows import batch_rows, is_fresh
from app.web.summary.glance import batch_name
from app.web.words.measures import difference, measure_value, position, quantity

PER_PAGE = 20
WITHOUT_N = ("h", "count")
"""Hours and counts are sums, not means: how many parts they have says nothing of how sure they are."""


@dataclass(frozen=True)
class Cell:
    """One measure of one batch."""

    value: str
    note: str
    status: str
    word: str
    is_estimate: bool


@dataclass(frozen=True)
class TableRow:
    """One measure of all batches, and what may be said of their difference."""

    key: str
    name: str
    cells: list[Cell]
    spread: str
    statement: str


def compare_context(session: Session, choice: Choice, words: Words) -> dict[str, Any]:
    """The comparison where there is one to make, and the batches to choose from in any case."""
    pairs = list_digests(session, limit=PER_PAGE + 1, offset=(choice.page - 1) * PER_PAGE)
    rows = batch_rows(session, pairs[:PER_PAGE], words)
    shown = {row.number for row in rows}
    context: dict[str, Any] = {
        "choice": choice,
        "offered": rows,
        "elsewhere": [number for number in choice.numbers if number not in shown],
        "has_older": len(pairs) > PER_PAGE,
        "of_lot": {batch.number for batch, _ in pairs if batch.id in choice.of_lot},
        "most": MOST,
    }
    if not choice.can_compare:
        return context
    return context | _compared(session, choice, {batch.id: digest for batch, digest in pairs}, words)


def _compared(
    session: Session, choice: Choice, digests: Mapping[str, BatchDigest | None], words: Words
) -> dict[str, Any]:
    """digests: of the batches that are offered."""
    ids = [batch.id for batch in choice.batches]
    others = get_digests(session, [each for each in ids if each not in digests])
    found, counted = load_histories(session, ids), _flags_remembered(choice.batches, {**digests, **others})
    return judged([found[each] for each in ids], lambda histories: _side_by_side(histories, counted, words))


def _flags_remembered(
    batches: Sequence[Batch], digests: Mapping[str, BatchDigest | None]
) -> dict[str, Sequence[Severe]]:
    """The flags of those batches that have ended, by their digests, where no hour to come can add any."""
    found = [(batch, digest) for batch in batches if (digest := digests.get(batch.id)) is not None]
    return {
        batch.id: flags_counted(digest.measures)
        for batch, digest in found
        if is_fresh(batch, digest) and LEFT in digest.measures
    }


def _side_by_side(
    histories: Sequence[History], counted: Mapping[str, Sequence[Severe]], words: Words
) -> dict[str, Any]:
    assert words.now is not None
    judged_now = [history for history in histories if history.batch.id not in counted]
    flags = {**counted, **{each.batch.id: evaluate(each, words.now) for each in judged_now}}
    table = comparison_table(histories, words.now, flags)
    ribbons = stacked_ribbons(histories, words.now, height=18)
    return {
        "names": [batch_name(history.batch.number, history.batch.title) for history in histories],
        "stack": list(zip(histories, map(Markup, ribbons), strict=True)),
        "figure": comparison_figure(histories, words.now, units=words.system, zone=zone()),
        "table": [table_row(row, words) for row in table],
        "about": [_about(history) for history in histories],
        "sides": lot_sides([history for history in histories if not history.is_set_aside], words),
    }


@dataclass(frozen=True)
class Sides:
    """Two lots (or mixtures) against each other. rows: name, two means, difference, what may be said of it."""

    first: str
    second: str
    n: str
    rows: list[tuple[str, str, str, str, str]]


def lot_sides(histories: list[History], words: Words) -> list[Sides]:
    """The batches of one lot against those of another, where there are at least two lots."""
    assert words.now is not None
    names = {lot.id: lot.name for history in histories for lot in history.lots.values()}
    sides = []
    for (one, other), rows in compare_lots(histories, words.now).items():
        first, second = (" + ".join(names[lot_id] for lot_id in side) or "no lot known" for side in (one, other))
        counts = [sum(lots_of(history) == side for history in histories) for side in (one, other)]
        told = [side_row(row, words) for row in rows if row.has_verdict and row.unit != "count"]
        sides.append(Sides(first, second, f"n = {counts[0]} and {counts[1]}", told))
    return sides


def side_row(row: SideRow, words: Words) -> tuple[str, str, str, str, str]:
    """One measure of two lots, as Sides has it."""
    first, second = (quantity(row.unit, mean, words) for mean in (row.first_mean, row.second_mean))
    found = row.difference
    less = difference(row.unit, found.difference, words, found.ends)
    return (row.word, first, second, less, row.statement)


def _about(history: History) -> str:
    if history.is_set_aside:
        return f"{UNJUDGED}: correct one of its entries"
    lots = " + ".join(lot.name for lot in history.lots.values())
    programme = history.programme.name if history.programme else ""
    return " · ".join(each for each in (lots, programme) if each)


def table_row(row: ComparisonRow, words: Words) -> TableRow:
    """A row in the reader's words: beside a verdict stands the interval that it goes by."""
    cells = [Cell(measure_value(cell, words), _note(cell), *position(cell), cell.is_estimate) for cell in row.cells]
    spread = ""
    if row.spread is not None and row.unit != "count":
        spread = difference(row.unit, row.spread, words, row.ends)
    elif row.spread is not None:
        spread = f"{row.spread:.0f}"
    return TableRow(row.key, row.word, cells, spread, _statement(row))


def _statement(row: ComparisonRow) -> str:
    said = [f"n = {row.n_known}"] if row.n_known > 1 and row.unit not in WITHOUT_N else []
    return "; ".join([*said, *([row.statement] if row.statement else [])])


def _note(measure: Measure) -> str:
    if not measure.is_known or measure.is_running:
        return measure.note
    has_n = measure.n is not None and measure.n > 1 and measure.unit not in WITHOUT_N
    return f"n = {measure.n}" if has_n else ""
