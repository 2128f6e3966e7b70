"""Another unit, or a slip? Asked about the weight and the moisture of a lot before it is taken in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from app.judgement.facts.fields import BadValues
from app.judgement.facts.shapes import Fact
from app.judgement.slips.questions import INSISTED, Question, questions
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
    return digest_of({str(entry["entry_id"]): entry["typed"] for entry, _ in form.read})


def settled(form: NewLotForm, lot_id: str, by: str | None) -> tuple[list[Fact], list[Question]]:
    """The facts of a valid form, and what is still to be asked of them, once the answer that came with it was heard."""
    facts = form.facts(lot_id, by)
    asked, chosen = _asked(facts), chosen_of(form.insist.data, asked_about(form))
    form.insist.data = ""
    if chosen == "1":
        meant = {entry_id for entry_id, _ in asked}
        return [replace(fact, typed={**fact.typed, INSISTED: "1"}) if fact.id in meant else fact for fact in facts], []
    offered = {f"alternative{place}": question.alternative for place, (_, question) in enumerate(asked)}
    if offered.get(chosen):
        for name, text in offered[chosen].items():
            form[name].data = text
        wrong = form.read_facts()
        if wrong:
            raise BadValues(wrong)
        return settled(form, lot_id, by)
    return facts, [question for _, question in asked]


def _asked(facts: Iterable[Fact]) -> list[tuple[str, Question]]:
    """Each question with the id of the entry that it is about."""
    return [
        (fact.id, _on_the_form(question))
        for fact in facts
        for question in questions(replace(fact, typed=_with_units(fact.typed)), None, None, fact.at)
    ]


def _with_units(typed: Mapping[str, Any]) -> dict[str, Any]:
    """The three weights share one unit."""
    unit = typed.get("gross_unit", "")
    return {f"{name}_unit": unit for name in WEIGHTS} | dict(typed)


def _on_the_form(question: Question) -> Question:
    renamed = {FIELDS.get(name, name): text for name, text in question.alternative.items()}
    return replace(question, alternative=renamed, field=FIELDS.get(question.field, question.field))
