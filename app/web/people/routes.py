"""Who is at this screen, in which units that person reads; whether the screen is dimmed, and when it is quiet."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, session
from werkzeug.wrappers import Response

from app import ports
from app.errors import Rejected
from app.operations.people import SYSTEMS, add_person, change_units
from app.store.people import find_person, list_people
from app.web.people.forms import PersonForm, QuietForm, UnitsForm
from app.web.request.back import local_page
from app.web.request.database import commit, db, only_read
from app.web.request.moment import request_now
from app.web.request.quiet_hours import keep_quiet_hours, keep_the_house_s, quiet_hours
from app.web.request.reader import reader

people = Blueprint("people", __name__)


@people.get("/people")
def index() -> str:
    return _page(_blank())


@people.post("/people")
def add() -> Response | tuple[str, int]:
    form = PersonForm(request.form)
    about = {"name": form.name.data or "", "units": form.units.data or ""}
    try:
        person = add_person(db(), person_id=form.id.data or ports.new_id(), now=request_now(), **about)
    except Rejected as error:
        for name, message in error.fields.items():
            form[name].errors = [message]
        return _page(form), 422
    commit("/people")
    _sit_down(person.id)
    flash(f"{person.name} is at this screen now.", "kept")
    return _back()


@people.post("/people/choose")
def choose() -> Response:
    person = find_person(db(), request.form.get("person", ""))
    if person is None and request.form.get("person"):
        flash("That person is not known here. Choose again.", "caution")
        return redirect("/people", 303)
    _sit_down(person.id if person else None)
    flash(f"{person.name if person else 'Nobody'} is at this screen now.", "kept")
    return _back()


@people.post("/people/units")
def choose_units() -> Response:
    units = request.form.get("units", "")
    if units not in SYSTEMS:
        raise Rejected({"units": "Choose metric or US customary units."})
    person = find_person(db(), session.get("person", ""))
    if person is not None:
        change_units(db(), person, units)
        commit("/people")
    session["units"] = units
    session.permanent = True
    return _back()


@people.post("/people/theme")
def choose_theme() -> Response:
    session.permanent = True
    if request.form.get("theme") == "night":
        session["theme"] = "night"
    else:
        session.pop("theme", None)
    return _back()


@people.post("/people/quiet")
def choose_quiet() -> Response | tuple[str, int]:
    if "house" in request.form:
        keep_the_house_s()
        return _back()
    form = QuietForm(request.form)
    if not form.validate() or form.starts.data is None or form.ends.data is None:
        return _page(_blank(), form), 422
    keep_quiet_hours(form.starts.data, form.ends.data)
    flash("The quiet hours of this screen were changed.", "kept")
    return _back()


def _blank() -> PersonForm:
    return PersonForm(data={"id": ports.new_id(), "units": reader().units})


def _sit_down(person_id: str | None) -> None:
    session.permanent = True
    session.pop("person", None)
    if person_id is not None:
        session["person"] = person_id


def _back() -> Response:
    """To the page of this server that the form names, or to the people."""
    return redirect(local_page(request.form.get("back", ""), "/people"), 303)


def _page(form: PersonForm, quiet_form: QuietForm | None = None) -> str:
    only_read()
    hours = quiet_hours()
    context = {
        "people": list_people(db()),
        "back": request.values.get("back", ""),
        "units_form": UnitsForm(data={"units": reader().units}),
        "quiet_form": quiet_form or QuietForm(data={"starts": hours.starts, "ends": hours.ends}),
        "quiet_hours": hours,
    }
    return render_template("people/index.html", form=form, **context)
