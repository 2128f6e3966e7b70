"""Another unit, or a slip? Asked about the weight and the moisture of a lot before it is taken in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import values_from_typed
from app.judgement.slips.questions import Question, questions
from app.web.lots.forms import WEIGHTS, NewLotForm
from app.web.request.insisted import chosen_of, digest_of

FIELDS: Mapping[str, str] = {
    "value": "moisture",
    "value_unit": "moisture_unit",
    "net_unit": "gross_unit",
    "tare_unit": "gross_unit",
}
"""How the fields of the facts are called on the form, where they have another name there."""


def asked_about(form: NewLotForm) -> str:
    """Names the values that somebody is asked about: an answer holds for these alone."""
    return digest_of({str(entry["id"]): entry["typed"] for entry in form.entries()})


def unsettled(form: NewLotForm) -> list[Question]:
    """What is still to be asked of a valid form, once the answer that came with it was heard."""
    asked, chosen = _asked(form), chosen_of(form.insist.data, asked_about(form))
    form.insist.data = ""
    if chosen == "1":
        form.insisted = frozenset(entry_id for entry_id, _ in asked)
        return []
    offered = {f"alternative{place}": question.alternative for place, (_, question) in enumerate(asked)}
    if offered.get(chosen):
        for name, text in offered[chosen].items():
            form[name].data = text
        return unsettled(form)
    return [question for _, question in asked]


def _asked(form: NewLotForm) -> list[tuple[str, Question]]:
    """Each question with the id of the entry that it is about."""
    found = []
    for entry in form.entries():
        values = values_from_typed(KINDS[entry["kind"]], entry["typed"], entry.get("quality", "measured"))
        about = questions(entry["kind"], values, _with_units(entry["typed"]), None, None, form.received_at())
        found += [(str(entry["id"]), _on_the_form(question)) for question in about]
    return found


def _with_units(typed: Mapping[str, Any]) -> dict[str, Any]:
    """The three weights share one unit."""
    unit = typed.get("gross_unit", "")
    return {f"{name}_unit": unit for name in WEIGHTS} | dict(typed)


def _on_the_form(question: Question) -> Question:
    renamed = {FIELDS.get(name, name): text for name, text in question.alternative.items()}
    return replace(question, alternative=renamed, field=FIELDS.get(question.field, question.field))
