"""Moisture from the weighings of a batch.

The figures are the identities of the moisture chapter (100 kg at 12 % weighs 160 kg at 45 %, and so on), given here as
weighings of a test bag and of the whole charge; and the published barley steep of Molina-Cano et al. 1995, J. Inst.
Brew. 101:79-83, data set barleyh20 of the CRAN package pbANOVA.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.judgement.forecasts.moisture import dry_loss, moisture_at, moistures_at, samples
from app.judgement.grain.charges import removed_dry_kg
from app.judgement.grain.losses import losses_between
from tests.judgement.story import Story, at

SERIES = np.loadtxt(Path(__file__).parents[2] / "science" / "data" / "molina_cano_1995.csv", delimiter=",", skiprows=2)
HOURS = SERIES[:, 0]


def charged(kg=100.0, moisture_wb=0.12, programme=None):
    story = Story(programme)
    story.charge(kg, moisture_wb)
    return story


def last(story):
    return samples(story.history())[-1]


def weigh_all(story, hour, kg, method="blotted", **more):
    story.say(hour, "charge_weighing", {"net_kg": kg}, method=method, **more)


# --- the identities, as weighings ------------------------------------------------------------------------------------


def test_the_charge_itself_is_the_first_determination():
    (first,) = samples(charged().history())
    assert (first.moisture_wb, first.at, first.basis) == (pytest.approx(0.12), at(0), "charged")


@pytest.mark.parametrize(("kg", "expected"), [(154.386, 0.43), (160.0, 0.45), (162.963, 0.46)])
def test_the_whole_charge_weighed_gives_the_moisture_of_the_identity(kg, expected):
    story = charged()
    weigh_all(story, 0.1, kg)
    assert last(story).moisture_wb == pytest.approx(expected, abs=1e-6)


def test_a_test_bag_gives_the_same_moisture_as_the_charge():
    story = charged()
    story.bag_start(0.0, 0.1)
    story.bag(0.1, 0.16)
    assert last(story).moisture_wb == pytest.approx(0.45)


def test_the_dry_matter_lost_by_then_is_counted():
    # The pale programme loses 1 % in its 42 hours of steep: 160 kg is then 45.550 %, not 45.000 %.
    story = charged(programme="barley_pale")
    story.say(0.0, "steep_on")
    weigh_all(story, 42.0, 160.0)
    assert dry_loss(story.history(), at(42)) == pytest.approx(0.01)
    assert last(story).moisture_wb == pytest.approx(0.4555)


def test_the_start_weight_follows_what_was_skimmed_off():
    # 97 kg left of 100 kg weigh 155.2 kg at 45 %; taken as 100 kg that would read 43.3 %.
    story = charged()
    story.say(0.05, "skimmings", {"net_kg": 3.0}, method="dried")
    weigh_all(story, 0.1, 97.0 * 0.88 / 0.55)
    assert last(story).moisture_wb == pytest.approx(0.45)
    story.withdraw(1.0, "fact-001")
    assert last(story).moisture_wb == pytest.approx(0.4330, abs=1e-4)


def test_the_start_weight_follows_what_was_split_off():
    story = charged()
    story.split(0.05, 100.0 * 0.88 / 0.55 / 2, 0.45)
    weigh_all(story, 0.1, 80.0)
    assert last(story).moisture_wb == pytest.approx(0.45)


def test_what_is_taken_out_late_counts_with_what_it_was_charged_with():
    story = charged(programme="barley_pale")
    story.say(0.0, "steep_on")
    story.say(42.0, "loss", {"net_kg": 9.9 / 0.88}, method="dried")
    history = story.history()
    assert removed_dry_kg(history, at(43)) == pytest.approx(9.9 / (1 - dry_loss(history, at(42))))


def test_a_sample_that_was_looked_through_takes_nothing_from_the_charge():
    story = charged()
    story.say(0.05, "skimmings", {"net_kg": 0.02, "of_kg": 1.0}, method="dried")
    assert removed_dry_kg(story.history(), at(1)) == 0.0


# --- the published steep ---------------------------------------------------------------------------------------------


def steep(gains_percent, moisture_wb=0.12, programme=None):
    story = charged(moisture_wb=moisture_wb, programme=programme)
    story.say(0.0, "steep_on")
    story.bag_start(0.0, 0.050, moisture_wb)
    for hour, gain in zip(HOURS, gains_percent, strict=True):
        story.bag(float(hour), 0.050 * (1 + gain / 100))
    return story.history()


@pytest.mark.parametrize("column", [1, 2], ids=["slow lot", "fast lot"])
@pytest.mark.parametrize("moisture_wb", [0.10, 0.12, 0.14])
def test_the_published_gains_come_back_from_the_moisture(column, moisture_wb):
    history = steep(SERIES[:, column], moisture_wb)
    found = [sample for sample in samples(history) if sample.basis == "test_bag"]
    dry = [(1 - moisture_wb) * (1 - dry_loss(history, sample.at)) for sample in found]
    gains = [100 * (left / (1 - sample.moisture_wb) - 1) for left, sample in zip(dry, found, strict=True)]
    assert gains == pytest.approx(list(SERIES[:, column]), abs=1e-9)


@pytest.mark.parametrize("column", [1, 2], ids=["slow lot", "fast lot"])
def test_the_published_moisture_lies_inside_the_interval_shown(column):
    # (M0 + g) / (1 + g): what the published gains are as moisture, with no dry matter lost.
    found = [sample for sample in samples(steep(SERIES[:, column])) if sample.basis == "test_bag"]
    expected = [(0.12 + gain / 100) / (1 + gain / 100) for gain in SERIES[:, column]]
    assert all(abs(s.moisture_wb - m) <= s.half_width for s, m in zip(found, expected, strict=True))
    assert all(sample.half_width < 0.01 for sample in found)


# --- the way of weighing, and how sure it is -------------------------------------------------------------------------


def test_grain_drained_but_not_blotted_is_corrected_for_its_film_and_less_sure():
    story = charged()
    weigh_all(story, 0.1, 160.0, "drained")
    drained = last(story)
    assert drained.moisture_wb == pytest.approx(0.45 - 0.015)
    blotted = charged()
    weigh_all(blotted, 0.1, 160.0)
    assert drained.half_width > last(blotted).half_width + 0.005


def test_a_weighing_that_does_not_say_how_holds_both_ways_in_its_interval():
    unsaid, blotted, drained = charged(), charged(), charged()
    for story, method in ((unsaid, None), (blotted, "blotted"), (drained, "drained")):
        weigh_all(story, 0.1, 160.0, method)
    wide = last(unsaid)
    assert abs(wide.moisture_wb - last(blotted).moisture_wb) < wide.half_width
    assert abs(wide.moisture_wb - last(drained).moisture_wb) < wide.half_width


def test_the_half_width_is_that_of_a_monte_carlo():
    story = charged(moisture_wb=0.12)
    story.records[0]["method"] = "assumed"
    story.records[0]["values"]["as_is_kg"] = 100.0
    story.say(0.0, "steep_on")
    weigh_all(story, 30.0, 160.0)
    found = last(story)
    rng, n = np.random.default_rng(7), 200_000
    mass = 160.0 + rng.uniform(-0.08, 0.08, n)
    initial = 100.0 + rng.uniform(-0.1, 0.1, n)
    dry_share = 1 - rng.normal(0.12, 0.01, n)
    loss = dry_loss(story.history(), at(30))
    kept = 1 - rng.normal(loss, 0.5 * loss, n)
    drawn = (mass - initial * dry_share * kept) / mass - rng.normal(0.0, 0.0015, n)
    assert found.moisture_wb == pytest.approx(drawn.mean(), abs=1e-4)
    assert found.sd == pytest.approx(drawn.std(), rel=0.02)


def test_a_coarser_scale_is_less_sure():
    def weighed(typed):
        story = charged()
        story.bag_start(0.0, 0.1)
        story.records.append(
            {
                "id": "bag",
                "kind": "test_bag",
                "subject": {"type": "batch", "id": "batch-1"},
                "at": at(0.1).isoformat(),
                "method": "blotted",
                "typed": {"vessel": "bag 1", "net": typed, "net_unit": "g"},
            }
        )
        return last(story)

    fine, coarse = weighed("160.0"), weighed("160")
    assert fine.moisture_wb == coarse.moisture_wb == pytest.approx(0.45)
    assert coarse.sd > fine.sd


def test_a_scale_of_fifty_grams_is_known_by_its_weights():
    def weighed(*kilograms):
        story = charged()
        story.bag_start(0.0, 2.0)
        for place, kg in enumerate(kilograms):
            typed = {"vessel": "bag 1", "net": f"{kg:.2f}", "net_unit": "kg"}
            story.bag(6.0 + place, kg, typed=typed)
        return last(story)

    fine, coarse = weighed(2.61, 2.83, 2.97, 3.00), weighed(2.60, 2.85, 2.95, 3.00)
    assert fine.moisture_wb == coarse.moisture_wb
    assert coarse.own_sd > 2.0 * fine.own_sd


def test_what_all_weighings_of_a_bag_have_alike_no_number_of_them_makes_smaller():
    story = charged()
    story.say(0.0, "steep_on")
    story.bag_start(-0.2, 1.0)
    for place in range(12):
        story.bag(20.0 + 0.5 * place, 1.5 + 0.004 * place)
    found = samples(story.history())[-1]
    estimate = moisture_at(story.history(), at(25.6))
    assert found.shared_sd > found.own_sd
    assert estimate.sd >= found.shared_sd


def test_dry_matter_lost_on_the_floor_stays_as_unsure_however_often_the_bag_is_weighed():
    def known_after(hours):
        story = charged(programme="barley_pale")
        story.say(0.0, "steep_on")
        story.bag_start(-0.2, 1.0)
        story.bag(39.9, 1.52)
        story.say(40.0, "cast")
        for hour in hours:
            story.bag(hour, 1.49)
        return samples(story.history())[-1], moisture_at(story.history(), at(169.0))

    alone, once = known_after([168.0])
    _, often = known_after(160.0 + 0.5 * place for place in range(17))
    assert alone.shared_sd > 2.0 * alone.own_sd
    assert once.sd > often.sd > 0.85 * once.sd


def test_an_assumed_moisture_at_charging_is_less_sure_than_a_measured_one():
    measured, assumed = charged(), Story()
    assumed.charge(100.0, 0.12, method="assumed")
    for story in (measured, assumed):
        weigh_all(story, 0.1, 160.0)
    assert last(assumed).sd > last(measured).sd


def test_a_scale_over_its_range_tells_no_moisture():
    story = charged()
    weigh_all(story, 0.1, 150.0, quality="over_range")
    assert [sample.basis for sample in samples(story.history())] == ["charged"]


def test_grain_lighter_than_its_own_dry_matter_has_no_moisture():
    story = charged()
    weigh_all(story, 0.1, 60.0)
    assert [sample.basis for sample in samples(story.history())] == ["charged"]


# --- bags and trays --------------------------------------------------------------------------------------------------


def test_a_bag_without_a_start_tells_nothing():
    story = charged()
    story.bag(5.0, 0.06)
    assert len(samples(story.history())) == 1


def test_a_bag_weighed_gross_has_its_own_wet_tare_taken_off():
    story = charged()
    story.say(0.0, "test_bag_start", {"vessel": "bag 1", "gross_kg": 0.130, "tare_kg": 0.030, "net_kg": 0.100})
    story.say(0.1, "test_bag", {"vessel": "bag 1", "gross_kg": 0.190}, method="blotted")
    assert last(story).moisture_wb == pytest.approx(0.45)


def test_each_bag_goes_by_its_own_start():
    story = charged()
    for vessel, kg in (("bag 1", 0.1), ("bag 2", 0.2)):
        story.say(0.0, "test_bag_start", {"vessel": vessel, "net_kg": kg})
    story.say(0.1, "test_bag", {"vessel": "bag 2", "net_kg": 0.32}, method="blotted")
    assert last(story).moisture_wb == pytest.approx(0.45)


def test_a_new_start_of_the_same_bag_leaves_the_earlier_weighings_as_they_were():
    story = charged()
    story.bag_start(0.0, 0.1)
    story.bag(1.0, 0.12)
    before = last(story).moisture_wb
    story.bag_start(2.0, 0.2, 0.30)
    story.bag(2.1, 0.2)
    first, second = (sample.moisture_wb for sample in samples(story.history())[1:])
    assert first == pytest.approx(before)
    assert second == pytest.approx(0.30, abs=1e-3)


def test_a_bag_filled_with_wet_grain_starts_from_the_moisture_of_the_batch_then():
    story = charged()
    story.say(0.0, "steep_on")
    weigh_all(story, 20.0, 88.0 / 0.65)
    story.bag_start(20.5, 0.1)
    story.bag(20.6, 0.1)
    wet = samples(story.history())
    assert wet[-1].moisture_wb == pytest.approx(wet[-2].moisture_wb, abs=2e-3)
    assert wet[-1].moisture_wb > 0.34


def kilned(loaded_wb=0.44):
    story = charged()
    story.say(100.0, "loaded")
    story.say(100.0, "moisture_test", {"value": loaded_wb}, method="oven_two_stage")
    story.say(100.1, "tray", {"vessel": "tray 2", "gross_kg": 1.5, "tare_kg": 0.5})
    return story


def test_a_tray_dries_from_what_it_weighed_when_it_was_loaded():
    # 1000 g at 44 % on a tray of 500 g is at 4.5 % when the scale shows 1086.4 g.
    story = kilned()
    story.say(110.0, "tray", {"vessel": "tray 2", "gross_kg": 1.0864})
    found = last(story)
    assert found.moisture_wb == pytest.approx(0.045, abs=1e-4)
    assert found.place == "tray 2"


def test_each_tray_has_its_own_start():
    story = kilned()
    story.say(100.1, "tray", {"vessel": "tray 3", "gross_kg": 2.5, "tare_kg": 0.5})
    story.say(110.0, "tray", {"vessel": "tray 3", "gross_kg": 0.5 + 2.0 * 0.56 / 0.90})
    assert last(story).moisture_wb == pytest.approx(0.10, abs=1e-4)


def test_a_second_load_on_the_same_tray_starts_anew():
    story = kilned()
    story.say(110.0, "tray", {"vessel": "tray 2", "gross_kg": 1.0864})
    story.say(120.0, "loaded")
    story.say(120.0, "moisture_test", {"value": 0.42}, method="oven_two_stage")
    story.say(120.1, "tray", {"vessel": "tray 2", "gross_kg": 1.7, "tare_kg": 0.5})
    story.say(125.0, "tray", {"vessel": "tray 2", "gross_kg": 0.5 + 1.2 * 0.58 / 0.80})
    assert last(story).moisture_wb == pytest.approx(0.20, abs=1e-4)


def test_green_malt_weighed_long_before_the_kiln_makes_its_trays_less_sure():
    def tray_sd(tested_hour):
        story = charged()
        story.say(40.0, "cast")
        story.say(tested_hour, "moisture_test", {"value": 0.44}, method="oven_two_stage")
        story.say(160.0, "loaded")
        story.say(160.1, "tray", {"vessel": "tray 2", "gross_kg": 1.5, "tare_kg": 0.5})
        story.say(170.0, "tray", {"vessel": "tray 2", "gross_kg": 1.1})
        return last(story).sd

    assert tray_sd(45.0) > 1.5 * tray_sd(159.9)


# --- grain that comes and goes ---------------------------------------------------------------------------------------


def test_two_lots_charged_together_start_at_their_mean():
    story = Story()
    story.charge(60.0, 0.12)
    story.charge(40.0, 0.14, hour=2.0, lot="lot-2")
    assert samples(story.history())[0].moisture_wb == pytest.approx(0.128)


def test_green_malt_added_later_does_not_make_the_first_charge_wet():
    story = charged()
    other = {"source": {"type": "batch", "id": "batch-9"}, "target": {"type": "batch", "id": "batch-1"}}
    story.say(60.0, "merge", {**other, "as_is_kg": 50.0, "moisture_wb": 0.44})
    assert samples(story.history())[0].moisture_wb == pytest.approx(0.12)
    story.bag_start(0.0, 0.1)
    story.bag(0.1, 0.16)
    assert moisture_at(story.history(), at(0.1)).moisture_wb == pytest.approx(0.45)


def test_the_whole_after_a_merge_is_weighed_against_both():
    story = charged()
    other = {"source": {"type": "batch", "id": "batch-9"}, "target": {"type": "batch", "id": "batch-1"}}
    story.say(1.0, "merge", {**other, "as_is_kg": 80.0, "moisture_wb": 0.45})
    weigh_all(story, 1.1, (88.0 + 44.0) / 0.55)
    assert last(story).moisture_wb == pytest.approx(0.45)


# --- between and after weighings -------------------------------------------------------------------------------------


def determined(*points):
    story = charged()
    story.say(0.0, "steep_on")
    for hour, value in points:
        story.say(hour, "moisture_test", {"value": value}, method="oven_two_stage")
    return story.history()


def test_before_the_charge_no_moisture_is_known():
    assert moisture_at(determined(), at(-1)) is None


def test_at_a_determination_it_is_that_and_no_estimate():
    found = moisture_at(determined((10, 0.30)), at(10.1))
    assert (found.moisture_wb, found.is_estimate) == (0.30, False)


def test_between_two_it_follows_the_curve_of_uptake_and_says_so():
    found = moisture_at(determined((10, 0.30), (20, 0.40)), at(15))
    # Water is taken up ever more slowly: half-way in time the grain is more than half-way in moisture.
    assert 0.35 < found.moisture_wb < 0.40
    assert found.is_estimate


def test_after_the_last_it_goes_on_and_grows_less_sure_with_every_hour():
    history = determined((10, 0.30))
    found = [moisture_at(history, at(hour)) for hour in (11, 15, 25)]
    widths, values = [each.half_width for each in found], [each.moisture_wb for each in found]
    assert widths == sorted(widths)
    assert widths[0] < widths[-1]
    assert 0.30 < values[0] < values[1] < values[2] < 0.45


def test_a_steep_that_was_never_weighed_is_no_longer_as_dry_as_it_was_charged():
    story = charged()
    story.say(0.0, "steep_on")
    found = moisture_at(story.history(), at(24))
    assert found.moisture_wb - found.half_width > 0.25
    assert found.half_width > 0.03


def test_on_the_floor_it_holds_on_from_the_last_weighing():
    story = charged()
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    story.say(40.0, "moisture_test", {"value": 0.44}, method="oven_two_stage")
    assert moisture_at(story.history(), at(64)).moisture_wb == pytest.approx(0.44, abs=0.01)


def test_a_moisture_that_nothing_recorded_led_to_is_taken_as_it_is():
    story = charged()
    story.say(100.0, "moisture_test", {"value": 0.44}, method="oven_two_stage")
    story.say(100.5, "loaded")
    assert moisture_at(story.history(), at(101)).moisture_wb == pytest.approx(0.44, abs=0.02)


def test_heat_that_came_back_after_a_power_cut_dries_on_from_where_the_trays_stood():
    story = kilned()
    story.say(100.2, "heat_on")
    for hour, moisture_wb in ((104.0, 0.36), (107.0, 0.28)):
        story.say(hour, "tray", {"vessel": "tray 2", "gross_kg": 0.5 + 0.56 / (1.0 - moisture_wb)})
    story.say(107.1, "heat_off")
    before = moisture_at(story.history(), at(109)).moisture_wb
    assert before == pytest.approx(0.28, abs=0.02)
    story.say(110.0, "heat_on")
    after = [moisture_at(story.history(), at(hour)).moisture_wb for hour in (110.1, 112.0, 115.0)]
    assert after[0] == pytest.approx(before, abs=0.02)
    assert after[0] > after[1] > after[2]
    story.say(115.0, "tray", {"vessel": "tray 2", "gross_kg": 0.5 + 0.56 / 0.82})
    assert last(story).moisture_wb == pytest.approx(0.18, abs=1e-3)
    assert moisture_at(story.history(), at(115.5)).moisture_wb == pytest.approx(0.17, abs=0.02)


def test_the_upper_bound_on_the_kiln_is_that_of_the_wettest_tray():
    story = kilned()
    story.say(100.1, "tray", {"vessel": "tray 3", "gross_kg": 1.5, "tare_kg": 0.5})
    story.say(100.2, "heat_on")
    for hour, wet, dry in ((104.0, 0.40, 0.34), (108.0, 0.34, 0.20)):
        story.say(hour, "tray", {"vessel": "tray 2", "gross_kg": 0.5 + 0.56 / (1.0 - wet)})
        story.say(hour, "tray", {"vessel": "tray 3", "gross_kg": 0.5 + 0.56 / (1.0 - dry)})
    found = moisture_at(story.history(), at(108.5))
    assert found.is_estimate
    assert found.moisture_wb < 0.31
    assert found.upper > 0.32


@given(hour=st.floats(0.0, 40.0))
def test_an_estimate_never_leaves_what_a_steep_can_come_to_and_is_never_certain(hour):
    history = determined((10, 0.30), (20, 0.40), (30, 0.38))
    found = moisture_at(history, at(hour))
    assert 0.12 - 1e-12 <= found.moisture_wb <= 0.45
    assert found.upper <= 0.999
    if found.is_estimate:
        assert found.sd > 0


def test_moistures_asked_for_at_once_are_those_asked_for_one_by_one():
    story = kilned()
    story.say(100.1, "tray", {"vessel": "tray 3", "gross_kg": 1.5, "tare_kg": 0.5})
    story.say(100.2, "heat_on")
    for vessel, wet in (("tray 2", 0.40), ("tray 3", 0.34)):
        story.say(104.0, "tray", {"vessel": vessel, "gross_kg": 0.5 + 0.56 / (1.0 - wet)})
    hours = (-1.0, 50.0, 100.5, 103.0, 104.0, 106.5, 112.0)
    together = moistures_at(story.history(), [at(hour) for hour in hours])
    for hour, found in zip(hours, together, strict=True):
        alone = moisture_at(story.history(), at(hour))
        assert (found is None) == (alone is None)
        if found is not None and alone is not None:
            assert (found.moisture_wb, found.sd) == pytest.approx((alone.moisture_wb, alone.sd), rel=1e-9)
            assert found.upper == pytest.approx(alone.upper, rel=1e-9)


def test_weighings_within_a_quarter_of_an_hour_are_one_with_their_spread():
    story = charged()
    for vessel, wet in (("bag 1", 0.158), ("bag 2", 0.162)):
        story.say(0.0, "test_bag_start", {"vessel": vessel, "net_kg": 0.1})
        story.say(5.0, "test_bag", {"vessel": vessel, "net_kg": wet}, method="blotted")
    history = story.history()
    found, single = moisture_at(history, at(5)), samples(history)[1:]
    low, high = sorted(sample.moisture_wb for sample in single)
    assert low < found.moisture_wb < high
    assert found.sd >= abs(high - low) / 2


def test_losses_in_stretches_make_up_the_whole():
    story = charged(programme="barley_pale")
    for hour, kind in ((0.0, "steep_on"), (20.0, "drained"), (42.0, "cast"), (160.0, "loaded")):
        story.say(hour, kind)
    history = story.history()
    first, second = losses_between(history, at(0), at(60)).total, losses_between(history, at(60), at(150)).total
    assert (1 - first) * (1 - second) == pytest.approx(1 - losses_between(history, at(0), at(150)).total)


@given(kg=st.floats(101.0, 200.0), skimmed=st.floats(0.0, 20.0))
def test_moisture_never_leaves_its_range_and_the_dry_matter_is_kept(kg, skimmed):
    story = charged()
    story.say(0.05, "skimmings", {"net_kg": skimmed}, method="dried")
    weigh_all(story, 0.1, kg)
    found = last(story)
    assert 0.0 <= found.moisture_wb < 1.0
    assert kg * (1 - found.moisture_wb) == pytest.approx((100.0 - skimmed) * 0.88)
    assert math.isfinite(found.sd)


# --- a batch whose green malt was never weighed ----------------------------------------------------------------------


def unweighed():
    """Cast at a known moisture, and then seven days on the floor and a load on the kiln without a weighing."""
    story = charged()
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    story.say(40.0, "moisture_test", {"value": 0.434}, method="oven_two_stage")
    return story


def test_to_load_the_kiln_makes_nobody_less_sure_of_the_moisture():
    story = unweighed()
    before = moisture_at(story.history(), at(208))
    story.say(208.0, "loaded")
    after = moisture_at(story.history(), at(208))
    assert after.moisture_wb == pytest.approx(before.moisture_wb, abs=0.001)
    assert after.half_width == pytest.approx(before.half_width, rel=0.1)
    assert after.half_width < 0.05


def test_a_test_of_the_malt_tells_how_wet_its_trays_were_loaded():
    story = unweighed()
    story.say(208.0, "loaded")
    story.say(208.1, "tray", {"vessel": "tray 1", "gross_kg": 1.5, "tare_kg": 0.5})
    story.say(208.2, "heat_on")
    story.say(230.0, "tray", {"vessel": "tray 1", "gross_kg": 1.1})
    story.say(231.0, "heat_off")
    unsure = last(story)
    story.say(236.0, "moisture_test", {"value": 0.046}, method="oven_malt")
    told = next(each for each in samples(story.history()) if each.fact.id == unsure.fact.id)
    assert told.half_width < 0.5 * unsure.half_width
    assert abs(told.moisture_wb - 0.046) < told.half_width + 0.006


def test_of_a_bag_that_has_drained_for_hours_less_is_taken_off_for_the_film():
    def said(hour: float) -> float:
        story = Story()
        story.charge(50.0, 0.12, -0.5)
        story.bag_start(-0.2, 0.5, 0.12)
        story.say(0.0, "steep_on")
        story.say(6.0, "drained")
        story.bag(hour, 0.65, method="drained")
        return samples(story.history())[-1].moisture_wb

    assert said(7.0) == pytest.approx(said(6.0) + 0.015 * (1.0 - np.exp(-1.0 / 6.0)), abs=0.0005)
    assert said(6.0) + 0.012 < said(20.0) < said(6.0) + 0.017
