"""What the tub page shows: one document with every entry of a batch, opened at what comes next."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from flask import get_template_attribute
from markupsafe import Markup

from app import ports
from app.judgement.cautions import DEFERS, TREATED_SEED, Caution, for_stage
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Answer as FlagAnswer
from app.judgement.facts.shapes import Fact, Weighing, Withdrawal
from app.judgement.history.guard import UNJUDGED
from app.judgement.history.history import History
from app.judgement.history.stages import Stage
from app.judgement.malt.dryness import is_malt
from app.judgement.meaning.meaning import Meaning, meaning
from app.judgement.wording import Words
from app.web.entries.forms import EntryForm, KindForm, entry_form, kind_class, only_for_malt
from app.web.entries.keeping import Answer
from app.web.entries.times import local_text
from app.web.request.moment import zone
from app.web.request.reader import reader
from app.web.summary.glance import glance_at
from app.web.summary.kiln import kiln_view
from app.web.tub.advice import advice_beside
from app.web.tub.tiles import tiles_for, tub_groups, tub_kinds, value_words
from app.web.tub.weights import mass_units, own_units, tare_typed
from app.web.words.kept import said_if_it_can_be

SHOWN_LAST = 6
KEPT_ONLY = Meaning("none", f"Kept. The batch {UNJUDGED} until one of its entries is corrected.")
_BETWEEN_TAGS = re.compile(r">\s*\n\s*<")


@dataclass(frozen=True)
class KeptView:
    """What was just kept, what it means, and whether it may be undone here."""

    fact: Fact
    meaning: Meaning
    is_new: bool
    can_undo: bool
    undo_id: str


def tub_context(history: History, words: Words, people: list[Any], asked: Answer | None = None) -> dict[str, Any]:
    """Everything that the tub's template asks for; asked: what came of a form that was sent and not kept."""
    glance = glance_at(history, words)
    stage = glance.stages[-1] if glance.stages else None
    cautions = stage_cautions(history, stage.name if stage else "charged")
    outside = history.programme is not None and not history.programme.husked
    return {
        "glance": glance,
        "stage": stage,
        "kiln": None if glance.must_leave else kiln_view(history, words),
        "cautions": () if glance.must_leave else cautions,
        "is_new_stage": is_new_stage(history, glance.stages),
        "tiles": tiles_for(history, stage.name if stage else "charged", glance.steps, words),
        "groups": tub_groups(history),
        "fields": tub_fields(
            history, words, outside, stage.name if stage else "charged", asked.form if asked else None
        ),
        "common": asked.form if asked else common_form(words),
        "open_kind": asked.form.kind.name if asked else None,
        "asked": asked,
        "abouts": advice_beside(cautions),
        "defers": DEFERS,
        "last_facts": last_facts(history, words),
        "instruments": sorted({fact.instrument for fact in history.facts if fact.instrument}),
        "people": people,
        "zone": zone().key,
    }


def stage_cautions(history: History, stage: str) -> tuple[Caution, ...]:
    """What to keep in mind from the start of this stage on. Whether it is food is asked until it is declared."""
    found = for_stage(stage, history.programme.purpose if history.programme else "", history.species)
    is_declared = bool(history.lots) and not history.undeclared_lots
    return tuple(each for each in found if not (is_declared and each is TREATED_SEED))


def is_new_stage(history: History, stages: Sequence[Stage]) -> bool:
    """Whether nothing was recorded yet of the first stage of its name in this batch."""
    if not stages:
        return True
    *earlier, stage = stages
    is_first = all(each.name != stage.name for each in earlier)
    return is_first and not any(fact.at > stage.starts_at for fact in history.facts)


def tub_fields(
    history: History, words: Words, outside: bool, stage: str, filled: EntryForm | None
) -> dict[str, Markup]:
    """The fields of every kind: blank with what was used last, or those of the form that was sent, as it was sent."""
    drawn, writer = {}, reader().name
    for name in dict.fromkeys([*tub_kinds(history), *([filled.kind.name] if filled is not None else [])]):
        is_of_malt = name == "moisture_test" and is_malt(history)
        if filled is not None and filled.kind.name == name:
            filled.stage = stage
            drawn[name] = _drawn(filled.scoped(), outside)
        else:
            last = tuple(sorted(used_last(history, name, words.system, writer).items()))
            asked_at = stage if name == "inspection" else ""
            drawn[name] = _blank_fields(name, words.system, outside, last, is_of_malt, asked_at)
    return drawn


# To draw the fields of all kinds takes longer than to judge the batch, and they hardly ever differ.
@lru_cache(maxsize=1024)
def _blank_fields(
    name: str, system: str, outside: bool, defaults: tuple[tuple[str, str], ...], is_of_malt: bool, stage: str
) -> Markup:
    form = kind_class(name, system)(data=dict(defaults))
    form.stage = stage
    if is_of_malt:
        only_for_malt(form)
    return _drawn(form.scoped(), outside)


def _drawn(form: KindForm, outside: bool) -> Markup:
    return Markup(closed_up(str(get_template_attribute("entries/_fields.html", "kind_fields")(form, "", outside))))


def closed_up(html: str) -> str:
    """Without the line breaks between tags, which show nowhere and would be sent each time."""
    return _BETWEEN_TAGS.sub("><", html)


def common_form(words: Words) -> EntryForm:
    """The fields that every entry has, blank: any kind's form has them."""
    assert words.now is not None
    clock = local_text(words.now, zone())
    blank = {"id": ports.new_id(), "at": clock, "earliest": clock, "latest": clock}
    return entry_form("turned", system=words.system, zone=zone(), now=words.now, **blank)


def used_last(history: History, kind: str, system: str, writer: str | None) -> dict[str, str]:
    """What stays the same from one entry of a kind to the next: vessel, its tare, the way of doing it; and the units of
    this reader's system, or those that their own last instrument shows.
    """
    facts = history.of_kind(kind)
    last = facts[-1] if facts else None
    mine = next((fact for fact in reversed(facts) if fact.person == writer), None)
    kept = {} if mine is None else own_units(mine, system)
    if last is not None and last.method:
        kept["method"] = last.method
    weighings: list[Weighing] = []
    if "vessel" in KINDS[kind].fields:
        filled: tuple[Fact, ...] = history.of_kind(kind, "test_bag_start") if kind == "test_bag" else facts
        weighings = [fact for fact in filled if isinstance(fact, Weighing) and fact.vessel]
        kept["vessel"] = str(weighings[-1].vessel) if weighings else {"tray": "tray 1"}.get(kind, "bag 1")
    kept |= mass_units(history, kind, mine or (weighings[-1] if weighings else None), system)
    tared = [each for each in weighings if each.vessel == kept["vessel"] and each.typed.get("tare")]
    if tared:
        kept["tare"] = tare_typed(tared[-1], kept.get("gross_unit", ""))
    if kind in ("chit_count", "float_count", "squeeze_test"):
        kept.setdefault("looked_at", last.typed.get("looked_at", "100") if last else "100")
    return kept


def kept_view(history: History, fact: Fact, words: Words, is_new: bool) -> KeptView:
    assert words.now is not None
    stands = not isinstance(fact, Withdrawal) and fact.id in {chain.facts[-1].id for chain in history.chains}
    now, said = words.now, Meaning("none", "This entry was struck out.")
    if stands:
        said = KEPT_ONLY if history.is_set_aside else said_if_it_can_be(lambda: meaning(history, fact, now, words))
    can_undo = stands and not isinstance(fact, FlagAnswer)
    return KeptView(fact, said, is_new, can_undo, ports.new_id())


def last_facts(history: History, words: Words) -> list[dict[str, Any]]:
    """The facts said last, the newest first."""
    facts = [fact for fact in history.facts if not isinstance(fact, FlagAnswer)][-SHOWN_LAST:]
    return [
        {"id": fact.id, "word": KINDS[fact.kind].word, "value": value_words(fact, words), "at": fact.at}
        for fact in reversed(facts)
    ]
