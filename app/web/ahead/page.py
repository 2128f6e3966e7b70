"""What is ahead of one batch: sleep, one more day, and the power cut, in the reader's words."""

from __future__ import annotations

from typing import Any

from app.judgement.history.history import History
from app.judgement.history.stages import stages
from app.judgement.wording import Words
from app.web.summary.glance import batch_name, stage_words
from app.web.words.one_more_day import day_view
from app.web.words.power_cut import cut_view
from app.web.words.sleep import sleep_view


def ahead_context(history: History, words: Words) -> dict[str, Any]:
    return {**heading(history, words), "sleep": sleep_view(history, words), "day": day_view(history, words)} | {
        "power": cut_view(history, words)
    }


def heading(history: History, words: Words) -> dict[str, Any]:
    """What both pages say of the batch at their head."""
    assert words.now is not None
    past = stages(history, words.now)
    name = batch_name(history.batch.number, history.batch.title)
    return {"name": name, "stage_words": stage_words(past[-1] if past else None, words.now, words)}
