"""The air of a run on the kiln with its gaps: reckoned by the clock of the heat, told by that of the malthouse."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.judgement.forecasts.air import Air, KilnAir, kiln_air
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import Run, by_heat


@dataclass(frozen=True)
class Standing:
    """The gaps of a run: from hour to hour, in order; the last end is infinite while the heat stands still."""

    starts_h: tuple[float, ...]
    ends_h: tuple[float, ...]

    @classmethod
    def of(cls, history: History, run: Run) -> Standing:
        ends = (math.inf if gap.ends_at is None else history.hour(gap.ends_at) for gap in run.gaps)
        return cls(tuple(history.hour(gap.starts_at) for gap in run.gaps), tuple(ends))

    def clock_h(self, heat_h: float) -> float:
        """The hour of the malthouse clock of one by the clock of the heat, after a gap that begins just then."""
        for start, end in zip(self.starts_h, self.ends_h, strict=True):
            if heat_h < start:
                break
            heat_h += end - start
        return heat_h


def air_of_run(history: History, run: Run) -> KilnAir:
    """The air of a run, with a still piece for each gap in it."""
    told, stage = by_heat(history, run)
    air = kiln_air(told, stage, run.heat_at)
    if not run.gaps:
        return air
    standing, logged = Standing.of(history, run), air.logged
    if logged is not None:
        logged = replace(logged, start_h=standing.clock_h(logged.start_h))
    return replace(air, pieces=_with_gaps(air.pieces, standing), logged=logged)


def _with_gaps(pieces: Sequence[Air], standing: Standing) -> tuple[Air, ...]:
    """pieces: by the clock of the heat. What is planned is put off by what stood still, and what was hot goes on."""
    pieces_left = [replace(piece, start_h=standing.clock_h(piece.start_h)) for piece in pieces]
    for start, end in zip(standing.starts_h, standing.ends_h, strict=True):
        before = [each for each in pieces_left if each.start_h < start] or pieces_left[:1]
        pieces_left.append(replace(before[-1], start_h=start, is_still=True))
        if all(each.start_h != end for each in pieces_left):
            pieces_left.append(replace(before[-1], start_h=end, is_still=False))
        pieces_left.sort(key=lambda each: each.start_h)
    return tuple(each for each in pieces_left if each.start_h < math.inf)
