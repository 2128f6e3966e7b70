"""Programmes: what ships, how one is read and checked, and what its limits and its plan say."""

import json
import math
from copy import deepcopy
from dataclasses import FrozenInstanceError
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.judgement.programmes.programme import (
    MARKS,
    Limit,
    Programme,
    ProgrammeInvalid,
    differences,
    files,
    load_builtin,
    provenance,
)

BUILTIN = load_builtin()
MALTED = [key for key, programme in BUILTIN.items() if not programme.is_roast]
every_programme = pytest.mark.parametrize("key", sorted(BUILTIN))
BAND = Limit(10.0, 12.0, 14.0, 18.0, 20.0, 25.0, "c", "P", "a book", "M", "from memory", "C", "common practice")


def pale() -> dict:
    return deepcopy(BUILTIN["barley_pale"].to_dict()) | {"digest": None}


def problems_of(content: dict) -> dict[str, str]:
    with pytest.raises(ProgrammeInvalid) as caught:
        Programme.from_dict(content)
    return caught.value.fields


# --- what ships


def test_the_programmes_promised_are_there():
    assert set(BUILTIN) == {
        "barley_pale", "barley_diastatic", "barley_dark", "wheat_base", "wheat_diastatic", "rye", "oats", "chit",
        "caramel", "roasted", "amber", "brown", "chocolate", "black", "roasted_barley", "kitchen_barley",
        "kitchen_wheat", "kitchen_rye", "kitchen_oats", "kitchen_diastatic", "kitchen_caramel", "vienna", "munich",
        "smoked", "six_row", "distilling", "spelt", "emmer", "triticale", "naked_oats", "sorghum", "pearl_millet",
        "finger_millet", "buckwheat", "quinoa",
    }  # fmt: skip
    assert all(programme.key == key for key, programme in BUILTIN.items())


def test_changing_the_loaded_set_does_not_change_what_is_loaded_next():
    load_builtin().clear()
    assert set(load_builtin()) == set(BUILTIN)


def numbers_with_their_table(content, path=""):
    parts = content.items() if isinstance(content, dict) else enumerate(content)
    for key, value in parts:
        if isinstance(value, dict | list):
            yield from numbers_with_their_table(value, f"{path}/{key}")
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield f"{path}/{key}", content


@pytest.mark.parametrize("name", sorted(files()))
def test_every_number_in_a_file_carries_its_mark(name):
    found = list(numbers_with_their_table(files()[name]))
    assert len(found) > 10 or "based_on" in files()[name]
    for path, table in found:
        assert table.get("mark") in MARKS, path
        if table["mark"] in ("P", "T", "D"):
            assert "from memory" not in table["source"], path


@pytest.mark.parametrize(
    ("key", "limit", "low", "high"),
    [
        ("barley_pale", "cast_moisture", 0.42, 0.46),
        ("wheat_base", "cast_moisture", 0.41, 0.45),
        ("rye", "cast_moisture", 0.43, 0.46),
        ("oats", "cast_moisture", 0.45, 0.47),
        ("barley_dark", "cast_moisture", 0.45, 0.48),
        ("barley_pale", "grain_temperature.germination", 12, 18),
        ("oats", "grain_temperature.germination", 15, 18),
        ("oats", "germination_d", None, 8),
        ("chit", "germination_d", None, 4),
        ("barley_pale", "acrospire", 0.70, 0.80),
        ("wheat_base", "acrospire", 0.9, 1.0),
        ("barley_pale", "immersion_h", None, 8),
        ("caramel", "grain_temperature.stewing", 60, 72),
        ("barley_diastatic", "final_moisture", 0.05, 0.065),
    ],
)
def test_targets_are_those_of_the_trade(key, limit, low, high):
    found = BUILTIN[key].limit(limit)
    assert (found.target_low, found.target_high) == (low, high)


def test_chit_malt_is_stopped_before_a_quarter():
    limit = BUILTIN["chit"].limit("acrospire")
    assert limit.judge(0.2).is_fine
    assert limit.judge(0.3).severity == "notice"


# --- limits


@pytest.mark.parametrize(
    ("value", "position", "severity", "bound"),
    [
        (9.9, "low", "act", 10.0),
        (10.0, "low", "caution", 12.0),
        (13.0, "low", "notice", 14.0),
        (14.0, "in", None, None),
        (18.0, "in", None, None),
        (18.1, "high", "notice", 18.0),
        (20.0, "high", "notice", 18.0),
        (25.0, "high", "caution", 20.0),
        (25.1, "high", "act", 25.0),
    ],
)
def test_a_value_is_judged_by_the_outermost_bound_it_crossed(value, position, severity, bound):
    verdict = BAND.judge(value)
    assert (verdict.position, verdict.severity, verdict.bound) == (position, severity, bound)


def test_a_verdict_names_the_source_of_the_bound_that_was_crossed():
    assert (BAND.judge(19).mark, BAND.judge(19).source) == ("P", "a book")
    assert BAND.judge(21).mark == "M"
    assert BAND.judge(26).mark == "C"


def test_a_bound_typed_in_fahrenheit_is_still_inside():
    assert (64.4 - 32) * 5 / 9 != 18.0
    assert BAND.judge((64.4 - 32) * 5 / 9).is_fine


def test_open_bounds_are_never_crossed():
    assert Limit(high_caution=10.0, unit="h").judge(-1e6).is_fine
    assert Limit(high_caution=10.0, unit="h").judge(10.5).severity == "caution"


@given(st.lists(st.floats(-50, 50), min_size=6, max_size=6), st.floats(-60, 60), st.floats(0, 30))
def test_going_further_out_never_makes_it_milder(bounds, value, further):
    limit = Limit(*sorted(bounds), "c")
    order = [None, "notice", "caution", "act"]
    verdict = limit.judge(value)
    if verdict.position == "high":
        assert order.index(limit.judge(value + further).severity) >= order.index(verdict.severity)
    if verdict.position == "low":
        assert order.index(limit.judge(value - further).severity) >= order.index(verdict.severity)


# --- immersion


def test_an_immersion_in_still_water_at_the_reference_has_the_limits_of_the_programme():
    programme = BUILTIN["barley_pale"]
    for water in (None, 16.0):
        assert programme.immersion_limit(water, None) == programme.limit("immersion_h")
    assert programme.immersion_limit(16.0, 0.29) == programme.limit("immersion_h")


def test_cold_water_earns_time_under_water():
    # 10 h at 12.8 °C, which is published, are 8 h at 16 °C by a factor of 2 for 10 °C.
    programme = BUILTIN["barley_pale"]
    limit = programme.immersion_limit(12.8, 0.0)
    assert limit.target_high == pytest.approx(8 * 2**0.32) == pytest.approx(9.99, abs=0.01)
    assert limit.judge(9.9).is_fine
    assert "lengthened for water at 12.8 °C" in limit.source


def test_ice_water_earns_no_more_than_water_at_the_lowest_bound():
    programme = BUILTIN["barley_pale"]
    assert programme.immersion_limit(2.0, 0.0).high_act == programme.immersion_limit(8.0, 0.0).high_act


def test_ten_degrees_warmer_water_halves_the_time():
    limit = BUILTIN["barley_pale"].immersion_limit(26.0, 0.0)
    assert (limit.target_high, limit.high_caution, limit.high_act) == (4, 5, 7)
    assert "26.0 °C" in limit.source


def test_chitted_grain_is_given_four_hours():
    programme = BUILTIN["barley_pale"]
    assert programme.immersion_limit(16.0, 0.30).judge(3).is_fine
    assert programme.immersion_limit(16.0, 0.30).judge(4.1).severity == "caution"
    assert programme.immersion_limit(16.0, 0.30).judge(6.1).severity == "act"


def test_blown_air_gives_half_as_much_again():
    limit = BUILTIN["barley_pale"].immersion_limit(16.0, 0.0, aerated=True)
    assert limit.high_caution == pytest.approx(15)


def test_a_roast_knows_no_immersion():
    assert BUILTIN["roasted"].immersion_limit(14.0, 0.0) is None


@given(st.floats(5, 35), st.floats(0, 10))
def test_warmer_water_never_gives_more_time(water, warmer):
    programme = BUILTIN["rye"]
    cool, warm = (programme.immersion_limit(each, 0.0) for each in (water, water + warmer))
    assert warm.high_caution <= cool.high_caution


# --- the kiln


@pytest.mark.parametrize(
    ("moisture", "ceiling"),
    [(0.45, 49), (0.2501, 49), (0.25, 52), (0.13, 52), (0.12, 54), (0.09, 54), (0.05, 54), (0.0, 54)],
)
def test_at_an_edge_the_drier_step_of_the_ceiling_holds(moisture, ceiling):
    assert BUILTIN["barley_diastatic"].ceiling_c(moisture) == ceiling


def test_malts_made_for_colour_bear_what_their_own_plan_asks_of_them_and_no_more():
    for key in ("barley_dark", "caramel"):
        hottest_c = max(step.air_on_c or 0.0 for step in BUILTIN[key].steps if step.stage == "kilning")
        assert hottest_c < BUILTIN[key].ceiling_c(0.04) < 160.0
        assert BUILTIN[key].ceiling_c(0.3) < BUILTIN[key].ceiling_c(0.2) < BUILTIN[key].ceiling_c(0.04)
    assert BUILTIN["roasted"].ceiling_c(0.3) is None
    assert BUILTIN["roasted"].limits["grain_temperature.roasting"].judge(231.0).severity == "act"


def test_caramel_has_a_floor():
    verdict = BUILTIN["caramel"].limit_for("grain_temperature", "stewing").judge(54)
    assert (verdict.position, verdict.severity) == ("low", "caution")


def test_on_the_kiln_the_moisture_tells_which_limit_holds():
    programme = BUILTIN["barley_pale"]
    assert programme.kiln_phase(0.40) == "withering"
    assert programme.kiln_phase(0.25) == "drying"
    assert programme.kiln_phase(0.12) == "curing"
    assert programme.limit_for("air_on_temperature", "kilning", 0.4) is programme.limit("air_on_temperature.withering")
    assert programme.limit_for("air_on_temperature", "kilning", None) is None
    roast = BUILTIN["roasted"]
    assert roast.limit_for("grain_temperature", "kilning", 0.03) is roast.limit("grain_temperature.roasting")


# --- the plan


def test_planned_stages_follow_on_each_other_and_kiln_steps_are_one():
    planned = BUILTIN["barley_pale"].planned_stages()
    assert [row.stage for row in planned] == [
        "immersion", "air_rest", "immersion", "air_rest", "immersion", "germination", "kilning", "cooling",
    ]  # fmt: skip
    assert planned[0].start_h == 0
    for row, following in pairwise(planned):
        assert row.end_h == following.start_h
        assert row.hours_low <= row.end_h - row.start_h <= row.hours_high
    assert planned[-1].end_h == sum(step.hours for step in BUILTIN["barley_pale"].steps)


def test_the_planned_moisture_begins_at_the_charge_and_ends_in_the_target():
    for key in MALTED:
        curve = BUILTIN[key].planned_curve("moisture_wb")
        assert curve[0] == (0.0, 0.12)
        assert BUILTIN[key].limit("final_moisture").judge(curve[-1][1]).is_fine
    with pytest.raises(ValueError, match="no colour"):
        BUILTIN["rye"].planned_curve("colour")


# --- reading and checking


@every_programme
def test_a_programme_survives_the_way_to_json_and_back(key):
    programme = BUILTIN[key]
    again = Programme.from_dict(json.loads(json.dumps(programme.to_dict())))
    assert again == programme
    assert again.to_dict() == programme.to_dict()
    assert differences(programme, again) == []


def test_whole_numbers_and_the_order_of_keys_do_not_change_the_digest():
    content = json.loads(json.dumps(pale()).replace(".0,", ","))
    shuffled = dict(reversed(content.items()))
    assert Programme.from_dict(shuffled).digest == BUILTIN["barley_pale"].digest


def test_a_changed_content_under_its_old_digest_is_refused():
    content = BUILTIN["barley_pale"].to_dict()
    content["name"] = "Other"
    assert set(problems_of(content)) == {"digest"}


def test_a_programme_can_not_be_changed_in_place():
    with pytest.raises(FrozenInstanceError):
        BUILTIN["rye"].name = "Other"
    with pytest.raises(TypeError):
        BUILTIN["rye"].limits["acrospire"] = BAND


@pytest.mark.parametrize("place", ["", "limits/acrospire", "limits/acrospire/target", "steps/0", "settings/steep_loss"])
def test_an_unknown_key_is_named_with_its_path(place):
    content = pale()
    table = content
    for part in place.split("/") if place else ():
        table = table[int(part)] if isinstance(table, list) else table[part]
    table["colour"] = 4
    path = f"{place}/colour".strip("/")
    assert path in problems_of(content)
    assert "colour" in problems_of(content)[path]


def test_an_unknown_limit_is_named():
    content = pale()
    content["limits"]["grain_temprature.germination"] = content["limits"].pop("grain_temperature.germination")
    assert "limits/grain_temprature.germination" in problems_of(content)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("limits/cast_moisture/target/high", 46),
        ("limits/cast_moisture/target/high", "0.46"),
        ("limits/cast_moisture/target/high", True),
        ("limits/cast_moisture/target/high", math.nan),
        ("limits/cast_moisture/target/mark", "X"),
        ("limits/cast_moisture/unit", "c"),
        ("steps/0/hours", None),
        ("steps/0/hours", -1),
        ("steps/0/hours_low", 7),
        ("steps/0/hours_high", 5),
        ("steps/0/stage", "couching"),
        ("steps/0/phase", "drying"),
        ("steps/6/phase", None),
        ("ceiling/1/grain_c", 40),
        ("ceiling/1/moisture_above_wb", 0.3),
        ("ceiling/3/moisture_above_wb", 0.01),
        ("settings/immersion_q10/value", 0),
        ("settings/immersion_q10", None),
        ("purpose", "lager"),
        ("key", "Barley Pale"),
        ("name", ""),
        ("species", []),
        ("husked", "yes"),
        ("parent", "abc"),
        ("steps", []),
        ("limits", [1]),
    ],
)
def test_what_can_not_be_is_refused_at_its_field(path, value):
    content = pale()
    *way, last = path.split("/")
    table = content
    for part in way:
        table = table[int(part)] if isinstance(table, list) else table[part]
    if value is None:
        del table[last]
    else:
        table[last] = value
    assert path in problems_of(content)


def test_a_share_given_in_percent_is_told_how_to_write_it():
    content = pale()
    content["limits"]["cast_moisture"]["target"]["high"] = 46
    assert "0.45" in problems_of(content)["limits/cast_moisture/target/high"]


def test_published_numbers_need_a_source_and_remembered_ones_say_that_they_are():
    content = pale()
    content["limits"]["acrospire"]["target"] |= {"mark": "P", "source": ""}
    assert "limits/acrospire/target/source" in problems_of(content)
    content["limits"]["acrospire"]["target"] |= {"mark": "M", "source": ""}
    assert Programme.from_dict(content).limit("acrospire").source == "from memory"


@pytest.mark.parametrize(
    ("band", "bound", "value"),
    [("target", "low", 0.47), ("caution", "low", 0.43), ("caution", "high", 0.45), ("act", "high", 0.47)],
)
def test_bounds_that_cross_are_refused(band, bound, value):
    content = pale()
    content["limits"]["cast_moisture"][band][bound] = value
    assert any(path.startswith("limits/cast_moisture/") for path in problems_of(content))


def test_all_that_is_wrong_is_said_at_once():
    content = pale()
    content["name"] = ""
    content["steps"][0]["hours"] = "six"
    content["limits"]["acrospire"]["target"]["low"] = -1
    assert {"name", "steps/0/hours", "limits/acrospire/target/low"} <= set(problems_of(content))


LEAVES = st.none() | st.booleans() | st.floats() | st.text(max_size=5)
WORDS = st.sampled_from(["key", "steps", "limits", "hours", "acrospire", "target", "ceiling", "settings"])


@given(st.recursive(LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=4)))
def test_nonsense_is_refused_and_never_breaks_the_reading(content):
    assert problems_of(content)


def test_provenance_reads_as_words():
    assert provenance("P", "Some 2020") == "published: Some 2020"
    assert provenance("M", "from memory: Kunze") == "from memory: Kunze"
    assert provenance("C", "") == "common practice"


@every_programme
def test_nobody_is_told_to_put_into_their_mouth_what_is_not_ready_to_eat(key):
    programme = BUILTIN[key]
    told = " ".join((*programme.cautions, *(step.note for step in programme.steps)))
    assert not {"taste", "tastes", "teeth", "chew"} & set(told.replace(".", " ").replace(";", " ").split())
