"""Whether the malt on the kiln is dry enough: only what was determined tells it, and never a forecast alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from app.judgement.forecasts.moisture import MoistureSample, determinations_by_place
from app.judgement.history.history import History
from app.judgement.history.stages import Stage
from app.judgement.programmes.programme import Programme

SURE_WB = 0.015
"""A moisture known no better than ± 1.5 points does not tell that malt is dry, from memory."""

BY_WEIGHT_OR_TEST = ("tray", "tested", "charge_weighing")


@dataclass(frozen=True)
class Dryness:
    """state: dry; perhaps, where what tells it is hardly known; open, where nothing determined says that it is dry.

    sample: the wettest of the last determinations of each place; None where there is none since it was loaded.
    """

    state: Literal["dry", "perhaps", "open"]
    sample: MoistureSample | None


def dryness(history: History, stage: Stage, programme: Programme) -> Dryness:
    """By the most that is wanted, as the answer to a weighing is; hardly known, by what it can be."""
    sample, limit = wettest_sample(history, stage), programme.limit("final_moisture")
    if sample is None or limit is None or limit.target_high is None:
        return Dryness("open", sample)
    is_sure = sample.half_width <= SURE_WB
    if sample.moisture_wb - (0.0 if is_sure else sample.half_width) > limit.target_high + 1e-4:
        return Dryness("open", sample)
    return Dryness("dry" if is_sure else "perhaps", sample)


def wettest_sample(history: History, stage: Stage) -> MoistureSample | None:
    """Of the last samples of each place; trays first, any other determination where none was weighed."""
    last: dict[str | None, MoistureSample] = {}
    for sample in determinations_by_place(history):
        if stage.covers(sample.at) and sample.basis in BY_WEIGHT_OR_TEST:
            last[sample.place] = sample
    trays = [sample for sample in last.values() if sample.basis == "tray"]
    return max(trays or last.values(), key=lambda sample: sample.moisture_wb, default=None)
