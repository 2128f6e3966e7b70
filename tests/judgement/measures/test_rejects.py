"""Float-test rejects by count and by weight, and which of them is shown."""

import pytest
from scipy.stats import binomtest

from app.judgement.measures.rejects import float_tests, reject_share, rejects
from tests.judgement.story import LOT, Story, at


def charged():
    story = Story()
    story.charge(100.0, 0.12)
    return story


def test_a_count_has_its_wilson_interval():
    story = charged()
    story.say(0.1, "float_count", {"looked_at": 200, "counts": {"floated": 6}})
    (found,) = rejects(story.history())
    interval = binomtest(6, 200).proportion_ci(0.95, method="wilson")
    assert (found.basis, found.n, found.share) == ("count", 200, 0.03)
    assert (found.low, found.high) == pytest.approx(tuple(interval))


def test_dried_skimmings_are_a_share_of_the_charge_as_they_are():
    story = charged()
    story.say(0.5, "skimmings", {"net_kg": 1.0}, method="dried")
    found = reject_share(story.history())
    assert found.share == pytest.approx(0.01)
    assert (found.basis, found.is_whole, found.is_estimate) == ("weight", True, False)
    assert "dried" in found.way


def test_wet_skimmings_count_less_than_dry_ones_and_say_they_are_an_estimate():
    story = charged()
    story.say(0.5, "skimmings", {"net_kg": 1.0}, method="drained")
    found = reject_share(story.history())
    assert found.share < 0.01
    assert found.is_estimate
    assert found.low < found.share < found.high


def test_two_skimmings_of_the_charge_are_one_share():
    story = charged()
    story.say(0.3, "skimmings", {"net_kg": 0.6}, method="dried")
    story.say(0.5, "skimmings", {"net_kg": 0.4}, method="dried")
    (found,) = rejects(story.history())
    assert found.share == pytest.approx(0.01)
    assert len(found.facts) == 2


def test_skimmings_of_a_sample_are_a_share_of_that_sample():
    story = charged()
    story.say(0.1, "skimmings", {"net_kg": 0.03, "of_kg": 1.0}, method="dried")
    (found,) = rejects(story.history())
    assert found.share == pytest.approx(0.03)
    assert not found.is_whole


def test_the_whole_charge_speaks_before_a_count():
    story = charged()
    story.say(0.1, "float_count", {"looked_at": 100, "counts": {"floated": 9}})
    story.say(0.5, "skimmings", {"net_kg": 1.0}, method="dried")
    assert reject_share(story.history()).basis == "weight"
    assert len(rejects(story.history())) == 2


def test_ten_counts_are_shown_as_one_with_all_their_kernels():
    story = charged()
    for place in range(10):
        story.say(0.1 + place / 100, "float_count", {"looked_at": 100, "counts": {"floated": 2}})
    found = reject_share(story.history())
    assert (found.n, found.share) == (1000, 0.02)


def test_float_tests_of_a_lot_are_read_from_the_lots_own_facts():
    story = charged()
    story.say(-24.0, "float_count", {"looked_at": 100, "counts": {"floated": 3}}, subject=LOT)
    lot = story.history().lots["lot-1"]
    assert [test.share for test in float_tests(lot.facts)] == [0.03]


def test_what_comes_after_now_is_not_known_yet():
    story = charged()
    story.say(0.5, "skimmings", {"net_kg": 1.0}, method="dried")
    assert reject_share(story.history(), at(0.4)) is None


def test_no_test_is_no_share():
    assert reject_share(charged().history()) is None
