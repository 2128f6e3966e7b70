"""One more day on the floor: what it takes of the dry matter, and what it brings of growth and of overgrown kernels."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from app.judgement.ahead.one_more_day import OneMoreDay, one_more_day
from app.judgement.history.build import history_from_records
from app.judgement.programmes.programme import load_builtin
from tests.judgement.plan_run import plan_story
from tests.judgement.story import Story, at

START = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)


def run(hour: float, key: str = "barley_pale", without: frozenset[str] = frozenset()) -> OneMoreDay | None:
    """A batch to plan, so many hours after its charge."""
    known, now = load_builtin()[key], START + timedelta(hours=hour)
    told = [
        each
        for each in plan_story(known, START)
        if "record" in each or (datetime.fromisoformat(each["earliest_at"]) <= now and each["kind"] not in without)
    ]
    return one_more_day(history_from_records(told, {known.digest: known}), now)


def there(found: OneMoreDay | None) -> OneMoreDay:
    assert found is not None
    return found


@pytest.mark.parametrize("hour", [0.2, 10.0, 25.0, 165.0, 190.0])
def test_off_the_floor_there_is_no_day_to_add(hour: float) -> None:
    assert run(hour) is None


def test_a_day_takes_the_programmes_share_of_breath_and_rootlets() -> None:
    # Derived: 5.5 and 3.5 % of 17.6 kg in the 120 h of the plan, a fifth of it in a day.
    cost = there(run(100.0)).cost
    assert cost is not None
    assert cost.respired_kg == pytest.approx(17.6 * 0.055 / 5, rel=0.01)
    assert cost.rootlets_kg == pytest.approx(17.6 * 0.035 / 5, rel=0.01)
    assert cost.half_width_kg == pytest.approx(0.5 * cost.lost_kg, rel=0.01)
    assert cost.share == pytest.approx(cost.lost_kg / cost.dry_kg)


def test_what_is_dated_after_now_has_no_say_in_the_day() -> None:
    known, now = load_builtin()["barley_pale"], START + timedelta(hours=100)
    whole = history_from_records(plan_story(known, START), {known.digest: known})
    assert one_more_day(whole, now) == run(100.0)


def test_a_young_bed_gains_and_a_grown_one_leaves_its_target_within_the_day() -> None:
    young, grown = there(run(80.0)), there(run(158.0))
    assert young.verdict == "gains"
    assert grown.verdict == "passes"
    for found in (young, grown):
        assert found.gain is not None
        assert found.gain > 0.05


def test_the_overgrown_share_never_falls_and_its_interval_holds_it() -> None:
    found = there(run(158.0)).overgrown
    assert found is not None
    for value in (found.now, found.then):
        assert value.low is not None
        assert value.central is not None
        assert value.high is not None
        assert value.low <= value.central <= value.high
    assert (found.then.central or 0.0) >= (found.now.central or 0.0)
    assert (found.then.high or 0.0) > (found.now.high or 0.0)


def test_lengths_tell_the_overgrown_share_too() -> None:
    found = there(run(155.0, "wheat_base"))
    assert found.overgrown is not None
    assert (found.overgrown.then.central or 0.0) > 0.5


def test_without_a_growth_count_it_says_what_to_record() -> None:
    found = there(run(100.0, without=frozenset({"growth_count"})))
    assert found.overgrown is None
    assert [kind for kind, _ in found.missing] == ["growth_count"]
    assert found.mean_then.is_known


def test_without_a_charge_nothing_is_weighed_and_it_says_so() -> None:
    story = Story("barley_pale")
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    found = there(one_more_day(story.history(), at(60.0)))
    assert found.cost is None
    assert "charge" in [kind for kind, _ in found.missing]


def test_a_warmer_bed_grows_more_in_the_day() -> None:
    gains = []
    for temperature in (13.0, 18.0):
        story = Story("barley_pale")
        story.charge(20.0, 0.12, -1.0)
        story.say(0.0, "steep_on")
        story.say(40.0, "cast")
        for hour in (44.0, 60.0, 80.0):
            story.say(hour, "grain_temperature", {"value": temperature})
        gains.append(there(one_more_day(story.history(), at(90.0))).gain or 0.0)
    assert gains[0] < gains[1]
