"""What is ahead: of one batch while the house sleeps, in a power cut, and of a batch that isn't charged yet."""

from __future__ import annotations

from flask import Blueprint, render_template, request

from app.judgement.history.history import History
from app.store.batches import Batch, find_last_programme, get_batch
from app.store.programmes import list_programmes
from app.web.ahead.page import ahead_context, heading
from app.web.ahead.plan_form import plan_form
from app.web.ahead.plan_page import plan_context
from app.web.request.database import db
from app.web.request.moment import request_now, zone
from app.web.summary.judged_page import judged_page
from app.web.words.formatting import words
from app.web.words.power_cut import cut_view

ahead = Blueprint("ahead", __name__)


@ahead.get("/batches/<int:number>/ahead")
def show(number: int) -> str:
    batch = get_batch(db(), number)
    return judged_page(
        batch, lambda each: render_template("ahead/page.html", batch=batch, **ahead_context(each, words()))
    )


@ahead.get("/batches/<int:number>/power-cut")
def power_cut(number: int) -> str:
    batch = get_batch(db(), number)
    return judged_page(batch, lambda each: _power_cut(batch, each))


def _power_cut(batch: Batch, history: History) -> str:
    said = words()
    return render_template("ahead/power_cut.html", batch=batch, power=cut_view(history, said), **heading(history, said))


@ahead.get("/plan")
def plan() -> str | tuple[str, int]:
    asked = list_programmes(db(), [request.args.get("programme", "")])
    programmes = list(dict.fromkeys([*list_programmes(db()), *asked]))
    usual = find_last_programme(db(), request.args.get("species") or "barley")
    form, programme = plan_form(request.args, programmes, request_now().astimezone(zone()).date(), usual)
    if programme is None or not form.validate():
        return render_template("ahead/plan.html", form=form, programme=programme), 422 if form.errors else 200
    context = plan_context(form, programme, request.args.get("start", ""), words())
    return render_template("ahead/plan.html", form=form, programme=programme, **context)
