"""The form of each kind of entry: one class serves the tub's page, a correction, and what a phone sends."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from functools import lru_cache
from types import MappingProxyType
from typing import Any, ClassVar, Self
from zoneinfo import ZoneInfo

from werkzeug.datastructures import MultiDict
from wtforms import HiddenField, StringField, TextAreaField, ValidationError
from wtforms.fields import DateTimeLocalField, MultipleFileField
from wtforms.validators import Length, Optional

from app.judgement.facts.fields import BadValues, Moment, Quantity
from app.judgement.facts.kind_parts import MALT_MOISTURE_METHODS, QUALITIES, Kind
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import completed, read_typed, written
from app.judgement.facts.shapes import Fact
from app.web.entries.fields import fields_for
from app.web.entries.times import AGO, TwiceThatNight, moment_from_local
from app.web.entries.units_typed import UnitsTyped
from app.web.request.choice_fields import RadioField

WHEN = (
    ("now", "now"),
    ("m5", "−5 min"),
    ("m15", "−15 min"),
    ("m60", "−1 h"),
    ("at", "at …"),
    ("between", "between …"),
)
FOLDS = (("first", "the first time"), ("second", "the second time"))
COMMON = ("when", "at", "earliest", "latest", "fold", "place", "instrument", "person", "quality", "note")


class ClockField(DateTimeLocalField):
    """A date-and-time field that keeps what was typed as text: the zone has its say later."""

    def process_formdata(self, valuelist: list[str]) -> None:
        self.data = valuelist[0].strip() if valuelist else None

    def _value(self) -> str:
        return str(self.data or "")


class KindForm(UnitsTyped):
    """The fields that belong to one kind of entry alone."""

    kind: ClassVar[Kind]
    stage: str = ""
    """Of what it is about, or "lot"; empty: everything is asked."""

    def not_asked(self) -> list[str]:
        """The fields that are asked at other stages, as long as nothing is said in them."""
        elsewhere = [name for name, spec in self.kind.fields.items() if self.stage and not spec.is_asked(self.stage)]
        return [name for name in elsewhere if not (self[name].data or self[name].errors)]

    @classmethod
    def kind_names(cls) -> list[str]:
        """Their names, units and the way of doing it among them."""
        names = [name for field in cls.kind.fields for name in (field, f"{field}_unit")]
        return [name for name in (*names, "method") if hasattr(cls, name)]

    def scoped(self) -> Self:
        """As the tub page draws it, where all kinds share one form: every field under the kind's own name."""
        for name in self.kind_names():
            self._fields[name].name = self._fields[name].id = f"{self.kind.name}-{name}"
        return self

    def typed(self) -> dict[str, str]:
        """The fields as they were typed, with their units; empty ones left out."""
        names = [name for name in self.kind_names() if name != "method"]
        return {name: str(self._fields[name].data) for name in names if str(self._fields[name].data or "").strip()}


class EntryForm(KindForm):
    """A whole entry: the fields of its kind, and those that every entry has."""

    id = HiddenField()
    supersedes_id = HiddenField()
    insist = HiddenField()
    when = RadioField("When", choices=WHEN, default="now")
    at = ClockField("At")
    earliest = ClockField("Not before")
    latest = ClockField("Not after")
    fold = RadioField("Which one?", choices=FOLDS, validators=[Optional()], validate_choice=False)
    place = StringField("Place", validators=[Length(max=60, message="At most 60 characters.")])
    instrument = StringField("Instrument", validators=[Length(max=60, message="At most 60 characters.")])
    person = StringField("Read by", validators=[Length(max=80, message="At most 80 characters.")])
    quality = RadioField("How sure", choices=QUALITIES, default="measured")
    note = TextAreaField("Note", validators=[Length(max=5000, message="At most 5000 characters.")])
    photo = MultipleFileField("Photos")
    """Shown, and told what is wrong with; the photos themselves don't come with the other fields."""

    zone: ZoneInfo
    now: datetime
    exact: Mapping[str, datetime] = MappingProxyType({})
    """Moments by how the form shows them: left as they are, they keep their seconds."""
    values: Mapping[str, Any]
    """What was typed, SI: read by validate, once, for all that comes after."""

    def typed(self) -> dict[str, str]:
        typed = super().typed()
        moments = [name for name, spec in self.kind.fields.items() if isinstance(spec, Moment) and name in typed]
        return typed | {f"{name}_unit": self.zone.key for name in moments}

    def validate(self, extra_validators: Mapping[str, Any] | None = None) -> bool:
        """Every field by itself, then time and values as a whole."""
        is_right = super().validate(extra_validators)
        self.fold.errors = [*self.fold.errors, *self._which_one]
        values, wrong = read_typed(self.kind, self.typed(), self.quality.data)
        try:
            if is_right and not wrong:
                self.values = completed(self.kind, values, self.quality.data)
        except BadValues as error:
            wrong = error.fields
        for name, message in wrong.items():
            self._fields[name].errors = [message]
        return is_right and not wrong

    _which_one: tuple[str, ...] = ()

    def validate_when(self, _field: Any) -> None:
        try:
            self.span()
        except TwiceThatNight as error:
            # Put to its own field once that was checked too, which clears what stands there.
            self._which_one = (str(error),)
            raise ValidationError(str(error)) from error
        except ValueError as error:
            raise ValidationError(str(error)) from error

    def span(self) -> tuple[datetime, datetime]:
        """From when to when it happened: equal for an instant."""
        if self.when.data in AGO:
            moment = self.now - timedelta(minutes=AGO[self.when.data])
            return moment, moment
        if self.when.data == "at":
            moment = self._moment(self.at)
            return moment, moment
        earliest, latest = self._moment(self.earliest), self._moment(self.latest)
        if latest < earliest:
            raise ValueError("The end is before the beginning.")
        return earliest, latest

    def _moment(self, field: ClockField) -> datetime:
        text = str(field.data or "")
        moment = moment_from_local(text, self.zone, str(self.fold.data or ""))
        exact = self.exact.get(text, moment)
        return exact if timedelta() <= exact - moment < timedelta(minutes=1) else moment

    def fact(self, about: tuple[str, str], by: str | None, changes: Mapping[str, str] | None = None) -> Fact:
        """The entry, once it is valid; BadValues where it can't be kept all the same. changes: taken in place of what
        was typed."""
        return written(
            self.kind.name,
            {**self.typed(), **(changes or {})},
            about,
            self.span(),
            entry_id=self.id.data,
            values=None if changes else self.values,
            **self.told(by, "place", "instrument", "person", "method", "note", "supersedes_id"),
        )

    def told(self, by: str | None, *names: str) -> dict[str, Any]:
        """What an entry of this form says of who wrote it, when and how sure, and in the fields of these names."""
        said = {name: self._fields[name].data for name in names if name in self._fields and self._fields[name].data}
        clock = "now" if self.when.data in AGO else "typed"
        return {"clock": clock, "written_at": self.now, "by": by, "quality": self.quality.data, **said}

    def body(self) -> dict[str, str]:
        """What was sent, for telling a repeat from another entry: a repeat comes later but says the same."""
        sent = {name: str(field.data or "") for name, field in self._fields.items() if name != "photo"}
        return {"kind": self.kind.name, **sent}


@lru_cache(maxsize=256)
def kind_class(kind_name: str, system: str) -> type[KindForm]:
    """The form of a kind's own fields, for a reader of this system of units."""
    return type(f"{_class_name(kind_name)}Fields", (KindForm,), _kind_fields(kind_name, system))


@lru_cache(maxsize=256)
def form_class(kind_name: str, system: str) -> type[EntryForm]:
    """The whole form of a kind, for a reader of this system of units."""
    return type(f"{_class_name(kind_name)}Form", (EntryForm,), _kind_fields(kind_name, system))


def _class_name(kind_name: str) -> str:
    return kind_name.title().replace("_", "")


def _kind_fields(kind_name: str, system: str) -> dict[str, Any]:
    kind = KINDS[kind_name]
    shared = {name: spec.unit_of for name, spec in kind.fields.items() if isinstance(spec, Quantity) and spec.unit_of}
    fields: dict[str, Any] = {"kind": kind, "unit_shared": shared}
    for name, spec in kind.fields.items():
        fields |= fields_for(name, spec, kind_name, system)
    if kind.methods:
        usual = kind.methods[0][0] if kind.has_usual_method else None
        fields["method"] = RadioField("How", [Optional()], kind.methods, default=usual)
    return fields


def only_for_malt(form: KindForm) -> None:
    """Of the ways to test moisture leave those that are for malt."""
    method = form._fields["method"]
    method.choices = [choice for choice in form.kind.methods if choice[0] in MALT_MOISTURE_METHODS]
    if method.data not in MALT_MOISTURE_METHODS:
        method.data = None


def unscoped(sent: MultiDict[str, str], kind_name: str) -> MultiDict[str, str]:
    """What the tub page sent, of this kind and common to all, under the names that the form of the kind knows."""
    prefix = f"{kind_name}-"
    common = {"id", "supersedes_id", "insist", *COMMON}
    pairs = [
        (key.removeprefix(prefix), value)
        for key, value in sent.items(multi=True)
        if key in common or key.startswith(prefix)
    ]
    return MultiDict(pairs)


def entry_form(
    kind_name: str, formdata: Any = None, *, system: str, zone: ZoneInfo, now: datetime, **defaults: Any
) -> EntryForm:
    """A form of this kind: blank with its defaults, or filled with what was sent."""
    form = form_class(kind_name, system)(formdata, data=defaults)
    form.zone, form.now = zone, now
    return form
