"""Lots: the list, taking one in, one lot with its ledger, and what is recorded about it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app import ports
from app.errors import Rejected
from app.judgement import cautions
from app.judgement.facts.kinds import KINDS
from app.judgement.slips.questions import Question
from app.operations.lots import create_lot
from app.store.batches import list_batches
from app.store.digests import get_digests
from app.store.facts import find_fact
from app.store.lots import Lot, LotStory, find_lot, get_lot, list_lots, load_lot_stories
from app.store.people import list_people
from app.web.entries.keeping import Answer, keep_entry
from app.web.lots.forms import NewLotForm, new_lot_form
from app.web.lots.guidance import ABOUTS, ADJUSTMENTS, CAUTIONS
from app.web.lots.life import kept_said
from app.web.lots.page import LOT_KINDS, SHOWN_BATCHES, lot_context, lot_form, lot_row, parts_target_ids
from app.web.lots.plates import PlatesForm, keep_plates, plates_form
from app.web.lots.slips import asked_about, settled
from app.web.request.database import commit, db, only_read
from app.web.request.moment import request_now, zone
from app.web.request.reader import reader
from app.web.summary.batch_rows import batch_rows
from app.web.words.formatting import words
from app.web.words.kept import said_if_it_can_be
from app.web.words.programmes import GRAINS, HUSKED

lots = Blueprint("lots", __name__)
PER_PAGE = 20
MOST_PAGES = 100_000


@lots.get("/lots")
def index() -> str:
    page = min(max(request.args.get("page", 1, type=int), 1), MOST_PAGES)
    typed = request.args.get("q", "").strip()
    found = list_lots(db(), like=typed, limit=PER_PAGE + 1, offset=(page - 1) * PER_PAGE)
    rows = [lot_row(story, words()) for story in load_lot_stories(db(), found[:PER_PAGE])]
    return render_template("lots/index.html", rows=rows, typed=typed, page=page, has_older=len(found) > PER_PAGE)


@lots.get("/lots/new")
def new() -> str:
    return _new_page(new_lot_form(None, system=reader().units, zone=zone(), now=request_now()))


@lots.post("/lots/new")
def take_in() -> Response | tuple[str, int]:
    form = new_lot_form(request.form, system=reader().units, zone=zone(), now=request_now())
    known = find_lot(db(), form.id.data or "")
    if known is not None:
        return _kept_already(known, form)
    lot, asked = _open(form) if form.validate() else (None, [])
    if lot is None:
        return _new_page(form, asked), 422
    where = url_for("lots.show", lot_id=lot.id)
    commit(where)
    flash(f"{lot.name} is taken in.", "kept")
    return redirect(where, 303)


@lots.get("/lots/<lot_id>")
def show(lot_id: str) -> str:
    story = _story(lot_id)
    batches = list_batches(db(), ids=parts_target_ids(story.charges))
    digests = get_digests(db(), [batch.id for batch in batches])
    rows = batch_rows(db(), [(batch, digests.get(batch.id)) for batch in batches[:SHOWN_BATCHES]], words())
    return render_template("lots/page.html", **lot_context(story, batches, words()), batch_rows=rows, **_kept(story))


@lots.get("/lots/<lot_id>/entries/<kind>")
def entry(lot_id: str, kind: str) -> str:
    story = _story_for(lot_id, kind)
    return _entry_page(story, Answer(lot_form(kind, story, None, words())))


@lots.post("/lots/<lot_id>/entries/<kind>")
def keep(lot_id: str, kind: str) -> Response | tuple[str, int]:
    story = _story_for(lot_id, kind)
    form = lot_form(kind, story, request.form, words(), request.args.get("way", ""))
    answer = keep_entry(db(), form, None, ("lot", lot_id), reader().name)
    if answer.fact is None:
        return _entry_page(story, answer), 422
    where = url_for("lots.show", lot_id=lot_id, kept=answer.fact.id, again=None if answer.is_new else 1)
    commit(where)
    return redirect(where, 303)


@lots.get("/lots/<lot_id>/germination")
def plates(lot_id: str) -> str:
    return _plates_page(get_lot(db(), lot_id), plates_form(None, zone=zone(), now=request_now()))


@lots.post("/lots/<lot_id>/germination")
def keep_dishes(lot_id: str) -> Response | tuple[str, int]:
    lot = get_lot(db(), lot_id)
    form = plates_form(request.form, zone=zone(), now=request_now())
    fact = keep_plates(db(), form, lot_id, reader().name)
    if fact is None:
        return _plates_page(lot, form), 422
    where = url_for("lots.show", lot_id=lot_id, kept=fact.id)
    commit(where)
    return redirect(where, 303)


def _plates_page(lot: Lot, form: PlatesForm) -> str:
    only_read()
    return render_template("lots/plates.html", lot=lot, form=form, people=list_people(db()))


def _story(lot_id: str) -> LotStory:
    return load_lot_stories(db(), [get_lot(db(), lot_id)])[0]


def _story_for(lot_id: str, kind: str) -> LotStory:
    if kind not in LOT_KINDS:
        abort(404)
    return _story(lot_id)


def _open(form: NewLotForm) -> tuple[Lot | None, Sequence[Question]]:
    """The new lot with all its facts; or nothing stored, with what should be asked first or what stands against it."""
    about: dict[str, Any] = {name: str(form[name].data or "") for name in ("name", "variety", "harvest", "supplier")}
    lot_id = form.id.data or ports.new_id()
    try:
        facts, asked = settled(form, lot_id, reader().name)
        if asked:
            return None, asked
        return create_lot(db(), lot_id=lot_id, species=form.grain, now=form.now, facts=facts, **about), []
    except Rejected as error:
        form.put_errors(error.fields)
        return None, []


def _kept_already(lot: Lot, form: NewLotForm) -> Response:
    is_same = str(form.name.data or "").strip() == lot.name
    text = (
        f"{lot.name} was taken in already."
        if is_same
        else f"This was kept already, as {lot.name}. Nothing was changed."
    )
    flash(text, "kept" if is_same else "caution")
    return redirect(url_for("lots.show", lot_id=lot.id), 303)


def _new_page(form: NewLotForm, asked: Sequence[Question] = ()) -> str:
    only_read()
    context = {"people": list_people(db()), "caution": cautions.TREATED_SEED, "cautions": CAUTIONS["intake"]}
    about = {"questions": asked, "asked_about": asked_about(form)} if asked else {}
    return render_template("lots/new.html", form=form, **context, **about)


def _kept(story: LotStory) -> dict[str, Any]:
    """What was just kept, and what it means; nothing where the address names none."""
    fact = find_fact(db(), request.args["kept"]) if "kept" in request.args else None
    if fact is None or story.info.facts.count(fact) == 0:
        return {"kept": None}
    said = said_if_it_can_be(lambda: kept_said(story, fact, words()))
    return {"kept": {"fact": fact, "said": said, "is_new": "again" not in request.args, "undo_id": ports.new_id()}}


def _entry_page(story: LotStory, answer: Answer) -> str:
    only_read()
    form = answer.form
    form.stage = "lot"
    return render_template(
        "lots/entry.html",
        lot=story.lot,
        form=form,
        about=ABOUTS.get(form.kind.name),
        ways=ADJUSTMENTS if form.kind.name == "stock_adjustment" else {},
        way="in" if request.args.get("way") == "in" else "out",
        cautions=CAUTIONS.get(form.kind.name, ()),
        asked=answer,
        outside=story.lot.species in GRAINS and story.lot.species not in HUSKED,
        instruments=sorted({fact.instrument for fact in story.info.facts if fact.instrument}),
        people=list_people(db()),
        title=KINDS[form.kind.name].word,
    )
