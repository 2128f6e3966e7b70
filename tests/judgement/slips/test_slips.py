"""Another unit, or a slip? Asked when what was typed is out of all likelihood and another reading of it is likely."""

from typing import Any

import pytest

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import fact_from_record, values_from_typed
from app.judgement.facts.shapes import Fact
from app.judgement.forecasts.moisture import samples
from app.judgement.forecasts.trusted import doubted
from app.judgement.meaning.meaning import meaning
from app.judgement.programmes.programme import load_builtin
from app.judgement.slips.questions import Question, plausible_range, questions
from app.science import units
from tests.judgement.flag_story import Story, moment


def asked(story: Story, hour: float, kind: str, **typed: str) -> list[Question]:
    """The questions about an entry typed at an hour of a story."""
    history = story.history()
    return questions(said(kind, hour, **typed), history, history.programme_at(moment(hour)), moment(hour))


def said(kind: str, hour: float, **typed: str) -> Fact:
    subject = {"type": min(KINDS[kind].subjects & {"batch", "lot"}), "id": "1"}
    return fact_from_record({"id": "new-1", "kind": kind, "subject": subject, "at": moment(hour), "typed": typed})


def read_again(kind: str, question: Question, typed: dict[str, str]) -> dict[str, Any]:
    """The values when the alternative is taken."""
    return values_from_typed(KINDS[kind], typed | question.alternative)


def growing() -> Story:
    story = Story()
    story.grow(cast_hour=40)
    return story


def test_149_as_celsius_on_the_kiln_is_asked_to_be_fahrenheit() -> None:
    typed = {"value": "149", "value_unit": "c"}
    (question,) = asked(Story().kiln(), 162, "air_on_temperature", **typed)
    assert question.field == "value"
    assert question.alternative == {"value": "149", "value_unit": "f"}
    assert question.alternative_words == "149 °F (65.0 °C)"
    assert "is more than one expects here" in question.message
    assert "149 °C (300.2 °F)" in question.as_typed_words
    assert read_again("air_on_temperature", question, typed)["value"] == pytest.approx(65.0)


def test_65_as_fahrenheit_on_the_kiln_is_asked_to_be_celsius() -> None:
    (question,) = asked(Story().kiln(), 162, "air_on_temperature", value="65", value_unit="f")
    assert question.alternative == {"value": "65", "value_unit": "c"}


def test_65_as_fahrenheit_in_grain_that_was_at_60_is_asked_by_the_jump() -> None:
    story = Story().kiln()
    story.grain(161, 60.0)
    (question,) = asked(story, 162, "grain_temperature", value="65", value_unit="f")
    assert question.alternative_words == "65 °C (149.0 °F)"
    assert "far from the last one" in question.message


def test_grain_that_warms_fast_is_not_asked_about() -> None:
    story = Story().kiln()
    story.grain(161, 20.0)
    assert asked(story, 162, "grain_temperature", value="50", value_unit="c") == []
    assert asked(story, 162, "grain_temperature", value="122", value_unit="f") == []


def test_59_in_the_bed_is_asked_to_be_fahrenheit_and_15_is_not_asked() -> None:
    (question,) = asked(growing(), 44, "grain_temperature", value="59", value_unit="c")
    assert question.alternative_words == "59 °F (15.0 °C)"
    assert asked(growing(), 44, "grain_temperature", value="15", value_unit="c") == []
    assert asked(growing(), 44, "grain_temperature", value="59", value_unit="f") == []


def test_a_hot_bed_is_believed() -> None:
    assert asked(growing(), 44, "grain_temperature", value="32", value_unit="c") == []


def test_wild_temperatures_are_asked_about_without_an_alternative() -> None:
    (question,) = asked(growing(), 44, "grain_temperature", value="149", value_unit="c")
    assert question.alternative == {}
    assert question.alternative_words == ""


def test_a_roast_may_be_as_hot_as_149() -> None:
    story = Story("roasted")
    story.tell(0, "heat_on")
    assert asked(story, 0.5, "grain_temperature", value="149", value_unit="c") == []


def test_an_unset_unit_is_the_default_one() -> None:
    (question,) = asked(growing(), 44, "grain_temperature", value="59")
    assert question.alternative == {"value": "59", "value_unit": "f"}


def bagged() -> Story:
    story = Story().begin()
    story.bag_start(net_kg=0.3)
    return story


def test_43_kg_for_a_430_g_bag_is_asked_to_have_its_decimal_mark_moved() -> None:
    typed = {"vessel": "bag 1", "net": "4.3", "net_unit": "kg"}
    (question,) = asked(bagged(), 6, "test_bag", **typed)
    assert question.alternative == {"net": "0.43", "net_unit": "kg"}
    assert question.alternative_words == "0.43 kg (430.0 g)"
    assert read_again("test_bag", question, typed)["net_kg"] == pytest.approx(0.43)


def test_a_decimal_comma_is_moved_as_well() -> None:
    (question,) = asked(bagged(), 6, "test_bag", vessel="bag 1", net="4,3", net_unit="kg")
    assert question.alternative["net"] == "0.43"


def test_430_kg_are_asked_to_be_grams() -> None:
    (question,) = asked(bagged(), 6, "test_bag", vessel="bag 1", net="430", net_unit="kg")
    assert question.alternative == {"net": "430", "net_unit": "g"}


def test_an_ordinary_bag_is_not_asked_about() -> None:
    for net in ("300", "430", "520"):
        assert asked(bagged(), 6, "test_bag", vessel="bag 1", net=net, net_unit="g") == []


def test_a_bag_lighter_than_the_dry_matter_in_it_is_asked_about() -> None:
    # Of 300 g at 12 %, 264 g are dry; a bag of 0.8 of its start is lighter than any loss explains.
    (question,) = asked(bagged(), 6, "test_bag", vessel="bag 1", net="225", net_unit="g")
    assert "less than one expects here (240.0 g to 660.0 g)" in question.message


def test_a_bag_without_a_start_can_not_be_asked_about() -> None:
    assert asked(bagged(), 6, "test_bag", vessel="another", net="4.3", net_unit="kg") == []


def test_gross_and_net_of_one_weighing_are_asked_about_once() -> None:
    found = asked(bagged(), 6, "test_bag", vessel="bag 1", gross="4.33", gross_unit="kg", tare="0.03", tare_unit="kg")
    assert [question.field for question in found] == ["gross"]


def trayed() -> Story:
    story = Story().kiln()
    values = {"vessel": "tray 2", "gross_kg": 3.2, "tare_kg": 1.2, "net_kg": 2.0}
    story.tell(160.2, "tray", values)
    return story


def test_a_forgotten_tare_is_asked_for() -> None:
    typed = {"vessel": "tray 2", "gross": "2900", "gross_unit": "g"}
    (question,) = asked(trayed(), 165, "tray", **typed)
    assert "tray 2" in question.message
    values = read_again("tray", question, typed)
    assert values["tare_kg"] == pytest.approx(1.2)
    assert values["net_kg"] == pytest.approx(1.7)


def test_a_tare_forgotten_in_the_net_is_asked_for_too() -> None:
    typed = {"vessel": "tray 2", "net": "2.9", "net_unit": "kg"}
    (question,) = asked(trayed(), 165, "tray", **typed)
    assert read_again("tray", question, typed)["net_kg"] == pytest.approx(1.7)


def test_a_tray_with_its_tare_is_not_asked_about() -> None:
    typed = {"vessel": "tray 2", "gross": "2.9", "gross_unit": "kg", "tare": "1.2", "tare_unit": "kg"}
    assert asked(trayed(), 165, "tray", **typed) == []


def test_a_second_load_on_the_kiln_is_not_measured_by_the_first() -> None:
    story = trayed()
    story.tell(180, "heat_off")
    story.tell(190, "loaded")
    typed = {"vessel": "tray 2", "net": "3.1", "net_unit": "kg"}
    assert asked(story, 190.2, "tray", **typed) == []
    story.tell(190.2, "tray", {"vessel": "tray 2", "gross_kg": 4.3, "tare_kg": 1.2, "net_kg": 3.1})
    assert asked(story, 192, "tray", **typed) == []


def test_percent_typed_as_a_fraction_is_asked_about() -> None:
    (question,) = asked(growing(), 44, "humidity", value="0.85", value_unit="percent")
    assert "is less than one expects here" in question.message
    assert question.alternative == {"value": "0.85", "value_unit": "fraction"}
    (question,) = asked(growing(), 44, "moisture_test", value="0.44", value_unit="percent")
    assert question.alternative == {"value": "0.44", "value_unit": "fraction"}


def test_moisture_on_the_dry_basis_is_asked_about() -> None:
    # 80 % of the dry matter is 44.4 % of the whole.
    (question,) = asked(growing(), 44, "moisture_test", value="80", value_unit="percent")
    assert question.alternative["value_unit"] == "percent_db"


def test_ordinary_shares_are_not_asked_about() -> None:
    assert asked(growing(), 44, "humidity", value="85", value_unit="percent") == []
    assert asked(growing(), 44, "moisture_test", value="44", value_unit="percent") == []


def test_carbon_dioxide_in_percent_typed_as_ppm_is_asked_about() -> None:
    (question,) = asked(growing(), 44, "co2_room", value="0.5", value_unit="ppm")
    assert question.alternative["value_unit"] == "percent_co2"


def test_a_ph_with_its_decimal_mark_moved_is_asked_about() -> None:
    (question,) = asked(growing(), 44, "ph", value="0.58")
    assert question.alternative["value"] == "5.8"


def test_a_handful_looked_at_where_a_hundred_were_before_is_asked_about() -> None:
    story = growing()
    story.chits(30, 40)
    (question,) = asked(story, 36, "chit_count", looked_at="8", chitted="8")
    assert question.alternative == {"looked_at": "100"}
    assert asked(story, 36, "chit_count", looked_at="50", chitted="8") == []
    assert asked(growing(), 36, "chit_count", looked_at="8", chitted="8") == []


def test_without_a_history_only_the_value_itself_is_judged() -> None:
    hot = said("grain_temperature", 0, value="149", value_unit="c")
    assert questions(hot, None, None, moment(0))[0].field == "value"
    assert questions(said("test_bag", 0, vessel="bag 1", net="4.3"), None, None, moment(0)) == []


def test_entries_without_numbers_are_never_asked_about() -> None:
    assert asked(growing(), 44, "turned") == []
    assert asked(growing(), 44, "note", text="149") == []


@pytest.mark.parametrize("key", sorted(load_builtin()))
def test_the_plausible_range_lies_well_outside_every_limit_of_the_programme(key: str) -> None:
    programme = load_builtin()[key]
    for name, limit in programme.limits.items():
        kind, _, stage = name.partition(".")
        if kind not in KINDS:
            continue
        place = "kilning" if stage in ("withering", "drying", "curing", "roasting") else stage
        found = plausible_range(kind, "cooling" if place == "bagging" else place, programme)
        assert found is not None
        bounds = [bound for _, *band in limit.bands() for bound in band if bound is not None]
        assert found[0] <= min(bounds), name
        assert found[1] >= max(bounds), name


def test_no_range_is_given_where_nothing_can_be_said() -> None:
    assert plausible_range("air_flow", "kilning", None) is None
    assert plausible_range("test_bag", "immersion", None) is None


def test_a_comma_before_three_digits_is_asked_about_and_none_before_other_numbers() -> None:
    (question,) = asked(growing(), 44, "sprinkled", amount="1,500", amount_unit="l")
    assert question.alternative == {"amount": "1500"}
    assert "is it 1500, or 1.5?" in question.message
    for text in ("1,5", "0,500", "1.500", "1500", "1,50"):
        assert asked(growing(), 44, "sprinkled", amount=text, amount_unit="l") == []


def test_a_comma_before_three_digits_that_was_kept_is_no_slip() -> None:
    story = growing()
    typed = {"amount": "1,500", "amount_unit": "l"}
    story.tell(44, "sprinkled", {"amount": 0.0015}, typed=typed)
    assert story.flags(45, "slip") == []


def test_what_was_sprinkled_is_told_in_points_of_moisture() -> None:
    # 20 kg at 12 % hold 17.6 kg dry; at 44 % that is 31.4 kg, and 0.5 kg of water lift it by 0.88 points; less what
    # steep and breath took.
    story = growing()
    story.tell(44, "sprinkled", {"amount": 0.0005})
    fact = story.history().of_kind("sprinkled")[0]
    said = meaning(story.history(), fact, moment(44)).text
    points = float(said.split("about ")[1].split(" ")[0])
    assert points == pytest.approx(0.9, abs=0.1)


def small(kilograms: float = 5.0) -> Story:
    """On the kiln, with so much charged and nothing weighed there yet."""
    story = Story().declare().charge(kilograms)
    story.tell(0, "steep_on", method="still")
    story.tell(40, "cast")
    story.tell(160, "loaded")
    return story


@pytest.mark.parametrize(
    "typed",
    [
        {"gross": "1400", "gross_unit": "kg"},
        {"gross": "1900", "tare": "500", "gross_unit": "kg"},
        {"gross": "505", "tare": "500", "gross_unit": "kg"},
        {"net": "1400", "gross_unit": "kg"},
        {"net": "1400", "net_unit": "kg"},
        {"gross": "1400", "gross_unit": "lb"},
    ],
)
@pytest.mark.parametrize("kind", ["tray", "test_bag", "test_bag_start"])
def test_more_than_there_is_of_the_grain_is_asked_about(kind: str, typed: dict[str, str]) -> None:
    (question,) = asked(small(), 160.2, kind, vessel="tray 1", **typed)
    name = "gross" if "gross" in typed else "net"
    assert question.field == name
    assert "is more than one expects here" in question.message
    assert {question.alternative[unit] for unit in typed if unit.endswith("_unit")} == {"g"}
    again = read_again(kind, question, {"vessel": "tray 1", **typed})
    assert again["net_kg"] < 2.0


@pytest.mark.parametrize("typed", [{"gross": "1400"}, {"gross": "1900", "tare": "500"}, {"net": "1400"}])
@pytest.mark.parametrize("kind", ["tray", "test_bag", "test_bag_start"])
def test_what_there_may_be_of_the_grain_is_not_asked_about(kind: str, typed: dict[str, str]) -> None:
    assert asked(small(), 160.2, kind, vessel="tray 1", gross_unit="g", **typed) == []


@pytest.mark.parametrize(("kind", "net"), [("tray", "1.4"), ("culms", "0.2"), ("outturn", "4.2")])
def test_a_gram_or_two_where_there_are_kilograms_are_asked_about(kind: str, net: str) -> None:
    vessel = {"vessel": "tray 1"} if kind == "tray" else {}
    (question,) = asked(small(), 160.2, kind, **vessel, net=net, net_unit="g")
    assert question.alternative == {"net": net, "net_unit": "kg"}


@pytest.mark.parametrize("unit", ["kg", "g", "lb", "oz"])
@pytest.mark.parametrize(
    ("kind", "field"),
    [
        ("tray", "net"),
        ("test_bag", "gross"),
        ("test_bag_start", "net"),
        ("charge_weighing", "net"),
        ("skimmings", "net"),
        ("skimmings", "of"),
        ("loss", "net"),
        ("culms", "gross"),
        ("outturn", "gross"),
        ("inspection", "ergot"),
        ("pack", "as_is"),
        ("split", "as_is"),
    ],
)
def test_nothing_of_a_batch_outweighs_its_charge_unasked(kind: str, field: str, unit: str) -> None:
    own = {
        "inspection": {"mould": "no"},
        "pack": {"source": "batch:b1", "target": "pack:p1", "moisture": "5"},
        "split": {"source": "batch:b1", "target": "batch:b2", "moisture": "43"},
    }.get(kind, {"vessel": "tray 1"})
    net = {"net": "40", "net_unit": "g"} if field == "of" else {}
    weight = f"{units.from_si(30.0, unit):.6g}"
    found = asked(small(), 160.2, kind, **own, **net, **{field: weight, f"{field}_unit": unit})
    assert [question.field for question in found] == [field]


def test_a_weighing_from_before_the_charge_was_told_is_bounded_by_it_too() -> None:
    assert asked(small(), -2.0, "test_bag_start", vessel="bag 1", net="300", net_unit="kg")
    assert asked(small(), -2.0, "tray", vessel="tray 1", net="300", net_unit="kg")


def test_what_was_weighed_before_a_batch_was_split_off_is_bounded_by_what_there_was_then() -> None:
    story = Story().declare()
    ends = {"source": {"type": "lot", "id": "l1"}, "target": {"type": "batch", "id": "b0"}}
    story.tell(-1, "charge", ends | {"as_is_kg": 100.0, "moisture_wb": 0.12}, subject=("batch", "b0"))
    story.tell(0, "steep_on")
    ends = {"source": {"type": "batch", "id": "b0"}, "target": {"type": "batch", "id": "b1"}}
    story.tell(50, "split", ends | {"as_is_kg": 5.0, "moisture_wb": 0.44})
    assert asked(story, 60, "tray", vessel="tray 1", net="120", net_unit="kg")


def mistaken() -> Story:
    """A tray's first weighing that came unasked in another unit, and its next one, which is right."""
    story = small()
    for hour, unit in ((160.2, "kg"), (161.0, "g")):
        typed = {"vessel": "tray 1", "gross": "1900", "tare": "500", "gross_unit": unit}
        story.tell(hour, "tray", values_from_typed(KINDS["tray"], typed), typed=typed)
    return story


def test_a_weighing_that_there_can_not_be_does_not_rule_over_the_right_one() -> None:
    history = mistaken().history()
    wrong, right = history.of_kind("tray")
    assert doubted(history) == (wrong,)
    assert asked(mistaken(), 163, "tray", vessel="tray 1", gross="1700", tare="500", gross_unit="g") == []
    assert meaning(history, right, moment(161)).text == "Tray’s start kept"
    said = meaning(history, wrong, moment(161))
    assert (said.status, said.text) == ("caution", "Another unit or a slip?")
    assert "Is it 1900 g?" in said.detail


def test_the_right_weighings_of_a_tray_tell_its_moisture_past_a_mistaken_start() -> None:
    story = mistaken()
    story.tell(160, "moisture_test", {"value": 0.44}, method="oven_two_stage")
    typed = {"vessel": "tray 1", "gross": "1700", "tare": "500", "gross_unit": "g"}
    fact_id = story.tell(163, "tray", values_from_typed(KINDS["tray"], typed), typed=typed)
    (sample,) = [each for each in samples(story.history()) if each.fact.id == fact_id]
    assert sample.moisture_wb == pytest.approx(1 - 0.56 * 1.4 / 1.2, abs=0.02)


def test_of_a_net_weight_the_unit_is_that_of_the_gross() -> None:
    (question,) = asked(bagged(), 6, "test_bag", vessel="bag 1", net="4300", gross_unit="g")
    assert question.alternative == {"net": "430", "gross_unit": "g"}
    assert "Net 4300 g" in question.message
    typed = {"vessel": "tray 2", "net": "2900", "gross_unit": "g"}
    (question,) = asked(trayed(), 165, "tray", **typed)
    assert read_again("tray", question, typed)["net_kg"] == pytest.approx(1.7)


def test_air_that_is_still_hot_as_the_heat_goes_off_is_no_slip() -> None:
    programme = load_builtin()["barley_pale"]
    low, high = plausible_range("air_off_temperature", "cooling", programme)
    assert low < 10.0
    assert high > 85.0
