"""Packs: the sacks and jars of malt, what is left in them, what leaves the house, and their labels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from flask import Blueprint, flash, redirect, render_template, request
from werkzeug.wrappers import Response

from app import ports
from app.judgement.history.guard import judged
from app.store.batches import list_batches, list_species
from app.store.history import load_histories
from app.store.packs import PackStory, get_pack, list_packs, load_pack_stories
from app.web.access.security import is_local
from app.web.entries.times import local_text
from app.web.grain.forms import grain_form
from app.web.grain.keeping import Outcome, dispatch_malt
from app.web.grain.sources import Source, pack_source
from app.web.packs.page import Behind, other_batch_ids, pack_context, pack_hold, pack_label, pack_row
from app.web.request.database import commit, db, only_read
from app.web.request.moment import request_now, zone
from app.web.request.reader import reader
from app.web.words.formatting import words

packs = Blueprint("packs", __name__)
PER_PAGE = 20
MOST_PAGES = 100_000
Told = TypeVar("Told")


@packs.get("/packs")
def show_list() -> str:
    page = min(max(request.args.get("page", 1, type=int), 1), MOST_PAGES)
    typed = request.args.get("q", "").strip()
    found = list_packs(db(), like=typed, limit=PER_PAGE + 1, offset=(page - 1) * PER_PAGE)
    stories = load_pack_stories(db(), found[:PER_PAGE])
    rows = _told(stories, lambda behind: [pack_row(story, behind, words()) for story in stories])
    return render_template("packs/index.html", rows=rows, typed=typed, page=page, has_older=len(found) > PER_PAGE)


@packs.get("/packs/<pack_id>")
def show(pack_id: str) -> str:
    story = _story(pack_id)
    return render_template("packs/page.html", **_told([story], lambda behind: _context(story, behind)))


@packs.get("/packs/<pack_id>/dispatch")
def new_dispatch(pack_id: str) -> str:
    return _form_page(_form(pack_id))


@packs.post("/packs/<pack_id>/dispatch")
def dispatch(pack_id: str) -> Response | tuple[str, int]:
    form = _form(pack_id, request.form)
    outcome = dispatch_malt(db(), form, words(), pack_id, reader().name)
    if outcome.fact is None:
        return _form_page(form, outcome), 422
    where = f"/packs/{pack_id}"
    commit(where)
    flash("Dispatched." if outcome.is_new else "That was recorded already.", "kept")
    return redirect(where, 303)


@packs.get("/packs/<pack_id>/label")
def label(pack_id: str) -> str:
    story = _story(pack_id)
    return _told([story], lambda behind: _printed("packs/label.html", story, behind))


@packs.get("/packs/<pack_id>/sheet")
def malt_sheet(pack_id: str) -> str:
    story = _story(pack_id)
    return _told([story], lambda behind: _printed("packs/sheet.html", story, behind, **_context(story, behind)))


def _context(story: PackStory, behind: Behind) -> dict[str, Any]:
    return pack_context(story, behind, words())


def _printed(template: str, story: PackStory, behind: Behind, **context: Any) -> str:
    """A page for paper, with the label; without it where the malt is held."""
    row = pack_row(story, behind, words())
    address = f"{request.host_url}packs/{row.id}"
    found = None if row.is_held else pack_label(row, behind.of(story), list_species(db()), words(), address)
    return render_template(template, **context | {"pack": row, "label": found, "is_local": is_local(request.host)})


def _story(pack_id: str) -> PackStory:
    return load_pack_stories(db(), [get_pack(db(), pack_id)])[0]


def _told(stories: Sequence[PackStory], tell: Callable[[Behind], Told]) -> Told:
    """What is told of packs by what stands behind them."""
    histories = load_histories(db(), sorted({each for story in stories for each in story.batch_ids}))
    named = other_batch_ids([fact for story in stories for fact in story.standing])
    batches = {batch.id: batch for batch in list_batches(db(), ids=named)}
    return judged(histories.values(), lambda found: tell(Behind({each.batch.id: each for each in found}, batches)))


def _form(pack_id: str, sent: Any = None) -> Any:
    """The form that lets malt of a pack go: blank, or with what was sent."""
    story = _story(pack_id)
    source = _told([story], lambda behind: _source(story, behind))
    blank: dict[str, Any] = {"id_0": ports.new_id(), "at": local_text(request_now(), zone()), "known_0": "assumed"}
    form = grain_form(
        "dispatch",
        [source],
        sent,
        fixed=[source.reference],
        system=reader().units,
        zone=zone(),
        now=request_now(),
        **({} if sent else blank),
    )
    # Out of which pack is said by the address alone.
    form.source_0.data = source.reference
    return form


def _source(story: PackStory, behind: Behind) -> Source:
    species = {batch.id: batch.species for batch in behind.batches.values()}
    held = pack_hold(behind.of(story), words())
    return pack_source(story, species, words(), held.is_held, " ".join(held.reasons))


def _form_page(form: Any, outcome: Outcome | None = None) -> str:
    only_read()
    source = form.sources[str(form.rows[0].source.data)]
    return render_template("packs/dispatch.html", form=form, source=source, outcome=outcome or Outcome())
