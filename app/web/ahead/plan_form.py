"""The form of the start-hour planner, read from the address: what isn't in it stands as the house usually has it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from werkzeug.datastructures import MultiDict
from wtforms import DateField, Form, TimeField
from wtforms.fields import SelectChoice
from wtforms.validators import InputRequired, ValidationError

from app.judgement.programmes.programme import Programme
from app.web.request.choice_fields import SelectField
from app.web.words.programmes import GRAIN_ORDER, grain_of

UP, BED = "06:30", "22:00"
"""Waking hours of a house that said nothing else: common practice."""

YEARS_AHEAD, YEARS_BACK = 5, 1
NEEDED = [InputRequired("This is needed.")]


class PlanForm(Form):
    """up, bed: the waking hours by the wall clock; day: the one on which to begin."""

    species = SelectField("Grain", validate_choice=False)
    programme = SelectField("Programme", validate_choice=False)
    up = TimeField("Up at", NEEDED, format="%H:%M")
    bed = TimeField("To bed at", NEEDED, format="%H:%M", description="May lie after midnight.")
    day = DateField("First day", NEEDED)
    today: date

    def validate_bed(self, field: TimeField) -> None:
        if field.data is not None and field.data == self.up.data:
            raise ValidationError("This is when you get up: a house that never sleeps needs no plan.")

    def validate_day(self, field: DateField) -> None:
        if field.data is None:
            return
        if not self.today.year - YEARS_BACK <= field.data.year <= self.today.year + YEARS_AHEAD:
            raise ValidationError(f"Choose a day within the next {YEARS_AHEAD} years.")


def plan_form(
    args: MultiDict[str, str], programmes: Sequence[Programme], today: date, usual: str | None = None
) -> tuple[PlanForm, Programme | None]:
    """The form, and the programme that it is about. usual: the digest to offer where the address names none.

    A programme that isn't made for the grain that was chosen gives way to the first that is.
    """
    given = MultiDict({name: args[name] for name in ("species", "programme", "up", "bed", "day") if name in args})
    tomorrow = (today + timedelta(days=1)).isoformat()
    for name, text in (("up", UP), ("bed", BED), ("day", tomorrow), ("species", ""), ("programme", usual or "")):
        given.setdefault(name, text)
    form = PlanForm(given)
    form.today = today
    grains = sorted({species for programme in programmes for species in programme.species})
    form.species.choices = [("", "any"), *((grain, grain) for grain in grains)]
    if form.species.data not in grains:
        form.species.data = ""
    fitting = [programme for programme in programmes if not form.species.data or form.species.data in programme.species]
    by_grain = sorted(fitting, key=lambda each: GRAIN_ORDER.index(grain_of(each)))
    form.programme.choices = [SelectChoice(each.digest, each.name, optgroup=grain_of(each)) for each in by_grain]
    asked = [each for each in fitting if each.digest == form.programme.data]
    ordinary = [each for each in fitting if each.purpose == "base" and each.scale == "floor"]
    chosen = next(iter([*asked, *ordinary, *fitting]), None)
    form.programme.data = chosen.digest if chosen is not None else ""
    return form, chosen
