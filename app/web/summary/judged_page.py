"""The pages that judge one batch; where it can't be judged, its entries with the way to correct them instead."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import render_template

from app.judgement.facts.shapes import Answer
from app.judgement.history.guard import WHY, judged_alone
from app.judgement.history.history import History
from app.judgement.slips.dating import impossible_facts
from app.store.batches import Batch
from app.store.history import get_history
from app.web.request.database import db
from app.web.request.moment import request_now
from app.web.words.fact_rows import fact_rows
from app.web.words.formatting import words


def judged_page(batch: Batch, draw: Callable[[History], str], title: Any = None) -> str:
    """The page that `draw` makes. title: the form of the batch's title, where the page has it."""

    def page(history: History) -> str:
        return _entries_page(batch, history, title) if history.is_set_aside else draw(history)

    return judged_alone(get_history(db(), batch.id), page)


def _entries_page(batch: Batch, history: History, title: Any) -> str:
    """Everything that was said, the newest first, and before it what can't be right."""
    wrong = {fact.id for fact in impossible_facts(history, request_now())}
    said = [chain for chain in reversed(history.chains) if not isinstance(chain.facts[0], Answer)]
    rows = [row for chain in said for row in fact_rows(chain, words())]
    suspects = [row for row in rows if row.fact.id in wrong and not row.struck]
    return render_template("unjudged.html", batch=batch, rows=rows, suspects=suspects, why=WHY, form=title)
