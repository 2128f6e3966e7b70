"""The registry of kinds, walked: each kind has its dataclass, its table, its form, its words, and an example."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from flask import Flask, get_template_attribute, render_template_string

from app.judgement.facts.fields import Quantity, Reference
from app.judgement.facts.kind_parts import ENTRY, MOISTURE_POINT, TEMPERATURE_CURVE, UNMARKED
from app.judgement.facts.kinds import KINDS, RANK, STAGE_KINDS
from app.judgement.facts.records import fact_from_record, record_from_fact
from app.judgement.facts.shapes import SHAPES, Fact
from app.judgement.history.history import order
from app.judgement.history.stages import WORDS
from app.judgement.malt import tests as malt_tests
from app.judgement.meaning.meaning import TELLERS, meaning
from app.judgement.slips import plausible
from app.science.handbook import methods
from app.store.facts import SHAPE_TABLES
from app.web.entries.fields import has_unit, widget_of
from app.web.entries.forms import EntryForm, entry_form, form_class
from app.web.tub.advice import ADVICE
from app.web.tub.tiles import BY_STAGE, GROUPS, NEVER_IN_A_ROAST, OF_A_ROAST, ROAST_ALONE, tub_groups, tub_kinds
from app.web.words.method_links import SECTIONS
from tests.examples import EXAMPLES
from tests.judgement.story import Story
from tests.pages import forms_of

NOW = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Dublin")
FORM_TEMPLATE = """
{% from "entries/_form.html" import entry_form with context %}
{{ entry_form(form, "/here", "scope") }}
"""


def blank(kind: str, system: str = "metric") -> EntryForm:
    return entry_form(kind, system=system, zone=ZONE, now=NOW, id="new-1")


def example(kind: str) -> Fact:
    subject = {"type": sorted(KINDS[kind].subjects)[0], "id": "batch-1"}
    typed = dict(EXAMPLES[kind]) or ({"programme": "f" * 64} if kind == "programme_change" else {})
    return fact_from_record({"id": "new-1", "kind": kind, "subject": subject, "at": NOW.isoformat(), "typed": typed})


def test_every_kind_has_an_example_and_no_example_is_of_nothing() -> None:
    assert set(EXAMPLES) == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_has_a_dataclass_whose_attributes_its_fields_fill(kind: str) -> None:
    shape = KINDS[kind].shape
    assert is_dataclass(shape)
    assert SHAPES[KINDS[kind].shape_name] is shape
    known = {each.name for each in fields(shape)} - {each.name for each in fields(Fact)}
    assert {spec.target.partition(".")[0] for spec in KINDS[kind].fields.values()} <= known


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_has_a_table_and_a_rank(kind: str) -> None:
    assert SHAPE_TABLES[KINDS[kind].shape_name].name == f"fact_{KINDS[kind].shape_name}"
    assert list(RANK).index(kind) == RANK[kind]
    assert order(example(kind))[1] == RANK[kind]


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_has_words_of_its_own(kind: str) -> None:
    words = [each.word for each in KINDS.values()]
    assert KINDS[kind].word.strip()
    assert words.count(KINDS[kind].word) == 1
    assert all(spec.word.strip() for spec in KINDS[kind].fields.values())
    assert KINDS[kind].stage is None or KINDS[kind].stage in WORDS


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_has_a_form_that_draws_every_one_of_its_fields(app: Flask, kind: str, system: str) -> None:
    form = blank(kind, system)
    assert type(form) is form_class(kind, system)
    with app.test_request_context():
        (drawn,) = forms_of(render_template_string(FORM_TEMPLATE, form=form))
    wanted = set(KINDS[kind].fields) | ({"method"} if KINDS[kind].methods else set())
    assert wanted <= drawn.values.keys() | drawn.choices.keys()
    for name, spec in KINDS[kind].fields.items():
        assert widget_of(spec) in {"number", "count", "choice", "text", "long", "moment", "fixed"}
        if isinstance(spec, Quantity) and has_unit(spec):
            assert f"{spec.unit_of or name}_unit" in drawn.choices


@pytest.mark.parametrize("kind", KINDS)
def test_a_form_filled_with_the_example_says_what_the_example_says(kind: str) -> None:
    told = example(kind)
    sent = {**EXAMPLES[kind], **({"programme": "f" * 64} if kind == "programme_change" else {})}
    form = entry_form(kind, None, system="us", zone=ZONE, now=NOW, id="new-1", **sent)
    assert form.validate(), form.errors
    read = form.fact(told.subject, None)
    assert read.kind == kind
    own = {each.name for each in fields(told)} - {each.name for each in fields(Fact)}
    assert {name: getattr(read, name) for name in own} == {name: getattr(told, name) for name in own}


@pytest.mark.parametrize("kind", KINDS)
def test_an_example_is_told_and_read_again_as_the_same_fact(kind: str) -> None:
    told = example(kind)
    assert fact_from_record(record_from_fact(told)) == told


@pytest.mark.parametrize("kind", [kind for kind in KINDS if "batch" in KINDS[kind].subjects])
def test_a_kind_says_what_it_means(kind: str) -> None:
    story = Story(programme="barley_pale")
    story.charge(25.0, 0.13)
    history = story.history()
    said = meaning(history, example(kind), NOW)
    assert said.status in ("none", "fine", "notice", "caution", "act")
    assert said.text.strip()


def test_parts_name_the_things_that_grain_can_go_between() -> None:
    for kind in KINDS.values():
        ends = [spec for spec in kind.fields.values() if isinstance(spec, Reference)]
        assert len(ends) == (2 if kind.shape_name == "part" else 0)
        assert all(spec.types <= {"lot", "batch", "pack", "house"} for spec in ends)


def test_the_tub_knows_every_kind_that_it_offers_and_offers_it_once() -> None:
    assert {kind.tub_group for kind in KINDS.values()} == {"", *GROUPS}
    assert len(tub_kinds()) == len(set(tub_kinds()))
    assert {kind for kinds in BY_STAGE.values() for kind in kinds} <= set(tub_kinds()) - ROAST_ALONE
    assert {kind for kinds in OF_A_ROAST.values() for kind in kinds} <= set(tub_kinds()) - NEVER_IN_A_ROAST
    assert set(tub_kinds()) >= ROAST_ALONE | NEVER_IN_A_ROAST
    assert set(OF_A_ROAST) < set(WORDS)
    assert set(BY_STAGE) == set(WORDS)
    assert all(title and kinds for title, kinds in tub_groups())
    assert set(ADVICE) <= set(tub_kinds())


def test_what_a_kind_names_is_there_and_nothing_is_there_that_no_kind_names() -> None:
    kinds = KINDS.values()
    assert {kind.teller for kind in kinds} == {"", *TELLERS, *malt_tests.TELLERS}
    assert not TELLERS.keys() & malt_tests.TELLERS.keys()
    assert {kind.plausible for kind in kinds if isinstance(kind.plausible, str)} == set(plausible.RULES)
    assert {kind.moisture_as for kind in kinds} <= {"", *WORDS}
    assert {kind.mark for kind in kinds} == {TEMPERATURE_CURVE, MOISTURE_POINT, ENTRY, UNMARKED}
    assert {kind.formula for kind in kinds} <= {"", *methods(), *SECTIONS}


def test_every_kind_about_a_batch_alone_can_be_logged_at_the_tub_or_has_a_page_of_its_own() -> None:
    elsewhere = {"programme_change", "flag_answer"}
    about_batches = {name for name, kind in KINDS.items() if kind.subjects == {"batch"}}
    assert about_batches - elsewhere <= set(tub_kinds())


def test_every_stage_is_begun_by_some_kind() -> None:
    assert set(STAGE_KINDS.values()) == set(WORDS)


def test_the_macros_of_a_form_are_there(app: Flask) -> None:
    with app.app_context():
        for template, macro in (("entries/_form.html", "entry_form"), ("entries/_fields.html", "kind_fields")):
            assert callable(get_template_attribute(template, macro))
