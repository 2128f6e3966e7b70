"""Batches side by side: their measures in rows, what sets them apart, and whether its interval allows to say so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations

from app.judgement.history.history import History
from app.judgement.measures.batch import KEYS, Measure, Severe, measures
from app.science.control_charts import (
    FEWEST_A_SIDE,
    Difference,
    difference_between,
    interval_of_range,
    leaves_out_zero,
)

CLEAR = "a clear difference, its 95 % interval leaves out 0"
NOT_SHOWN = "no difference shown, its 95 % interval holds 0"


@dataclass(frozen=True)
class ComparisonRow:
    """One measure of all batches. spread: highest less lowest of those known, in the measure's unit.

    ends: of the spread's 95 % interval, where both values have one. statement: what may be said of it, by that
    interval; empty where nothing may.
    """

    key: str
    word: str
    unit: str
    cells: tuple[Measure, ...]
    n_known: int
    spread: float | None = None
    ends: tuple[float, float] | None = None
    statement: str = ""


@dataclass(frozen=True)
class SideRow:
    """One measure of two groups of batches: their means, first less second with its interval, and n of each."""

    key: str
    word: str
    unit: str
    first_mean: float
    second_mean: float
    difference: Difference
    statement: str

    @property
    def has_verdict(self) -> bool:
        return self.difference.is_clear is not None


def comparison_table(
    histories: Sequence[History], now: datetime, flags: Mapping[str, Sequence[Severe]] | None = None
) -> list[ComparisonRow]:
    """The measures of the batches, in their order, one row for each that any batch has.

    flags: those of each batch, by its id.
    """
    columns = [measures(history, now, _flags_of(history, flags)) for history in histories]
    return rows_of(columns)


def rows_of(columns: Sequence[Sequence[Measure]]) -> list[ComparisonRow]:
    """Rows out of columns of measures, such as digests remember them; measures that no batch has are left out."""
    by_key = [{measure.key: measure for measure in column} for column in columns]
    rows = []
    for key in KEYS:
        measured = [column[key] for column in by_key if key in column and column[key].is_known]
        if measured:
            first = measured[0]
            cells = tuple(
                column.get(key) or Measure(key, first.word, first.unit, note="not known") for column in by_key
            )
            rows.append(_row(cells, measured))
    return rows


def _row(cells: tuple[Measure, ...], measured: Sequence[Measure]) -> ComparisonRow:
    first = measured[0]
    if len(measured) < 2 or any(each.is_running for each in measured):
        said = "one still runs: no difference yet" if len(measured) > 1 else ""
        return ComparisonRow(first.key, first.word, first.unit, cells, len(measured), statement=said)
    lowest = min(measured, key=lambda each: each.value or 0.0)
    highest = max(measured, key=lambda each: each.value or 0.0)
    spread = (highest.value or 0.0) - (lowest.value or 0.0)
    top, bottom = highest.estimate, lowest.estimate
    ends = interval_of_range(top, bottom, len(measured)) if top and bottom else None
    return ComparisonRow(
        key=first.key,
        word=first.word,
        unit=first.unit,
        cells=cells,
        n_known=len(measured),
        spread=spread,
        ends=ends,
        statement=_statement(spread, ends, len(measured)),
    )


def _statement(spread: float, ends: tuple[float, float] | None, n: int) -> str:
    if ends is None:
        return ""
    if spread == 0.0:
        return "the same"
    if leaves_out_zero(*ends):
        return CLEAR
    return NOT_SHOWN if n == 2 else f"between the highest and the lowest {NOT_SHOWN}"


def lots_of(history: History) -> tuple[str, ...]:
    """The lots that the batch was charged from."""
    return tuple(sorted(history.lots))


def compare_lots(
    histories: Sequence[History], now: datetime
) -> dict[tuple[tuple[str, ...], tuple[str, ...]], list[SideRow]]:
    """For any two lots (or mixtures of lots), the measures of the batches of the one against those of the other."""
    if len({lots_of(history) for history in histories}) < 2:
        return {}
    groups: dict[tuple[str, ...], list[Sequence[Measure]]] = {}
    for history in histories:
        groups.setdefault(lots_of(history), []).append(measures(history, now))
    return {(one, other): compare_sides(groups[one], groups[other]) for one, other in combinations(sorted(groups), 2)}


def compare_sides(first: Sequence[Sequence[Measure]], second: Sequence[Sequence[Measure]]) -> list[SideRow]:
    """Two groups of batches, measure by measure, in the order of KEYS; with fewer than three a side no verdict."""
    rows = []
    for key in KEYS:
        sides = [
            [each for column in side for each in column if each.key == key and each.is_known]
            for side in (first, second)
        ]
        if all(sides):
            rows.append(_side_row(*sides))
    return rows


def _side_row(first: Sequence[Measure], second: Sequence[Measure]) -> SideRow:
    values = [[each.value for each in side if each.value is not None] for side in (first, second)]
    difference = difference_between(values[0], values[1])
    means = [sum(side) / len(side) for side in values]
    return SideRow(first[0].key, first[0].word, first[0].unit, means[0], means[1], difference, _verdict(difference))


def _verdict(difference: Difference) -> str:
    count = f"n = {difference.n_first} and {difference.n_second}"
    if difference.is_clear is None:
        return f"{count}: too few for a verdict, which needs {FEWEST_A_SIDE} a side"
    if difference.is_clear:
        return f"{count}: {CLEAR}"
    return f"{count}: {NOT_SHOWN}"


def _flags_of(history: History, flags: Mapping[str, Sequence[Severe]] | None) -> Sequence[Severe] | None:
    return None if flags is None else flags.get(history.batch.id, ())
