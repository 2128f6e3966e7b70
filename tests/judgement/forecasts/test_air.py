"""When the malt is dry by the plan of its air, told from whole batches: what a reading moves, and what it does not."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import pytest

from app.judgement.forecasts.band import When
from app.judgement.forecasts.forecast import moisture_value, time_to_dry
from app.judgement.programmes.programme import Programme, load_builtin
from tests.judgement.story import Story, at

HOUR = timedelta(hours=1)
LOADED_H = 160.0
GREEN_WB = 0.43
MALTED = sorted(key for key, each in load_builtin().items() if each.purpose != "caramel" and not each.is_roast)
every_malt = pytest.mark.parametrize("key", MALTED)
Looks = Sequence[tuple[float, float]]


def on_the_kiln(key: str | None, looks: Looks = (), kind: str = "air_on_temperature") -> Story:
    """Loaded and fired at hour 160, 2 kg weighed into a tray; looks: hours from the heat on, and °C into the grain."""
    story = Story(key)
    story.charge(30.0, 0.12, -0.5)
    story.say(0.0, "steep_on")
    story.say(40.0, "cast")
    story.say(LOADED_H - 0.1, "moisture_test", {"value": green_wb(key)}, method="oven_two_stage")
    story.say(LOADED_H, "loaded")
    story.say(LOADED_H, "heat_on")
    story.say(LOADED_H + 0.05, "tray", {"vessel": "tray 1", "gross_kg": 3.2, "tare_kg": 1.2, "net_kg": 2.0})
    for hour, value in looks:
        story.say(LOADED_H + hour, kind, {"value": value})
    return story


def green_wb(key: str | None) -> float:
    """As green as the programme's own plan loads it, where that is drier: sorghum is cast at 35 %."""
    grown = [each for each in load_builtin()[key].steps if each.stage == "germination"] if key else []
    return min([GREEN_WB, *(each.moisture_wb for each in grown if each.moisture_wb is not None)])


def dry(key: str, looks: Looks = (), *, now_h: float | None = None, **more: str) -> When:
    """When the malt is dry enough, as foreseen just after the last look."""
    seen_h = now_h if now_h is not None else max((hour for hour, _ in looks), default=0.1)
    target_wb = load_builtin()[key].final_moisture_wb
    assert target_wb is not None
    return time_to_dry(on_the_kiln(key, looks, **more).history(), target_wb, at(LOADED_H + seen_h))


def planned_c(programme: Programme, hour: float) -> float:
    """Told from the programme's own steps."""
    steps = [each for each in programme.steps if each.stage == "kilning"]
    for step in steps:
        if hour <= step.hours:
            break
        hour -= step.hours
    assert step.air_on_c is not None
    return step.air_on_c


def kiln_hours(programme: Programme) -> float:
    return sum(each.hours for each in programme.steps if each.stage == "kilning")


def hours(found: When) -> list[float | None]:
    """Hours from the loading: soonest, likely, latest."""
    return [None if each is None else (each - at(LOADED_H)) / HOUR for each in (found.low, found.central, found.high)]


def apart(first: When, second: When) -> timedelta:
    assert first.central is not None
    assert second.central is not None
    return abs(first.central - second.central)


@every_malt
@pytest.mark.parametrize("share", [0.01, 0.15, 0.3, 0.5, 0.7, 0.85, 0.99])
def test_a_reading_of_just_what_is_planned_changes_nothing(key: str, share: float) -> None:
    programme = load_builtin()[key]
    hour = share * kiln_hours(programme)
    bare, read = dry(key, now_h=hour), dry(key, [(hour, planned_c(programme, hour))])
    assert bare.central is not None
    assert bare.high is not None
    assert hours(read) == pytest.approx(hours(bare), abs=1e-6)


@every_malt
def test_a_kiln_logged_every_hour_just_as_planned_is_foreseen_as_one_that_nobody_logged(key: str) -> None:
    programme = load_builtin()[key]
    looks = [(each + 0.3, planned_c(programme, each + 0.3)) for each in range(int(kiln_hours(programme)))]
    for kind in ("air_on_temperature", "set_point"):
        assert hours(dry(key, looks, kind=kind)) == pytest.approx(hours(dry(key, now_h=looks[-1][0])), abs=1e-6)


@every_malt
def test_by_the_plan_alone_grain_is_as_dry_at_the_end_of_each_step_as_the_plan_has_it(key: str) -> None:
    programme = load_builtin()[key]
    loaded_h = next(stage.start_h for stage in programme.planned_stages() if stage.stage == "kilning")
    planned = [(hour - loaded_h, wb) for hour, wb in programme.planned_curve("moisture_wb")]
    story = on_the_kiln(key)
    for hour, wb in planned:
        foreseen = moisture_value(story.history(), at(LOADED_H + hour)).central
        assert hour <= 0.0 or foreseen == pytest.approx(wb, abs=0.02)


@every_malt
def test_a_kiln_that_swings_about_its_plan_is_foreseen_as_planned(key: str) -> None:
    programme = load_builtin()[key]
    swings = [(each + 0.4, planned_c(programme, each + 0.4) + (1.5 if each % 2 else -1.5)) for each in range(10)]
    assert apart(dry(key, swings), dry(key, now_h=9.4)) < timedelta(minutes=20)


@every_malt
@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.7, 0.95])
def test_the_hotter_the_reading_the_sooner_it_is_dry_and_its_latest_hour_is_known(key: str, share: float) -> None:
    programme = load_builtin()[key]
    hour = share * kiln_hours(programme)
    planned = planned_c(programme, hour)
    found = [dry(key, [(hour, planned + off_c)]) for off_c in (-25.0, -12.0, -6.0, -3.0, 0.0, 3.0, 6.0, 12.0, 20.0)]
    times = [each.central for each in found if each.central is not None]
    assert len(times) == len(found)
    assert times == sorted(times, reverse=True)
    assert times[0] > times[4]
    # What is dry by the plan before it is read gets no drier by it.
    assert times[4] > times[-1] or times[4] <= at(LOADED_H + hour)
    assert all(each.high is not None for each in found), "the plan's own latest hour is known, and so is each of these"


def test_a_kiln_three_hours_behind_its_plan_is_dry_about_three_hours_later() -> None:
    # By the plan 52 °C until hour 5, 62 until hour 10, 72 until hour 14, and then 83.
    late = [(each, 52.0) for each in (1.0, 3.0, 5.5, 7.0, 8.0)]
    by_plan, behind = dry("barley_pale", now_h=8.0), dry("barley_pale", late)
    assert by_plan.central is not None
    assert behind.central is not None
    assert timedelta(hours=2) < behind.central - by_plan.central < timedelta(hours=3.1)


def test_a_kiln_a_few_minutes_late_with_a_step_is_hardly_later() -> None:
    assert apart(dry("barley_pale", [(1.0, 52.0), (5.1, 52.0)]), dry("barley_pale", now_h=5.1)) < timedelta(minutes=7)


def test_a_kiln_that_catches_up_is_foreseen_as_planned_again() -> None:
    looks = [(2.0, 52.0), (6.0, 52.0), (6.5, 62.0), (11.0, 72.0)]
    assert apart(dry("barley_pale", looks), dry("barley_pale", now_h=11.0)) < timedelta(hours=1)


def test_one_reading_with_the_door_open_does_not_start_the_plan_anew() -> None:
    looks = [(2.0, 52.0), (6.0, 62.0), (11.0, 72.0), (12.0, 72.0), (12.2, 30.0), (12.4, 72.0)]
    assert apart(dry("barley_pale", looks), dry("barley_pale", now_h=12.4)) < timedelta(minutes=30)


def test_hotter_air_that_was_set_takes_the_plan_along() -> None:
    looks = [(1.0, 52.0), (3.0, 52.0)]
    story = on_the_kiln("barley_pale", looks)
    story.say(LOADED_H + 3.2, "set_point", {"value": 62.0})
    by_plan, raised = dry("barley_pale", looks, now_h=3.3), time_to_dry(story.history(), 0.045, at(LOADED_H + 3.3))
    assert by_plan.central is not None
    assert raised.central is not None
    assert raised.central < by_plan.central


def test_what_was_read_soon_after_the_kiln_was_set_goes_before_what_it_was_set_to() -> None:
    looks = [(1.0, 52.0), (3.0, 52.0)]
    story = on_the_kiln("barley_pale", looks)
    story.say(LOADED_H + 2.9, "set_point", {"value": 80.0})
    assert hours(time_to_dry(story.history(), 0.045, at(LOADED_H + 3.1))) == pytest.approx(
        hours(dry("barley_pale", looks, now_h=3.1))
    )


def test_without_a_plan_the_air_is_left_as_it_was_read() -> None:
    cool, hot = (
        time_to_dry(on_the_kiln(None, [(0.2, 55.0), (4.0, last_c)]).history(), 0.10, at(LOADED_H + 4.1))
        for last_c in (55.0, 65.0)
    )
    assert cool.central is not None
    assert hot.central is not None
    assert hot.central < cool.central
