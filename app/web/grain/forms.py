"""Forms by which grain comes into a batch, or leaves it for a sack: the same rows of "what, how much, how moist"."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from wtforms import BooleanField, Field, HiddenField, StringField, ValidationError
from wtforms.validators import Length, Optional

from app import ports
from app.judgement.facts.fields import BadValues
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import values_from_typed, written
from app.judgement.slips.dating import impossible_span
from app.science import units
from app.web.entries.fields import unit_choices
from app.web.entries.forms import FOLDS, WHEN, ClockField
from app.web.entries.times import AGO, TwiceThatNight, moment_from_local
from app.web.entries.units_typed import UnitsTyped
from app.web.grain.sources import Source
from app.web.request.choice_fields import RadioField, SelectField

ORDINALS = ("", "second", "third", "fourth", "fifth", "sixth")
NOUNS = {"charge": "lot", "merge": "batch"}
KNOWN = {
    "charge": (("measured", "measured now"), ("lot", "the lot’s last"), ("assumed", "assumed")),
    "split": (("measured", "measured now"), ("assumed", "estimated")),
    "merge": (("measured", "measured now"), ("assumed", "estimated")),
    "roast_charge": (("measured", "measured now"), ("assumed", "estimated")),
    "pack": (("measured", "measured now"), ("assumed", "estimated")),
    "dispatch": (("measured", "measured now"), ("assumed", "as it was packed")),
}
BORROWED = frozenset({"lot", "assumed"})
"""Ways of knowing a moisture that may be left empty: the last one known of the source then stands."""


@dataclass(frozen=True)
class Row:
    """One row of a form: what goes in. source is a select, or a hidden field where there is nothing to choose."""

    id: Field
    source: Field
    as_is: Field
    as_is_unit: Field
    moisture: Field
    moisture_unit: Field
    known: Field

    @property
    def is_chosen(self) -> bool:
        return bool(self.source.data) and not isinstance(self.source, HiddenField)

    @property
    def is_blank(self) -> bool:
        return not (self.is_chosen or str(self.as_is.data or "").strip())


class GrainForm(UnitsTyped):
    """What charging, splitting, merging, roasting, packing and dispatching have in common."""

    kind: str
    count: int
    fewest = 1
    too_few = "Say how much goes in."
    zone: ZoneInfo
    now: datetime
    sources: Mapping[str, Source]
    target: str
    """What the grain goes into, as type:id."""
    read: Sequence[tuple[Row, dict[str, Any]]] = ()
    """The rows that say something, with their values, once the form is valid."""

    id = HiddenField()
    insist = HiddenField()
    when = RadioField("When", choices=[choice for choice in WHEN if choice[0] != "between"], default="now")
    at = ClockField("At")
    fold = RadioField("Which one?", choices=FOLDS, validators=[Optional()], validate_choice=False)

    @property
    def rows(self) -> list[Row]:
        names = ("id", "source", "as_is", "as_is_unit", "moisture", "moisture_unit", "known")
        return [Row(*(self._fields[f"{name}_{place}"] for name in names)) for place in range(self.count)]

    def said(self) -> dict[str, Any]:
        """What was typed and chosen, without what the form itself carries along."""
        return {name: field.data for name, field in self._fields.items() if name not in ("id", "insist")}

    def moment(self) -> datetime:
        """When it happened; ValueError says what to mend."""
        if self.when.data in AGO:
            return self.now - timedelta(minutes=AGO[self.when.data])
        return moment_from_local(str(self.at.data or ""), self.zone, str(self.fold.data or ""))

    _which_one: tuple[str, ...] = ()

    def validate_when(self, _field: Any) -> None:
        try:
            moment = self.moment()
        except TwiceThatNight as error:
            # Put to its own field once that was checked too, which clears what stands there.
            self._which_one = (str(error),)
            raise ValidationError(str(error)) from error
        except ValueError as error:
            raise ValidationError(str(error)) from error
        for message in impossible_span(moment, moment, self.now).values():
            raise ValidationError(message)

    def validate(self, extra_validators: Mapping[str, Any] | None = None) -> bool:
        """Every field by itself, then each row by the fields of its kind."""
        is_well = super().validate(extra_validators)
        self.fold.errors = [*self.fold.errors, *self._which_one]
        filled = [row for row in self.rows if self.is_filled(row)]
        self.read = [(row, values) for row in filled if (values := self._read(row)) is not None]
        is_well = is_well and len(self.read) == len(filled)
        if len(filled) < self.fewest:
            self.rows[min(len(filled), self.count - 1)].as_is.errors = [self.too_few]
            is_well = False
        chosen = [row.source.data for row in filled]
        for row in filled:
            if chosen.count(row.source.data) > 1:
                row.source.errors = ["This one is named twice: put both weights into one row."]
                is_well = False
        return is_well

    def is_filled(self, row: Row) -> bool:
        return not row.is_blank

    def typed(self, row: Row) -> dict[str, str]:
        """A row as an entry has it; an empty moisture that may be borrowed is that of the source."""
        moisture, unit = str(row.moisture.data or "").strip(), str(row.moisture_unit.data)
        source = self.sources.get(str(row.source.data))
        if not moisture and row.known.data in BORROWED and source is not None and source.moisture_wb is not None:
            moisture, unit = f"{100 * source.moisture_wb:.4g}", "percent"
        return {
            "source": str(row.source.data),
            "as_is": str(row.as_is.data or "").strip(),
            "as_is_unit": str(row.as_is_unit.data),
            "moisture": moisture,
            "moisture_unit": unit,
            "target": self.target,
        }

    def _read(self, row: Row) -> dict[str, Any] | None:
        """The SI values of a row; None where its fields say what can't be read."""
        try:
            values = values_from_typed(KINDS[self.kind], self.typed(row))
            if values["as_is_kg"] <= 0:
                raise BadValues({"as_is": "Nothing goes in: give its weight, or leave the row empty."})
        except BadValues as error:
            for name, message in error.fields.items():
                if name == "target":
                    self.form_errors.append(message)
                else:
                    getattr(row, name).errors = [message if name != "source" else "Choose where it comes from."]
            return None
        return values

    def parts(self, about: tuple[str, str], by: str | None) -> list[Any]:
        """The facts of the rows, once the form is valid; BadValues where they can't be kept all the same."""
        at, clock = self.moment(), "now" if self.when.data in AGO else "typed"
        told: dict[str, Any] = {"about": about, "at": (at, at), "clock": clock, "written_at": self.now, "by": by}
        return [self._part(row, values, told) for row, values in self.read]

    def _part(self, row: Row, values: dict[str, Any], told: dict[str, Any]) -> Any:
        own = {"entry_id": row.id.data or ports.new_id(), "method": row.known.data, "values": values}
        return written(self.kind, self.typed(row), **told, **own)


class BatchForm(GrainForm):
    """A form that begins a batch."""

    programme = RadioField("Programme", validate_choice=False)
    vessel = StringField("Vessel", validators=[Length(max=60, message="At most 60 characters.")])
    title = StringField("Title", validators=[Length(max=80, message="At most 80 characters.")])

    def validate_programme(self, field: Any) -> None:
        if field.data not in {choice.value for choice in field.choices}:
            raise ValidationError("Choose the programme that this batch is to follow.")


class MergeForm(BatchForm):
    """A form that makes several batches one. An empty weight is all that should be in that batch."""

    fewest = 2

    ends = BooleanField("That is all of them: the old batches end here", default=True)

    def is_filled(self, row: Row) -> bool:
        return bool(row.source.data)

    def validate(self, extra_validators: Mapping[str, Any] | None = None) -> bool:
        if sum(self.is_filled(row) for row in self.rows) < self.fewest and self.count > 1:
            super().validate(extra_validators)
            self.rows[1].as_is.errors = []
            self.rows[1].source.errors = ["Choose at least one other batch."]
            return False
        return super().validate(extra_validators)

    def typed(self, row: Row) -> dict[str, str]:
        typed = super().typed(row)
        source = self.sources.get(str(row.source.data))
        if not typed["as_is"] and source is not None and source.left_kg is not None:
            return typed | {"as_is": f"{source.left_kg:.6g}", "as_is_unit": "kg"}
        return typed


class PackForm(GrainForm):
    """A form that fills a sack or a jar."""

    name = StringField("Name of the sack or jar", validators=[Length(max=80, message="At most 80 characters.")])

    def validate_name(self, field: Any) -> None:
        if not str(field.data or "").strip():
            raise ValidationError("Give it a name, as on its label.")


class DispatchForm(GrainForm):
    """A form by which malt leaves the house."""

    too_few = "Say how much goes."

    to = StringField("To whom", validators=[Length(max=200, message="At most 200 characters.")])


BASES: Mapping[str, type[GrainForm]] = {"pack": PackForm, "merge": MergeForm, "dispatch": DispatchForm}


def grain_form(
    kind: str,
    sources: Sequence[Source],
    formdata: Any = None,
    *,
    fixed: Sequence[str] = (),
    free_rows: int = 0,
    programmes: Sequence[tuple[str, str]] = (),
    system: str,
    zone: ZoneInfo,
    now: datetime,
    **defaults: Any,
) -> Any:
    """A form of this kind. fixed: sources that have a row of their own; free_rows: rows to choose a source in."""
    count = len(fixed) + free_rows
    fields: dict[str, Any] = {"kind": kind, "count": count}
    for place in range(count):
        fields |= _row_fields(kind, place, sources if place >= len(fixed) else None, system)
        if place < len(fixed):
            defaults[f"source_{place}"] = fixed[place]
    base = BASES.get(kind, BatchForm)
    form = type(f"{kind.title()}Form", (base,), fields)(formdata, data=defaults)
    form.sources = {source.reference: source for source in sources}
    form.zone, form.now = zone, now
    if issubclass(base, BatchForm):
        form.programme.choices = list(programmes)
    return form


def _row_fields(kind: str, place: int, choices: Sequence[Source] | None, system: str) -> dict[str, Any]:
    of = f" of the {ORDINALS[place]}" if place else ""
    picks = [("", "–"), *((source.reference, source.line) for source in choices or ())]
    noun = f"{ORDINALS[place]} {NOUNS.get(kind, 'source')}".strip().capitalize()
    source: Any = HiddenField() if choices is None else SelectField(noun, choices=picks, validate_choice=False)
    default = units.DEFAULT_UNITS[system]["mass"]
    return {
        f"id_{place}": HiddenField(),
        f"source_{place}": source,
        f"as_is_{place}": StringField(f"Weight{of}, as it is"),
        f"as_is_unit_{place}": SelectField("Unit", choices=unit_choices("mass"), default=default),
        f"moisture_{place}": StringField(f"Moisture{of}"),
        f"moisture_unit_{place}": SelectField("Unit", choices=unit_choices("moisture"), default="percent"),
        f"known_{place}": RadioField(f"How its moisture is known{of}", choices=KNOWN[kind], default="measured"),
    }
