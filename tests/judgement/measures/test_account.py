"""The malting-loss account. The 1000 kg of barley are a check of the mass balance, worked by hand; the losses of a
programme are those that its own file gives."""

import math

import pytest

from app.judgement.history.build import history_from_records
from app.judgement.measures.account import account
from app.judgement.programmes.programme import load_builtin
from app.science.mass_balance import dry_loss
from tests.judgement.plan_run import plan_story
from tests.judgement.story import ZERO, Story, at

BUILTIN = load_builtin()
PALE = BUILTIN["barley_pale"]
every_programme = pytest.mark.parametrize("key", sorted(BUILTIN))


def to_plan(key, charge_kg=1000.0):
    return history_from_records(plan_story(BUILTIN[key], ZERO, charge_kg))


def malted(charge_kg=1000.0, malt_kg=829.3, culms_kg=None):
    """Steeped, grown and kilned in the hours of the pale programme: 42 h, 120 h and 17.5 h."""
    story = Story("barley_pale")
    story.charge(charge_kg, 0.12)
    for hour, kind in ((0, "steep_on"), (6, "drained"), (20, "steep_on"), (26, "drained"), (40, "steep_on")):
        story.say(hour, kind)
    for hour, kind in ((42, "cast"), (162, "loaded"), (179.5, "heat_off"), (181, "stripped")):
        story.say(hour, kind)
    if culms_kg is not None:
        story.say(182, "culms", {"net_kg": culms_kg})
    story.say(183, "outturn", {"net_kg": malt_kg, "moisture_wb": 0.045})
    story.say(184, "finished")
    return story


def test_a_thousand_kilos_of_barley_come_out_as_in_the_hand_calculation():
    # 880 kg dry; 1 / 5.5 / 3.5 % of it lost; 829.3 kg of malt at 4.5 %; culms 30.8 kg dry, 32.25 kg as dry as the malt.
    found = account(malted(culms_kg=30.8 / 0.955).history(), at(200))
    assert found.charge.dry_kg == pytest.approx(880.0)
    assert {line.key: line.dry_kg for line in found.lines} == pytest.approx(
        {"steep": 8.8, "respiration": 48.4, "culms": 30.8, "outturn": 792.0}, abs=0.05
    )
    assert found.remainder.value == pytest.approx(0.0, abs=0.05)
    assert found.malting_loss.value == pytest.approx(0.10, abs=1e-4)
    assert found.yield_as_is.value == pytest.approx(0.8293)


def test_each_line_says_whether_it_was_weighed():
    found = account(malted(culms_kg=32.0).history(), at(200))
    assert {line.key: line.how for line in found.lines} == {
        "steep": "estimated",
        "respiration": "estimated",
        "culms": "weighed",
        "outturn": "weighed",
    }


@every_programme
def test_a_run_to_plan_leaves_nothing_unexplained(key):
    found = account(to_plan(key), at(2000))
    assert found.is_complete
    assert found.remainder.value == pytest.approx(0.0, abs=0.05)
    hottest_c = max(step.grain_c or 0.0 for step in BUILTIN[key].steps)
    dark_from_c = BUILTIN[key].setting("roast_dark_from_c")
    roast = "roast_loss_dark" if dark_from_c is not None and hottest_c >= dark_from_c else "roast_loss"
    names = ("steep_loss", "respiration_loss", "rootlet_loss", roast)
    assert found.malting_loss.value == pytest.approx(sum(BUILTIN[key].setting(name) or 0.0 for name in names))


@every_programme
def test_all_lines_and_the_remainder_add_up_to_the_charge(key):
    found = account(to_plan(key), at(2000))
    assert math.fsum(line.dry_kg for line in found.lines) + found.remainder.value == pytest.approx(found.charge.dry_kg)


def test_the_malting_loss_is_that_of_the_mass_balance():
    found = account(malted(charge_kg=24.0, malt_kg=19.62).history(), at(200))
    assert found.malting_loss.value == pytest.approx(dry_loss(24.0, 0.12, 19.62, 0.045))
    assert found.yield_as_is.value == pytest.approx(19.62 / 24.0)
    assert found.malting_loss.half_width > 0


def test_culms_that_nobody_weighed_are_estimated_and_not_left_to_the_remainder():
    found = account(malted().history(), at(200))
    culms = found.line("culms")
    assert (culms.how, culms.dry_kg) == ("estimated", pytest.approx(0.035 * 880.0))
    assert found.remainder.value == pytest.approx(0.0, abs=0.1)


def test_a_missing_sack_stands_in_the_remainder():
    found = account(malted(malt_kg=729.3, culms_kg=32.25).history(), at(200))
    assert found.remainder.value == pytest.approx(95.5, abs=0.1)
    assert found.remainder.value > 2 * found.remainder.sd
    assert found.remainder_share.value == pytest.approx(95.5 / 880.0, abs=1e-3)


def test_more_malt_than_there_can_be_makes_the_remainder_negative():
    assert account(malted(malt_kg=900.0, culms_kg=32.25).history(), at(200)).remainder.value < 0


def test_the_remainder_is_as_uncertain_as_all_its_lines_together():
    found = account(malted(culms_kg=32.25).history(), at(200))
    sds = [found.charge.sd_kg, *(line.sd_kg for line in found.lines)]
    assert found.remainder.sd == pytest.approx(math.sqrt(sum(sd**2 for sd in sds)))


def test_a_live_batch_has_the_lines_known_so_far_and_no_remainder():
    history = malted().history()
    steeping, growing = account(history, at(21)), account(history, at(102))
    assert [line.key for line in steeping.lines] == ["steep"]
    assert steeping.line("steep").dry_kg == pytest.approx(8.8 / 2)
    assert growing.line("respiration").dry_kg == pytest.approx(48.4 / 2)
    assert growing.remainder is None
    assert not growing.is_complete
    assert growing.left_dry_kg == pytest.approx(880.0 - 8.8 - 24.2)


def test_before_the_charge_there_is_no_account():
    assert account(malted().history(), at(-1)).charge is None
    assert account(Story().history([]), at(0)).lines == ()


def test_skimmings_and_samples_are_lines_of_their_own():
    story = malted(malt_kg=780.0)
    story.say(0.5, "skimmings", {"net_kg": 10.0}, method="dried")
    story.say(100.0, "loss", {"net_kg": 2.0}, method="dried")
    found = account(story.history(), at(200))
    assert found.line("skimmings").dry_kg == pytest.approx(8.8)
    assert found.line("samples").dry_kg == pytest.approx(1.76)


def test_a_tray_that_the_wind_took_is_no_malting_loss():
    story, calm = malted(malt_kg=746.37), malted(malt_kg=829.3)
    # A tenth of the charge by its first dry matter, lost right after the charge: all else is nine tenths.
    story.say(0.01, "loss", {"net_kg": 100.0}, method="dried")
    blown, whole = account(story.history(), at(200)), account(calm.history(), at(200))
    assert blown.malting_loss.value == pytest.approx(whole.malting_loss.value, abs=1e-4)
    assert blown.yield_as_is.value == pytest.approx(whole.yield_as_is.value, abs=1e-4)
    assert blown.line("respiration").dry_kg == pytest.approx(0.9 * whole.line("respiration").dry_kg, rel=1e-3)


def test_half_split_off_at_casting_leaves_half_of_everything_after():
    story = malted(malt_kg=829.3 / 2)
    # At casting 871.2 kg dry are left, at 44.5 %: half of them go.
    story.split(42.0, 435.6 / 0.555, 0.445)
    found = account(story.history(), at(200))
    assert found.line("split_off").dry_kg == pytest.approx(435.6)
    assert found.line("respiration").dry_kg == pytest.approx(48.4 / 2, rel=1e-6)
    assert found.malting_loss.value == pytest.approx(0.10, abs=1e-4)
    assert found.yield_as_is.value == pytest.approx(0.8293, abs=1e-4)
    assert found.remainder.value == pytest.approx(0.0, abs=0.05)


def test_rootlets_go_with_the_grain_that_is_split_off():
    story = malted(malt_kg=829.3 / 2)
    # Half way through the growth 847 kg dry are left, at 44 %, with half of their rootlets: half of it all goes.
    story.split(102.0, 423.5 / 0.56, 0.44)
    found = account(story.history(), at(200))
    assert found.line("culms").dry_kg == pytest.approx(0.035 * 440.0, rel=1e-3)
    assert found.remainder.value == pytest.approx(0.0, abs=0.05)


def test_finished_malt_given_to_another_batch_is_part_of_the_outturn():
    story = malted()
    story.split(190.0, 100.0, 0.045)
    found = account(story.history(), at(200))
    assert found.line("split_off") is None
    assert found.line("outturn").dry_kg == pytest.approx(792.0, abs=0.05)


def test_what_was_packed_stands_in_where_no_outturn_was_weighed():
    story = malted()
    story.records = [record for record in story.records if record["kind"] != "outturn"]
    values = {"source": {"type": "batch", "id": "batch-1"}, "target": {"type": "pack", "id": "p"}, "as_is_kg": 829.3}
    story.say(185, "pack", {**values, "moisture_wb": 0.045})
    found = account(story.history(), at(200))
    assert found.outturn_as_is_kg == pytest.approx(829.3)
    assert found.line("outturn").note == "as packed"


def test_packing_does_not_count_the_outturn_twice():
    story = malted()
    values = {"source": {"type": "batch", "id": "batch-1"}, "target": {"type": "pack", "id": "p"}, "as_is_kg": 829.3}
    story.say(185, "pack", {**values, "moisture_wb": 0.045})
    assert account(story.history(), at(200)).remainder.value == pytest.approx(0.0, abs=0.1)


def test_two_loads_and_two_outturns_are_one_malt():
    story = malted(malt_kg=429.3)
    story.say(183.5, "outturn", {"net_kg": 400.0, "moisture_wb": 0.045})
    assert account(story.history(), at(200)).outturn_as_is_kg == pytest.approx(829.3)


def test_while_the_second_load_is_on_the_kiln_the_account_is_not_complete():
    story = malted(malt_kg=400.0)
    story.records = [record for record in story.records if record["kind"] != "finished"]
    story.say(184, "loaded")
    assert not account(story.history(), at(190)).is_complete


def test_malt_of_untested_moisture_is_taken_at_five_percent_and_says_so():
    story = malted()
    story.records[-2]["values"] = {"net_kg": 829.3}
    malt = account(story.history(), at(200)).line("outturn")
    assert malt.dry_kg == pytest.approx(829.3 * 0.95)
    assert "not tested" in malt.note
    assert malt.sd_kg > 829.3 * 0.009


def test_the_moisture_test_after_the_kiln_serves_an_outturn_without_its_own():
    story = malted()
    story.records[-2]["values"] = {"net_kg": 829.3}
    story.say(182.9, "moisture_test", {"value": 0.06}, method="oven_malt")
    malt = account(story.history(), at(200)).line("outturn")
    assert malt.dry_kg == pytest.approx(829.3 * 0.94)
    assert malt.note == ""


def test_a_mass_that_was_guessed_makes_its_line_an_estimate_and_wide():
    guessed = account(malted(culms_kg=32.0).history(), at(200)).line("culms")
    story = malted()
    story.say(182, "culms", {"net_kg": 32.0}, quality="estimated")
    line = account(story.history(), at(200)).line("culms")
    assert line.is_estimate
    assert line.sd_kg > 3 * guessed.sd_kg


def test_skimmings_out_of_a_small_sample_take_nothing_from_the_charge():
    story = malted()
    story.say(0.2, "skimmings", {"net_kg": 0.05, "of_kg": 1.0}, method="dried")
    assert account(story.history(), at(200)).line("skimmings") is None


def test_without_a_programme_the_losses_are_those_from_memory():
    story = malted()
    story.programme = None
    found = account(story.history(), at(200))
    assert found.line("steep").dry_kg == pytest.approx(880.0 * 0.01 * 42 / 48)
    assert found.line("respiration").dry_kg == pytest.approx(880.0 * 0.05)


def test_a_charge_of_two_lots_counts_both():
    story = malted()
    story.charge(1000.0, 0.14, hour=-0.5, lot="lot-2")
    assert account(story.history(), at(200)).charge.dry_kg == pytest.approx(880.0 + 860.0)
