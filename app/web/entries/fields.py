"""The form fields of what a kind of entry is typed in. They keep it as it is: the form reads them all at once."""

from __future__ import annotations

from typing import Any

from wtforms import StringField, TextAreaField

from app.judgement.facts.fields import Choice, Count, FieldSpec, Lengths, Moment, Quantity, Reference, Text
from app.science import units
from app.web.request.choice_fields import RadioField, SelectField

SMALL_MASSES = frozenset(
    {"test_bag_start", "test_bag", "skimmings", "loss", "kernel_weight", "inspection", "extract_mash", "scale_checked"}
)
SIGNLESS = {"fraction": "of 1", "ph": "pH", "number": ""}
SMALL_UNITS = {"metric": "g", "us": "oz"}


def fields_for(name: str, spec: FieldSpec, kind_name: str, system: str) -> dict[str, Any]:
    """The form fields of one field of a kind; for a quantity also that of its unit."""
    if isinstance(spec, Quantity):
        units_too = {} if spec.unit_of or not has_unit(spec) else {f"{name}_unit": unit_field(spec, kind_name, system)}
        return {name: StringField(spec.word, description=spec.help), **units_too}
    if isinstance(spec, Choice):
        choices = list(spec.options)
        return {name: RadioField(spec.word, choices=choices, validate_choice=False)}
    field = TextAreaField if widget_of(spec) == "long" else StringField
    return {name: field(spec.word, description=spec.help)}


def has_unit(spec: FieldSpec) -> bool:
    """Whether there is a unit to choose beside the number."""
    return isinstance(spec, Quantity) and spec.dimension != "number"


def unit_choices(dimension: str) -> list[tuple[str, str]]:
    """The units of a dimension by key, each with its sign, or with a word where it has none."""
    return [(unit.key, unit.symbol or SIGNLESS[unit.key]) for unit in units.units_of(dimension)]


def unit_field(spec: Quantity, kind_name: str, system: str) -> SelectField:
    """The units that a quantity may be typed in, the person's own chosen."""
    choices = unit_choices(spec.dimension)
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
