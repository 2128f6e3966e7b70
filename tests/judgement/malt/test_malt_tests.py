"""Tests of the malt: their figures against published ones, their words, and what stays unknown."""

from __future__ import annotations

from typing import Any

import pytest

from app.judgement.facts.fields import BadValues
from app.judgement.facts.kinds import KINDS, MALT_TESTS
from app.judgement.facts.records import fact_from_record, values_from_typed
from app.judgement.facts.shapes import Result
from app.judgement.malt.tests import conversion_of, extract_of, malt_liquefaction, moisture_ways, told
from app.judgement.meaning.meaning import meaning
from app.judgement.measures.batch import measures
from app.judgement.wording import METRIC, Words
from tests.judgement.flag_story import Story, moment

MASH = {"malt": "50", "malt_unit": "g", "water": "250", "moisture": "5", "value": "14.0", "value_unit": "plato"}


def a_test(kind: str, typed: dict[str, str], **more: Any) -> Result:
    record = {"id": "t", "kind": kind, "subject": {"type": "batch", "id": "b1"}, "at": moment(200).isoformat()}
    fact = fact_from_record(record | {"typed": typed} | more)
    assert isinstance(fact, Result)
    return fact


def known(story: Story, hour: float = 400.0) -> dict[str, Any]:
    return {each.key: each for each in measures(story.history(), moment(hour))}


def test_a_small_mash_gives_the_extract_of_the_formula() -> None:
    # E = P(M + 100·water/malt)/(100 − P): 50 g in 250 g, 14.0 °P, 5 % is 82.2 as is and 86.5 dry (EBC 4.5.1 identity).
    found = extract_of(a_test("extract_mash", MASH))
    assert 100 * found.as_is == pytest.approx(82.2, abs=0.05)
    assert 100 * found.dry == pytest.approx(86.5, abs=0.05)


def test_a_congress_mash_is_the_same_formula_in_another_ratio() -> None:
    # P 8.60, M 4.5, 50 g made up to 450 g: 75.70 as is, 79.26 dry (EBC 4.5.1; ASBC Malt-4).
    found = extract_of(a_test("extract_mash", MASH | {"value": "8.60", "water": "400", "moisture": "4.5"}))
    assert 100 * found.as_is == pytest.approx(75.70, abs=0.005)
    assert 100 * found.dry == pytest.approx(79.26, abs=0.005)


def test_the_uncertainty_of_a_mash_is_that_of_a_monte_carlo() -> None:
    import numpy as np

    from app.science.malt_analysis import extract_dry_percent

    rng = np.random.default_rng(3)
    drawn = [
        extract_dry_percent(plato, moisture, 50.0, 250.0)
        for plato, moisture in zip(rng.normal(12.5, 0.1, 4000), rng.normal(5.0, 0.3, 4000), strict=True)
    ]
    found = extract_of(a_test("extract_mash", MASH | {"value": "12.5"}))
    assert 100 * found.dry_sd == pytest.approx(float(np.std(drawn)), rel=0.05)


def test_specific_gravity_is_read_as_plato() -> None:
    # 1.040 is 9.994 °P (ASBC, from memory).
    fact = a_test("extract_mash", MASH | {"value": "1.040", "value_unit": "sg"})
    assert fact.value == pytest.approx(9.994, abs=0.001)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"value": "20"}, "value"),  # more extract than dry matter
        ({"value": "12", "value_unit": "sg"}, "value"),
        ({"malt": "0"}, "malt"),
        ({"water": "0"}, "malt"),
        ({"moisture": "60"}, "moisture"),
        ({"moisture": ""}, "moisture"),
        ({"malt": ""}, "malt"),
    ],
)
def test_an_impossible_mash_is_refused_at_its_field(changes: dict[str, str], field: str) -> None:
    with pytest.raises(BadValues) as caught:
        values_from_typed(KINDS["extract_mash"], MASH | changes)
    assert set(caught.value.fields) == {field}


def test_a_falling_number_below_the_instruments_floor_is_refused() -> None:
    with pytest.raises(BadValues):
        values_from_typed(KINDS["falling_number"], {"value": "61"})
    assert values_from_typed(KINDS["falling_number"], {"value": "62"}) == {"value": 62.0}


def test_the_malt_acts_by_what_a_trial_blend_told() -> None:
    # LN = 6000/(FN − 50) mixes linearly: flour of 400 s has LN 17.143; 0.2 % of malt brings 300 s, LN 24, so that the
    # malt's own is 3446.
    blend = {"value": "300", "share": "0.2", "share_unit": "percent", "flour": "400"}
    assert malt_liquefaction(a_test("falling_number", blend)) == pytest.approx(
        17.142857 + (24 - 17.142857) / 0.002, rel=1e-6
    )
    assert malt_liquefaction(a_test("falling_number", {"value": "300"})) is None
    assert malt_liquefaction(a_test("falling_number", blend | {"value": "450"})) is None


def test_malt_alone_at_the_floor_is_told_to_be_blended() -> None:
    said = told(a_test("falling_number", {"value": "62"}), METRIC)
    assert said is not None
    assert said.status == "notice"
    assert "blend" in said.detail


def test_conversion_is_told_against_the_reference_and_is_no_diastatic_power() -> None:
    fact = a_test("conversion_test", {"value": "20", "reference": "10"})
    assert conversion_of(fact) == pytest.approx(0.5)
    said = told(fact, METRIC)
    assert said is not None
    assert "no diastatic power" in said.detail


def test_a_diastatic_power_is_told_in_both_units_whichever_was_typed() -> None:
    # °WK = 3.5·°L − 16: 250 °WK is 76 °L; needing 35 °L (common practice) leaves 1 − 35/76 for unmalted grain.
    for typed in ({"value": "250", "value_unit": "wk"}, {"value": "76", "value_unit": "lintner"}):
        said = told(a_test("diastatic_power", typed), METRIC)
        assert said is not None
        assert said.text == "Diastatic power 250 °WK (76 °L), measured"
        assert "54 %" in said.detail
    us = told(a_test("diastatic_power", {"value": "250", "value_unit": "wk"}), Words("us"))
    assert us is not None
    assert us.text == "Diastatic power 76 °L (250 °WK), measured"


def test_a_malt_without_power_to_spare_is_a_notice() -> None:
    said = told(a_test("diastatic_power", {"value": "35", "value_unit": "lintner"}), METRIC)
    assert said is not None
    assert said.status == "notice"


def test_colour_is_told_in_ebc_and_lovibond() -> None:
    # 10 °L is 25.2 EBC: EBC = 1.97·SRM (EBC, ASBC), SRM = 1.3546·°L − 0.76 (from memory).
    said = told(a_test("malt_colour", {"value": "10", "value_unit": "lovibond"}), METRIC)
    assert said is not None
    assert said.text == "Colour 25.2 EBC (10.0 °L)"


# --- as measures of the batch ----------------------------------------------------------------------------------------


def finished() -> Story:
    story = Story().kiln()
    story.tell(180, "heat_off")
    story.tell(190, "moisture_test", {"value": 0.045}, method="oven_malt")
    story.tell(191, "finished")
    return story


def test_what_nobody_measured_is_not_known_whatever_the_kiln_did() -> None:
    found = known(finished())
    for key in ("malt_colour", "extract_dry", "diastatic_power", "conversion", "falling_number"):
        assert (found[key].value, found[key].note) == (None, "not measured")


def test_a_conversion_test_makes_no_diastatic_power() -> None:
    story = finished()
    story.tell(220, "conversion_test", {"value": 20.0, "beside": {"reference_min": 10.0}})
    found = known(story)
    assert found["conversion"].value == pytest.approx(0.5)
    assert found["diastatic_power"].value is None


def test_what_was_measured_twice_is_a_mean_with_its_interval_and_method() -> None:
    story = finished()
    for hour, value in ((220, 70.0), (221, 76.0), (222, 79.0)):
        story.tell(hour, "diastatic_power", {"value": value}, method="laboratory")
    found = known(story)["diastatic_power"]
    # Mean 75; s = 4.5826; t(2, 97.5 %) = 4.3027: ± 11.384 (any table of Student's t).
    assert (found.value, found.n, found.note) == (pytest.approx(75.0), 3, "by a laboratory")
    assert found.half_width == pytest.approx(11.384, abs=0.005)


def test_a_test_of_later_has_no_say_yet() -> None:
    story = finished()
    story.tell(220, "malt_colour", {"value": 4.0})
    assert known(story, 200.0)["malt_colour"].value is None
    assert known(story, 221.0)["malt_colour"].value == 4.0


def test_each_malt_test_means_something_and_raises_no_flag_after_the_end() -> None:
    from tests.examples import EXAMPLES

    for kind in MALT_TESTS:
        story = finished()
        typed = dict(EXAMPLES[kind]) | ({"value": "4.4"} if kind == "moisture_test" else {})
        story.records.append(
            {"id": "late", "kind": kind, "subject": {"type": "batch", "id": "b1"}, "at": moment(230).isoformat()}
            | {"typed": typed, "person": "Anna"}
        )
        history = story.history()
        fact = history.by_id("late")
        assert fact is not None
        assert meaning(history, fact, moment(231)).text
        assert not [flag for flag in story.flags(231) if "late" in flag.fact_ids], kind


def test_the_malts_moisture_says_which_way_told_it() -> None:
    story = finished()
    story.tell(189, "outturn", {"net_kg": 16.0, "moisture_wb": 0.05})
    ways = moisture_ways(story.history(), moment(200))
    assert [(each.way, each.is_used) for each in ways] == [
        ("a moisture test", True),
        ("what was told with the outturn", False),
    ]
    assert moisture_ways(story.history(), moment(150)) == []


# --- the moisture meter ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("percent", "is_kept"), [("25", True), ("25.1", False), ("44", False)])
def test_a_meter_is_refused_above_what_any_meter_reads(percent: str, is_kept: bool) -> None:
    if is_kept:
        assert a_test("moisture_test", {"value": percent}, method="meter").value == pytest.approx(float(percent) / 100)
    else:
        with pytest.raises(BadValues, match="above the meter"):
            a_test("moisture_test", {"value": percent}, method="meter")
    assert a_test("moisture_test", {"value": percent}, method="kitchen_oven").value
