"""The pages on which a batch begins (charged, split off, merged, roasted), and on which its malt is packed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from flask import abort, flash, redirect, render_template, request
from werkzeug.wrappers import Response

from app.store.batches import Batch, get_batch
from app.store.history import get_history
from app.web.batches.blueprint import batches
from app.web.batches.choices import blank, choices_for_merge, choices_for_roast, form_context, programme_choices
from app.web.grain.forms import grain_form
from app.web.grain.keeping import Outcome, begin_batch, end_merged, fill_pack
from app.web.grain.sources import LOTS_OFFERED, Source, batch_source, lot_sources
from app.web.request.database import commit, db, only_read
from app.web.request.digests import refresh
from app.web.request.moment import request_now, zone
from app.web.request.reader import reader
from app.web.words.formatting import words

MORE_LOTS = 3


@batches.get("/batches/new")
def new() -> str:
    wanted, typed = request.args.get("lot"), request.args.get("q", "").strip()
    sources = lot_sources(db(), words(), like=typed, wanted=[wanted] if wanted else [])
    chosen = None if typed else _chosen(sources, wanted, "lot")
    if chosen is None:
        has_more = len(sources) >= LOTS_OFFERED
        return render_template("batches/choose.html", kind="charge", sources=sources, typed=typed, has_more=has_more)
    return _form_page(_form("charge", sources, [chosen], MORE_LOTS), chosen)


@batches.post("/batches/new")
def charge() -> Response | tuple[str, int]:
    sent = (text.removeprefix("lot:") for name, text in request.form.items() if name.startswith("source_"))
    sources = lot_sources(db(), words(), wanted=list(sent))
    chosen = _sent(sources)
    return _begun(_form("charge", sources, [chosen], MORE_LOTS, request.form), chosen)


@batches.get("/batches/roast")
def new_roast() -> str:
    sources = choices_for_roast(db(), words(), request.args.get("from", ""))
    chosen = _chosen(sources, request.args.get("from"))
    if chosen is None:
        return render_template("batches/choose.html", kind="roast_charge", sources=sources)
    return _form_page(_form("roast_charge", sources, [chosen], 0), chosen)


@batches.post("/batches/roast")
def roast() -> Response | tuple[str, int]:
    sources = choices_for_roast(db(), words(), request.form.get("source_0", ""))
    chosen = _sent(sources)
    return _begun(_form("roast_charge", sources, [chosen], 0, request.form), chosen)


@batches.get("/batches/<int:number>/split")
def new_split(number: int) -> str:
    source = _batch(number)
    return _form_page(_form("split", [source], [source], 0), source)


@batches.post("/batches/<int:number>/split")
def split(number: int) -> Response | tuple[str, int]:
    source = _batch(number)
    return _begun(_form("split", [source], [source], 0, request.form), source)


@batches.get("/batches/<int:number>/merge")
def new_merge(number: int) -> str:
    source = _batch(number)
    others = choices_for_merge(db(), words(), number)
    return _form_page(_form("merge", [source, *others], [source], min(len(others), 5)), source)


@batches.post("/batches/<int:number>/merge")
def merge(number: int) -> Response | tuple[str, int]:
    source = _batch(number)
    others = choices_for_merge(db(), words(), number)
    form = _form("merge", [source, *others], [source], min(len(others), 5), request.form)
    return _begun(form, source, lambda made: end_merged(db(), form, made, reader().name))


@batches.get("/batches/<int:number>/pack")
def new_pack(number: int) -> str:
    source = _batch(number)
    return _form_page(_form("pack", [source], [source], 0), source)


@batches.post("/batches/<int:number>/pack")
def pack(number: int) -> Response | tuple[str, int]:
    source = _batch(number)
    form = _form("pack", [source], [source], 0, request.form)
    outcome = fill_pack(db(), form, words(), source.id, reader().name)
    if outcome.pack is None:
        return _form_page(form, source, outcome), 422
    where = f"/batches/{number}"
    commit(where)
    refresh(source.id)
    flash(f"Packed: {outcome.pack.name}." if outcome.is_new else "That was packed already.", "kept")
    return redirect(where, 303)


def _batch(number: int) -> Source:
    return batch_source(get_history(db(), get_batch(db(), number).id), words())


def _chosen(sources: Sequence[Source], wanted: str | None, prefix: str = "") -> Source | None:
    """The source asked for; where there is only one, that one."""
    reference = f"{prefix}:{wanted}" if prefix and wanted else wanted
    chosen = next((source for source in sources if source.reference == reference), None)
    if wanted and chosen is None:
        abort(404)
    return chosen or (sources[0] if len(sources) == 1 else None)


def _sent(sources: Sequence[Source]) -> Source:
    wanted = request.form.get("source_0", "")
    return next((source for source in sources if source.reference == wanted), None) or abort(400)


def _form(kind: str, sources: Sequence[Source], fixed: Sequence[Source], free_rows: int, sent: Any = None) -> Any:
    form = grain_form(
        kind,
        sources,
        sent,
        fixed=[source.reference for source in fixed],
        free_rows=free_rows,
        programmes=programme_choices(db(), kind),
        system=reader().units,
        zone=zone(),
        now=request_now(),
        **(blank(db(), kind, fixed[0], len(fixed) + free_rows, words(), zone()) if sent is None else {}),
    )
    # Out of which the grain comes is said by the address alone.
    for row, source in zip(form.rows, fixed, strict=False):
        row.source.data = source.reference
    return form


def _form_page(form: Any, source: Source, outcome: Outcome | None = None) -> str:
    only_read()
    asked = outcome or Outcome()
    told = {"questions": asked.questions, "asked_about": asked.about, **form_context(db(), form)}
    return render_template("batches/begin.html", form=form, source=source, **told)


def _begun(form: Any, source: Source, then: Callable[[Batch], None] | None = None) -> Response | tuple[str, int]:
    """Begin the batch, and lead to its tub page; or show the form again."""
    outcome = begin_batch(db(), form, words(), reader().name)
    if outcome.batch is None:
        return _form_page(form, source, outcome), 422
    if then is not None and outcome.is_new and form.ends.data:
        then(outcome.batch)
    number = outcome.batch.number
    where = f"/batches/{number}/tub"
    commit(where)
    refresh(*outcome.touched)
    flash(f"Batch {number} has begun." if outcome.is_new else f"That is batch {number} already.", "kept")
    return redirect(where, 303)
