"""After the kiln: moisture to keep, warm bagging, culms, and the account."""

from datetime import datetime

import pytest

from app.judgement.flags import evaluate
from tests.judgement.flag_story import Story, hour_of
from tests.judgement.normal_batches import normal_batch
from tests.judgement.story import at


def stripped() -> Story:
    story = Story().kiln()
    story.tell(175, "heat_off")
    story.tell(176, "stripped")
    return story


@pytest.mark.parametrize(
    ("moisture_wb", "rule", "severity"),
    [(0.05, None, None), (0.051, "not_dry_enough", "notice"), (0.061, "not_dry_enough", "caution"),
     (0.081, "not_dry_enough", "act"), (0.039, "overdried", "notice")],
)  # fmt: skip
def test_the_moisture_of_the_malt(moisture_wb: float, rule: str | None, severity: str | None) -> None:
    story = stripped()
    story.tell(177, "moisture_test", {"value": moisture_wb}, method="oven_malt")
    found = [(flag.rule, flag.severity) for flag in story.flags(178) if flag.rule in ("not_dry_enough", "overdried")]
    assert found == ([(rule, severity)] if rule else [])


def test_the_last_word_on_the_moisture_counts() -> None:
    story = stripped()
    story.tell(177, "moisture_test", {"value": 0.07}, method="oven_malt")
    story.tell(178, "outturn", {"net_kg": 15.0, "moisture_wb": 0.048})
    assert story.flags(179, "not_dry_enough") == []


def test_a_measured_moisture_at_the_packing_counts_and_one_from_elsewhere_does_not() -> None:
    for method, is_flagged in (("measured", True), ("assumed", False)):
        story = stripped()
        ends = {"source": {"type": "batch", "id": "b1"}, "target": {"type": "pack", "id": "p1"}}
        story.tell(178, "pack", ends | {"as_is_kg": 15.0, "moisture_wb": 0.09, "dry_kg": 13.65}, method=method)
        assert bool(story.flags(179, "not_dry_enough")) == is_flagged


def test_the_weight_of_a_thousand_kernels_is_no_moisture() -> None:
    story = stripped()
    story.tell(178, "kernel_weight", {"value": 0.035})
    assert story.flags(179, "overdried") == []


def test_wet_grain_on_the_kiln_is_not_yet_malt() -> None:
    assert Story().kiln().flags(161, "not_dry_enough") == []


def bagged(temperature_c: float, programme: str = "base") -> Story:
    story = Story(programme)
    story.declare().charge()
    story.tell(0, "heat_on")
    story.tell(2, "heat_off")
    story.grain(3, temperature_c)
    ends = {"source": {"type": "batch", "id": "b1"}, "target": {"type": "pack", "id": "p1"}}
    story.tell(3.5, "pack", ends | {"as_is_kg": 15.0, "moisture_wb": 0.045, "dry_kg": 14.325}, method="measured")
    return story


@pytest.mark.parametrize(("value", "severity"), [(30.0, None), (31.0, "notice"), (35.5, "caution")])
def test_bagged_warm(value: float, severity: str | None) -> None:
    flags = bagged(value).flags(4, "bagged_warm")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_a_roast_bagged_warm_is_act_now_and_says_why() -> None:
    flag = bagged(36.0, "roasted").flag(4, "bagged_warm")
    assert flag.severity == "act"
    assert flag.caution is not None
    assert "light" in flag.caution.text


def test_where_nobody_read_the_malt_nothing_is_said_of_the_bagging() -> None:
    story = bagged(60.0)
    del story.records[-2]
    assert story.flags(4, "bagged_warm") == []


def test_a_reading_long_before_the_bagging_says_nothing_of_it() -> None:
    story = bagged(60.0)
    story.records[-1]["earliest_at"] = story.records[-1]["latest_at"] = "2026-03-03T06:00:00+00:00"
    assert story.flags(30, "bagged_warm") == []


@pytest.mark.parametrize(("hour", "is_flagged"), [(199.9, False), (200.1, True)])
def test_culms_are_off_within_a_day(hour: float, is_flagged: bool) -> None:
    assert bool(stripped().flags(hour, "culms_left_on")) == is_flagged


def test_culms_rubbed_off_late_stay_in_the_record_and_in_time_do_not() -> None:
    for hour, flags in ((180, []), (210, [210])):
        story = stripped()
        story.tell(hour, "culms", {"net_kg": 0.6})
        assert [hour_of(flag.ends_at) for flag in story.flags(300, "culms_left_on")] == flags


def test_a_roast_has_no_culms() -> None:
    story = Story("roasted").declare().charge()
    story.tell(0, "heat_on")
    story.tell(2, "heat_off")
    assert story.flags(100, "culms_left_on") == []


def accounted(outturn_kg: float) -> Story:
    story = stripped()
    story.tell(177, "culms", {"net_kg": 0.65})
    story.tell(178, "outturn", {"net_kg": outturn_kg, "moisture_wb": 0.045})
    story.tell(179, "finished")
    return story


def test_an_account_that_closes_raises_no_flag() -> None:
    # 17.6 kg dry charged; 1 % gone with the steep, 5 % breathed, 0.62 kg culms: about 15.9 kg dry are left.
    assert accounted(16.7).flags(180, "open_account") == []


def test_dry_matter_that_is_missing_is_a_notice_and_more_than_went_in_a_caution() -> None:
    missing, too_much = accounted(13.5).flag(180, "open_account"), accounted(19.5).flag(180, "open_account")
    assert (missing.severity, too_much.severity) == ("notice", "caution")
    assert "not accounted for" in missing.title
    assert "More came out than went in" in too_much.title


def test_no_account_is_judged_before_the_malt_is_weighed() -> None:
    assert stripped().flags(180, "open_account") == []


def taken_off_wet() -> Story:
    """By its tray at 27 % when the heat goes off: 2 kg at 44 % are 1.12 kg dry."""
    story = Story().kiln()
    story.tray(160.05, 2.0)
    story.tray(166, 1.53)
    story.tell(166.1, "heat_off")
    return story


def test_malt_taken_off_wet_is_too_wet_to_keep_until_it_is_tested() -> None:
    story = taken_off_wet()
    assert story.flag(166.5, "not_dry_enough").severity == "act"
    story.tell(168, "stripped")
    story.tell(169, "outturn", {"net_kg": 22.0})
    story.tell(170, "finished")
    assert story.flag(171, "not_dry_enough").severity == "act"
    story.tell(172, "moisture_test", {"value": 0.05}, method="oven_malt")
    assert story.flags(173, "not_dry_enough") == []


def test_an_outturn_that_nobody_tested_is_as_wet_as_the_grain_was_last_known() -> None:
    story = taken_off_wet()
    story.tell(169, "outturn", {"net_kg": 22.0})
    assert story.flags(170, "open_account") == []


def test_malt_weighed_dry_is_not_held_to_be_wet() -> None:
    story = Story().kiln()
    story.tray(160.05, 2.0)
    story.tray(174, 1.175)
    story.tell(174.1, "heat_off")
    assert story.flags(175, "not_dry_enough") == []


def test_malt_finished_wet_is_no_drier_for_the_weeks_that_nobody_looked() -> None:
    for seed in (0, 5, 9):
        story = normal_batch(seed)
        story.records[:] = [each for each in story.records if datetime.fromisoformat(each["at"]) <= at(100.0)]
        story.say(100.5, "finished")
        raised = [
            [flag.severity for flag in evaluate(story.history(), at(hour)) if flag.rule == "not_dry_enough"]
            for hour in (101.0, 150.0, 24.0 * 40, 24.0 * 300)
        ]
        assert raised == [["act"]] * 4


def test_malt_much_too_wet_is_not_to_be_sealed_and_kept_for_weeks() -> None:
    for moisture_wb, is_sealed in ((0.2, False), (0.061, True)):
        story = stripped()
        story.tell(177, "moisture_test", {"value": moisture_wb}, method="oven_malt")
        remedy = story.flag(178, "not_dry_enough").remedy
        assert ("weeks" in remedy) == is_sealed
        assert ("don't seal it" in remedy) != is_sealed
