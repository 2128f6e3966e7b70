"""The form of a working, read from the address: what was typed stays, and what is wrong is said at its field."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from werkzeug.datastructures import MultiDict
from wtforms import Form, StringField, TextAreaField

from app.judgement.facts.fields import Choice
from app.judgement.wording import Words
from app.science import units
from app.web.request.choice_fields import RadioField, SelectField
from app.web.workings.asking import Ask, Row
from app.web.workings.working import Given, Outcome, Working

LONG = 40


def form_of(working: Working, system: str, args: MultiDict[str, str] | None = None) -> Form:
    """The form with the numbers of the address, or with those that stand there at first."""
    fields: dict[str, Any] = {}
    for name, ask in working.asks.items():
        fields |= _fields(name, ask, system)
    filled = {name: ask.filled[system] for name, ask in working.asks.items()}
    made: Form = type("WorkingForm", (Form,), fields)(args, data=None if args else filled)
    return made


def _fields(name: str, ask: Ask, system: str) -> dict[str, Any]:
    spec = ask.spec
    if isinstance(spec, Choice):
        about = {"description": spec.help, "default": ask.filled[system], "validate_choice": False}
        return {name: RadioField(spec.word, choices=spec.options, **about)}
    is_long = isinstance(spec, Row) and len(ask.filled[system]) > LONG
    field = (TextAreaField if is_long else StringField)(spec.word, description=spec.help)
    if not ask.units:
        return {name: field}
    choices = [(unit.key, unit.symbol) for unit in units.units_of(ask.dimension)]
    return {name: field, f"{name}_unit": SelectField("Unit", choices=choices, default=ask.units[system])}


def is_asked(working: Working, args: Mapping[str, str]) -> bool:
    """Whether the address holds any number of this working."""
    return any(name in args for name in working.asks)


def answer(working: Working, form: Form, words: Words) -> Outcome | None:
    """What comes out; None where something typed can't be taken, which the form then says."""
    typed = {field.name: str(field.data or "") for field in form}
    values: dict[str, Any] = {}
    for name, ask in working.asks.items():
        try:
            values[name] = ask.spec.read(_with_unit(name, ask, typed), name)
        except ValueError as error:
            form[name].errors = [str(error)]
    if form.errors:
        return None
    try:
        return working.work(Given(working.asks, typed, values, words))
    except (ValueError, ArithmeticError) as error:
        form.form_errors = [_in_words(error)]
        return None


def _in_words(error: Exception) -> str:
    return str(error) if isinstance(error, ValueError) else "These numbers give no answer: look for a mistyped one."


def _with_unit(name: str, ask: Ask, typed: Mapping[str, str]) -> Mapping[str, str]:
    """A fraction that has no unit to be chosen is typed in per cent."""
    is_percent = ask.dimension == "fraction" and not ask.units
    return {**typed, f"{name}_unit": "percent"} if is_percent else typed
