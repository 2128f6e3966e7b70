"""What an analysis of the water means for a steep."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Analysis
from app.judgement.upkeep.water import RULES, gravest, water_figures
from app.judgement.wording import Words

AT = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)
WORDS = Words(zone=ZoneInfo("UTC"), now=AT)


def sheet(**typed: str) -> Analysis:
    record = {"id": "w", "kind": "water_analysis", "subject": {"type": "house", "id": "house"}, "at": AT.isoformat()}
    fact = fact_from_record(record | {"typed": typed})
    assert isinstance(fact, Analysis)
    return fact


def status(**typed: str) -> str:
    (figure,) = water_figures(sheet(**typed), WORDS)
    return figure.status


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        # 40 CFR 143.3, secondary levels: iron 0.3 mg/L, pH 6.5–8.5.
        ({"iron": "0.3"}, "fine"),
        ({"iron": "0.31"}, "caution"),
        ({"iron": "301", "iron_unit": "ug_l"}, "caution"),
        ({"ph": "6.5"}, "fine"),
        ({"ph": "6.4"}, "notice"),
        ({"ph": "8.5"}, "fine"),
        ({"ph": "8.6"}, "notice"),
        # Directive 98/83/EC, Annex I: nitrate 50 mg/L; 10 mg/L as nitrogen in the United States (second-hand).
        ({"nitrate": "44"}, "fine"),
        ({"nitrate": "10", "nitrate_unit": "mg_l_n"}, "fine"),
        ({"nitrate": "10.1", "nitrate_unit": "mg_l_n"}, "caution"),
        ({"nitrate": "50"}, "caution"),
        ({"nitrate": "50.1"}, "act"),
        # 4 mg/L: second-hand, COMAR 26.04.01.23; 0.5 mg/L is the house's own.
        ({"chlorine": "0.5"}, "fine"),
        ({"chlorine": "0.6"}, "notice"),
        ({"chlorine": "4.1"}, "caution"),
        ({"e_coli": "0"}, "fine"),
        ({"e_coli": "1"}, "act"),
        ({"hardness": "5"}, "none"),
        ({"hardness": "500"}, "none"),
    ],
)
def test_each_figure_is_held_against_what_is_known_of_drinking_water(typed: dict[str, str], expected: str) -> None:
    assert status(**typed) == expected


def test_water_that_is_not_for_drinking_is_not_steeped_in() -> None:
    for typed in ({"nitrate": "80"}, {"e_coli": "3"}):
        (figure,) = water_figures(sheet(**typed), WORDS)
        assert figure.meaning.startswith("Don’t steep in it")


def test_only_what_was_found_is_told_in_the_order_of_the_form() -> None:
    told = water_figures(sheet(e_coli="0", iron="0.1", ph="7"), WORDS)
    assert [figure.word for figure in told] == ["pH", "Iron", "E. coli in 100 mL"]


def test_the_gravest_comes_first_to_the_tongue() -> None:
    figure = gravest(water_figures(sheet(iron="2", e_coli="9", ph="5"), WORDS))
    assert figure is not None
    assert figure.key == "e_coli_100_ml"
    assert gravest([]) is None


def test_every_figure_has_a_rule_which_says_by_whose_word_it_is() -> None:
    assert {spec.target for spec in KINDS["water_analysis"].fields.values()} == {f"found.{key}" for key in RULES}
    for rule in RULES.values():
        assert "published" in rule.source or "memory" in rule.source


@pytest.mark.parametrize("key", [key for key, rule in RULES.items() if rule.above])
def test_a_bound_of_the_law_says_to_look_at_one_s_own(key: str) -> None:
    assert "your own law" in RULES[key].source
