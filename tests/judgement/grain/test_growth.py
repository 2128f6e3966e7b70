"""What counts of kernels say. Class figures by hand from the definition of the classes; intervals against scipy."""

import pytest
from scipy.stats import binomtest

from app.judgement.facts.shapes import Tally
from app.judgement.grain.counts import chit_counts, classes_of, growth_counts, growth_of, rub_outs
from tests.judgement.story import Story

PERCENTS = {
    "to_quarter": 2,
    "quarter_to_half": 3,
    "half_to_three_quarters": 15,
    "three_quarters_to_full": 75,
    "over": 5,
}


def counted(counts, looked_at=None, lengths=()):
    story = Story()
    values = {"counts": counts, "lengths": list(lengths)}
    if looked_at is not None:
        values["looked_at"] = looked_at
    story.say(100.0, "growth_count", values)
    return story.history()


def wilson(found, n):
    return binomtest(found, n).proportion_ci(0.95, method="wilson")


def test_the_published_classes_give_the_mean_and_the_bounds_of_the_hand_calculation():
    (count,) = growth_counts(counted(PERCENTS))
    assert count.mean == pytest.approx(0.8200, abs=1e-12)
    assert (count.low, count.high) == pytest.approx((0.695, 0.945), abs=1e-12)
    assert growth_of(count.fact, overgrown_as=1.0).mean == pytest.approx(0.81375, abs=1e-12)


def test_overgrown_and_ungrown_shares_carry_the_wilson_interval():
    (count,) = growth_counts(counted(PERCENTS))
    assert (count.overgrown.low, count.overgrown.high) == pytest.approx(tuple(wilson(5, 100)))
    assert (count.ungrown.low, count.ungrown.high) == pytest.approx(tuple(wilson(2, 100)))
    assert count.overgrown.share == 0.05


def test_broken_and_mouldy_kernels_stay_out_of_the_mean_and_are_told_apart():
    (count,) = growth_counts(counted({"three_quarters_to_full": 45, "broken": 3, "mouldy": 2}, looked_at=50))
    assert (count.n, count.mean) == (45, 0.875)
    assert dict(count.set_aside) == {"broken": 3, "mouldy": 2}


def test_lengths_give_their_own_mean_and_spread_and_no_hidden_bounds():
    lengths = (0.2, 0.6, 0.7, 0.8, 1.1)
    (count,) = growth_counts(counted({}, lengths=lengths))
    assert count.mean == pytest.approx(0.68)
    assert count.sd == pytest.approx((0.428 / 4) ** 0.5)
    assert (count.low, count.high) == (count.mean, count.mean)
    assert (count.overgrown.found, count.ungrown.found, count.n) == (1, 1, 5)


def test_lengths_may_stand_beside_broken_ones():
    (count,) = growth_counts(counted({"broken": 1}, looked_at=4, lengths=(0.5, 0.6, 0.7)))
    assert (count.n, dict(count.set_aside)) == (3, {"broken": 1})


def test_a_length_on_an_edge_counts_in_the_longer_class_but_one_whole_kernel_is_not_overgrown():
    found = classes_of((0.0, 0.25, 0.5, 0.75, 1.0, 1.0001))
    assert list(found.values()) == [1, 1, 1, 2, 1]


def test_one_kernel_alone_is_not_judged():
    assert growth_counts(counted({"over": 1})) == ()
    assert growth_counts(counted({}, lengths=(0.7,))) == ()


def test_a_count_of_broken_kernels_only_is_not_judged():
    assert growth_counts(counted({"broken": 8}, looked_at=8)) == ()


def test_four_times_the_kernels_halve_the_uncertainty():
    few = growth_of(tally_of(25)).mean_sd
    many = growth_of(tally_of(100)).mean_sd
    assert few / many == pytest.approx(2.0, rel=0.02)


def tally_of(each):
    (fact,) = counted({"half_to_three_quarters": each, "three_quarters_to_full": each}).facts
    assert isinstance(fact, Tally)
    return fact


def test_chits_are_a_share_of_all_that_were_looked_at():
    story = Story()
    story.say(30.0, "chit_count", {"looked_at": 100, "counts": {"chitted": 83}})
    (count,) = chit_counts(story.history())
    share = count.shares["chitted"]
    assert (share.share, share.n) == (0.83, 100)
    assert (share.low, share.high) == pytest.approx(tuple(wilson(83, 100)))


def test_no_chit_at_all_still_has_an_upper_bound():
    story = Story()
    story.say(20.0, "chit_count", {"looked_at": 50, "counts": {"chitted": 0}})
    share = chit_counts(story.history())[0].shares["chitted"]
    assert share.low == 0.0
    assert share.half_width == pytest.approx(wilson(0, 50).high)


def test_a_rub_out_tells_each_class_of_those_looked_at():
    story = Story()
    story.say(120.0, "rub_out", {"looked_at": 20, "counts": {"chalky": 15, "hard_end": 2}})
    shares = rub_outs(story.history())[0].shares
    assert {name: share.found for name, share in shares.items()} == {
        "chalky": 15,
        "pasty": 0,
        "lumpy": 0,
        "hard_end": 2,
    }
    assert shares["hard_end"].share == pytest.approx(0.1)
