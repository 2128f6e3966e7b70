"""Programmes: the list, one revision with its plan and limits, and the form that makes a new revision of it."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.errors import Rejected
from app.judgement.programmes.programme import Programme
from app.operations.programmes import revise_programme
from app.store.programmes import (
    ProgrammeRevision,
    count_batches_by_programme,
    find_revision,
    get_revision,
    list_batches_of_programme,
    list_offered,
    list_revisions,
    programme_of,
)
from app.web.programmes.forms import ProgrammeForm
from app.web.programmes.page import grouped, listed, newer_of, programme_context
from app.web.request.database import commit, db, only_read
from app.web.request.moment import request_now
from app.web.request.reader import reader
from app.web.words.formatting import words

programmes = Blueprint("programmes", __name__)


@programmes.get("/programmes")
def index() -> str:
    counts = count_batches_by_programme(db())
    rows = [listed(each, counts.get(each.digest, 0)) for each in list_offered(db())]
    return render_template("programmes/index.html", groups=grouped(rows))


@programmes.get("/programmes/<digest>")
def show(digest: str) -> str:
    revision = get_revision(db(), digest)
    parent = find_revision(db(), revision.parent) if revision.parent else None
    context = programme_context(programme_of(revision), programme_of(parent) if parent else None, words())
    revisions = list_revisions(db(), revision.key)
    context |= {"revision": revision, "parent": parent, "revisions": revisions, "newer": newer_of(revision, revisions)}
    return render_template("programmes/page.html", batches=list_batches_of_programme(db(), digest), **context)


@programmes.get("/programmes/<digest>/edit")
def edit(digest: str) -> str:
    revision = get_revision(db(), digest)
    return _form_page(revision, ProgrammeForm(programme_of(revision), reader().units))


@programmes.post("/programmes/<digest>/edit")
def keep(digest: str) -> Response | tuple[str, int]:
    revision = get_revision(db(), digest)
    form = ProgrammeForm(programme_of(revision), reader().units, request.form)
    revised = _revised(form) if form.validate() else None
    if revised is None:
        return _form_page(revision, form), 422
    where = url_for("programmes.show", digest=revised.digest)
    commit(where)
    is_same = revised.digest == digest
    flash("Nothing was changed, so nothing new was kept." if is_same else "Kept as a new revision.", "kept")
    return redirect(where, 303)


def _revised(form: ProgrammeForm) -> Programme | None:
    """The new revision, or the form with what stands against it."""
    try:
        return revise_programme(db(), form.programme, form.changes(), now=request_now())
    except Rejected as error:
        form.put_errors(error.fields)
        return None


def _form_page(revision: ProgrammeRevision, form: ProgrammeForm) -> str:
    only_read()
    newer = newer_of(revision, list_revisions(db(), revision.key))
    return render_template("programmes/edit.html", revision=revision, form=form, sections=form.sections, newer=newer)
