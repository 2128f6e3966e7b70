"""How a figure came about, of a batch, a lot or an entry: its formula with its own values, and what they rest on."""

from __future__ import annotations

from flask import Blueprint, abort, render_template

from app.judgement.explained import BATCH_KEYS, LOT_KEYS, Explanation, of_batch, of_fact, of_lot
from app.judgement.history.guard import judged_alone
from app.judgement.history.history import History
from app.store.batches import Batch, get_batch
from app.store.facts import get_fact
from app.store.history import get_history
from app.store.lots import get_lot, load_lot_stories
from app.web.how.page import batch_figure, fact_figure, how_context, lot_figure
from app.web.request.back import came_from
from app.web.request.database import db
from app.web.summary.judged_page import judged_page
from app.web.words.fact_home import home_of
from app.web.words.figures import Figure
from app.web.words.formatting import words
from app.web.words.method_text import text_of

how = Blueprint("how", __name__)


@how.get("/batches/<int:number>/how/<path:key>")
def of_a_batch(number: int, key: str) -> str:
    batch = get_batch(db(), number)
    if key.partition(".")[0] not in BATCH_KEYS:
        abort(404)
    return judged_page(batch, lambda history: _batch_page(batch, history, key))


def _batch_page(batch: Batch, history: History, key: str) -> str:
    said = words()
    assert said.now is not None
    figure, shown = batch_figure(history, said, key), of_batch(history, said.now, said, key)
    return _page(figure, shown, f"Batch {batch.number}", f"/batches/{batch.number}")


@how.get("/lots/<lot_id>/how/<key>")
def of_a_lot(lot_id: str, key: str) -> str:
    said, lot = words(), get_lot(db(), lot_id)
    if key not in LOT_KEYS:
        abort(404)
    assert said.now is not None
    info = load_lot_stories(db(), [lot])[0].info
    return _page(lot_figure(info, said, key), of_lot(info, said.now, said, key), lot.name, f"/lots/{lot.id}")


@how.get("/facts/<fact_id>/how")
def of_an_entry(fact_id: str) -> str:
    fact, said = get_fact(db(), fact_id), words()
    figure, home = fact_figure(fact, said), home_of(fact)

    def page(history: History) -> str:
        told = None if history.is_set_aside else history
        return _page(figure, of_fact(fact, told, said), figure.name, home)

    if fact.subject.type == "batch":
        return judged_alone(get_history(db(), fact.subject.id), page)
    return _page(figure, of_fact(fact, None, said), figure.name, home)


def _page(figure: Figure | None, shown: Explanation | None, about: str, home: str) -> str:
    context = {"about": about, "back": came_from(home), "text_of": text_of}
    if figure is None or shown is None:
        return render_template("how/gone.html", **context)
    return render_template("how/page.html", **context, **how_context(figure, shown, words()))
