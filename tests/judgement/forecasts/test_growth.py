"""Forecasts of the growth on the floor."""

from datetime import timedelta

import pytest

from app.judgement.forecasts.forecast import acrospire_at, evaluate, fit, time_to_acrospire
from tests.judgement.plan_run import growth_classes
from tests.judgement.story import Story, at

HOUR = timedelta(hours=1)


def floor(*counted: tuple[float, float], grain_c: float = 15.0, until_h: float = 140.0) -> Story:
    """A bed cast at hour 40, with (hours since, mean) of growth counts of a hundred kernels."""
    story = Story()
    story.charge(50.0, 0.12, -0.5)
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    for hour in range(41, int(until_h), 6):
        story.say(hour, "grain_temperature", {"value": grain_c})
    for hour, mean in counted:
        story.say(40.0 + hour, "growth_count", {"looked_at": 100, "counts": growth_classes(mean, 100)})
    return story


def span(story: Story, now_h: float) -> float:
    found = time_to_acrospire(story.history(), 0.75, at(now_h))
    return (found.high - found.low) / HOUR


def test_before_any_count_barley_of_15_degrees_is_at_three_quarters_in_about_five_days():
    found = time_to_acrospire(floor(until_h=50.0).history(), 0.75, at(50.0))
    assert 100.0 < (found.central - at(40.0)) / HOUR < 145.0
    assert found.low < found.central < found.high


def test_the_interval_narrows_with_every_count():
    counts = [(24.0, 0.15), (48.0, 0.30), (72.0, 0.45), (96.0, 0.60)]
    spans = [span(floor(*counts[:number], until_h=45.0 + 24.0 * number), 41.0 + 24.0 * number) for number in range(5)]
    assert spans == sorted(spans, reverse=True)
    assert spans[4] < spans[0] / 2.5


def test_counts_that_run_straight_are_carried_on():
    story = floor((48.0, 0.30), (72.0, 0.45), (96.0, 0.60), until_h=137.0)
    found = time_to_acrospire(story.history(), 0.75, at(137.0))
    assert (found.central - at(40.0)) / HOUR == pytest.approx(120.0, abs=6.0)
    assert found.low <= at(160.0) <= found.high


def test_a_bed_that_lags_is_forecast_later():
    ahead, behind = (floor((48.0, mean), until_h=89.0).history() for mean in (0.40, 0.20))
    assert (
        time_to_acrospire(ahead, 0.75, at(89.0)).central < time_to_acrospire(behind, 0.75, at(89.0)).central - 12 * HOUR
    )


def test_a_warmer_bed_grows_faster():
    cool, warm = (
        time_to_acrospire(floor(grain_c=celsius).history(), 0.75, at(139.0)).central for celsius in (12.0, 18.0)
    )
    assert warm < cool


def test_a_target_that_was_passed_gives_the_time_at_which_it_was():
    story = floor((48.0, 0.30), (72.0, 0.45), (96.0, 0.60))
    found = time_to_acrospire(story.history(), 0.5, at(138.0))
    assert at(112.0) < found.central < at(136.0)
    assert found.is_past(at(138.0))


def test_heat_stops_the_growth_and_later_targets_are_not_reached():
    story = floor((48.0, 0.30), (72.0, 0.45))
    story.say(141.0, "loaded")
    found = time_to_acrospire(story.history(), 1.05, at(150.0))
    assert found.central is None
    assert "heat" in found.reason


def test_before_the_cast_nothing_grows():
    story = Story()
    story.charge(50.0, 0.12, -0.5)
    story.say(0.0, "steep_on")
    assert "not cast" in time_to_acrospire(story.history(), 0.75, at(10.0)).reason
    assert not acrospire_at(story.history(), at(10.0)).is_known


def test_a_bed_at_the_freezing_of_growth_never_gets_there():
    story = floor(grain_c=-2.0)
    found = time_to_acrospire(story.history(), 0.75, at(139.0))
    assert found.central is None
    assert "nothing grows" in found.reason


def test_the_shortest_class_hides_how_short_its_kernels_are():
    # Hardly chitted kernels count as an eighth: the forecast doesn't take that for an eighth of growth.
    found = acrospire_at(floor((6.0, 0.125), until_h=50.0).history(), at(46.0))
    assert found.central < 0.1


def test_the_forecast_on_the_floor_speaks_of_growth_and_of_nothing_else():
    forecast = evaluate(fit(floor((48.0, 0.30)).history()), at(139.0))
    assert forecast.acrospire is not None
    assert forecast.cast is None
    assert forecast.kiln is None
