"""What was measured of the malt in a pack, by the tests of the batches that filled it. Nothing estimated or guessed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.judgement.history.history import History
from app.judgement.wording import Words
from app.web.words.malt import POWER, MaltRow, measured_rows

ON_A_LABEL = ("malt_colour", "extract_mash", "diastatic_power", "falling_number")


@dataclass(frozen=True)
class Tested:
    """The tests of one batch. is_power_known: whether its power to convert starch was measured."""

    number: int
    title: str
    rows: list[MaltRow]
    is_power_known: bool


def tested(histories: Sequence[History], words: Words) -> list[Tested]:
    """Batch by batch, those too of which nothing was measured."""
    found = [(history.batch, measured_rows(history, words)) for history in histories]
    return [
        Tested(
            batch.number,
            batch.title,
            [row for rows in by_kind.values() for row in rows],
            any(kind in by_kind for kind in POWER),
        )
        for batch, by_kind in found
    ]


def label_tests(histories: Sequence[History], words: Words) -> tuple[str, ...]:
    """The last of each test that fits on a label. Malt of several batches has no one figure, and gets none."""
    if len(histories) != 1:
        return ()
    by_kind = measured_rows(histories[0], words)
    return tuple(f"{by_kind[kind][0].word} {by_kind[kind][0].text}" for kind in ON_A_LABEL if kind in by_kind)
