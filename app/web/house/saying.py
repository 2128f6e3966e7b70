"""What the facts about the house say, in the reader's words; and what one that was just kept means."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from app.charts.hover import fact_words
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Action, Analysis, Fact, Reading, Remark, Result
from app.judgement.flags.limits import GASES
from app.judgement.upkeep.checks import CHECKS, check_words, is_off
from app.judgement.wording import Words
from app.store.house import HOUSE, ReadWith
from app.web.words.facts import Said
from app.web.words.figures import unbroken
from app.web.words.grave import air_answer, water_answer


def subject_words(fact: Fact) -> str:
    """The vessel or instrument by its name; the house needs none."""
    return "" if fact.subject == HOUSE else fact.subject.id


def value_words(fact: Fact, words: Words) -> str:
    """What a fact says beside its kind and what it is about."""
    if isinstance(fact, Action) and fact.kind == "calibrated":
        until = f", until {words.clock(fact.until_at)}" if fact.until_at else ""
        return f"{amount_words(fact, words)}{until}"
    if isinstance(fact, Action) and fact.kind == "cleaning_plan":
        return " ".join(each for each in (f"{plan_words(fact)}.", fact.what or "") if each)
    if isinstance(fact, Result) and fact.kind in CHECKS:
        return check_words(fact, words)
    if isinstance(fact, Remark):
        return fact.text or ""
    return unbroken(fact_words(fact, words.system)) if isinstance(fact, Reading) else fact_words(fact, words.system)


def amount_words(fact: Action, words: Words) -> str:
    """A correction: "−3.0 °C added", or that it reads right."""
    amount = fact.amount or 0.0
    if not amount:
        return "nothing added: it reads right"
    return f"{'+' if amount > 0 else ''}{unbroken(words.difference(amount))} added"


def plan_words(plan: Action) -> str:
    """How often a vessel is cleaned."""
    if plan.amount is None:
        return "after every batch"
    return "every day" if plan.amount == 1.0 else f"every {plan.amount:g} days"


def kept_words(fact: Fact, read_with: Iterable[ReadWith], words: Words, is_shut: Callable[[], bool]) -> Said:
    """What a fact that was just kept means. read_with: the readings of its instrument, of a calibration;
    is_shut: as air_words has it."""
    if isinstance(fact, Action) and fact.kind == "calibrated":
        return _calibration_meaning(fact, list(read_with), words)
    if isinstance(fact, Reading) and fact.kind in GASES:
        return air_answer(fact, words, is_shut)
    if isinstance(fact, Analysis):
        return water_answer(fact, words)
    if isinstance(fact, Result) and fact.kind in CHECKS:
        detail = "Mend or set it, or take another." if is_off(fact) else ""
        text = f"{fact.subject.id}: {check_words(fact, words)}"
        return Said("caution" if is_off(fact) else "fine", text, detail)
    name = subject_words(fact)
    return Said("none", f"{KINDS[fact.kind].word}{f': {name}' if name else ''}", value_words(fact, words))


def _calibration_meaning(fact: Action, read_with: list[ReadWith], words: Words) -> Said:
    name = fact.subject.id
    covered = [each for each in read_with if fact.at <= each.at and (fact.until_at is None or each.at <= fact.until_at)]
    batches = {each.subject.id for each in covered if each.subject.type == "batch"}
    until = f"until {words.clock(fact.until_at)}" if fact.until_at else "on"
    text = f"{name}: {amount_words(fact, words)} from {words.clock(fact.at)} {until}."
    if not read_with:
        return Said("caution", text, f"No temperature names {name} yet: is that its name in the readings?")
    if not covered:
        return Said("fine", text, "No reading lies in that time yet; those to come will be seen so.")
    readings = "1 reading" if len(covered) == 1 else f"{len(covered)} readings"
    of = "1 batch is" if len(batches) == 1 else f"{len(batches)} batches are"
    return Said("fine", text, f"{readings} of {of} judged so from now on. None was rewritten.")
