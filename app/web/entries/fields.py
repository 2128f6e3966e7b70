"""WTForms fields that read what was typed by the same specifications as sync and import."""

from __future__ import annotations

from typing import Any

from wtforms import StringField, TextAreaField, ValidationError

from app.judgement.facts.fields import Choice, Count, FieldSpec, Lengths, Moment, Quantity, Reference, Text
from app.judgement.facts.kind_parts import VALUELESS_QUALITIES
from app.science import units
from app.web.request.choice_fields import RadioField, SelectField

SMALL_MASSES = frozenset(
    {"test_bag_start", "test_bag", "skimmings", "loss", "kernel_weight", "inspection", "extract_mash"}
)
SMALL_UNITS = {"metric": "g", "us": "oz"}


class _Typed:
    """A field that is checked by its specification. What was typed is kept as it is."""

    spec: FieldSpec

    def pre_validate(self, form: Any) -> None:
        quality = form.data.get("quality") or "measured"
        if quality in VALUELESS_QUALITIES and not str(self.data or "").strip():  # type: ignore[attr-defined]  # mixed into WTForms fields
            return
        try:
            self.spec.read(form.typed(), self.short_name)  # type: ignore[attr-defined]  # mixed into WTForms fields
        except ValueError as error:
            raise ValidationError(str(error)) from error


class TypedString(_Typed, StringField):
    def __init__(self, spec: FieldSpec, **options: Any) -> None:
        super().__init__(spec.word, description=spec.help, **options)
        self.spec = spec


class TypedText(_Typed, TextAreaField):
    def __init__(self, spec: FieldSpec, **options: Any) -> None:
        super().__init__(spec.word, description=spec.help, **options)
        self.spec = spec


class TypedChoice(_Typed, RadioField):
    def __init__(self, spec: Choice, **options: Any) -> None:
        super().__init__(spec.word, choices=list(spec.options), validate_choice=False, **options)
        self.spec = spec


def fields_for(name: str, spec: FieldSpec, kind_name: str, system: str) -> dict[str, Any]:
    """The form fields of one field of a kind; for a quantity also that of its unit."""
    if isinstance(spec, Quantity):
        units_too = {} if spec.unit_of or not has_unit(spec) else {f"{name}_unit": unit_field(spec, kind_name, system)}
        return {name: TypedString(spec), **units_too}
    if isinstance(spec, Choice):
        return {name: TypedChoice(spec)}
    if isinstance(spec, Lengths) or (isinstance(spec, Text) and spec.max_length > 300):
        return {name: TypedText(spec)}
    return {name: TypedString(spec)}


def has_unit(spec: FieldSpec) -> bool:
    """Whether there is a unit to choose beside the number."""
    return isinstance(spec, Quantity) and spec.dimension != "number"


def unit_field(spec: Quantity, kind_name: str, system: str) -> SelectField:
    """The units that a quantity may be typed in, the person's own chosen."""
    choices = [(unit.key, unit.symbol or "–") for unit in units.units_of(spec.dimension)]
    default = units.DEFAULT_UNITS[system][spec.dimension]
    if spec.dimension == "mass" and kind_name in SMALL_MASSES:
        default = SMALL_UNITS[system]
    return SelectField("Unit", choices=choices, default=default)


def widget_of(spec: FieldSpec) -> str:
    """Which macro draws the field: number, count, choice, text, long, moment; or fixed, where it is only sent along."""
    if isinstance(spec, Reference) or spec.target == "programme":
        return "fixed"
    if isinstance(spec, Quantity):
        return "number"
    if isinstance(spec, Count):
        return "count"
    if isinstance(spec, Choice):
        return "choice"
    if isinstance(spec, Moment):
        return "moment"
    if isinstance(spec, Lengths) or (isinstance(spec, Text) and spec.max_length > 300):
        return "long"
    return "text"
