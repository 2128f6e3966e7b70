"""The kiln's air by its plan, from where the readings show that the kiln stands."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.judgement.forecasts.air_plan import AS_PLANNED_C, PlannedAir, Point, along_plan, planned_air
from app.judgement.programmes.programme import load_builtin

Looks = Sequence[tuple[float, float]]


def test_the_plan_of_the_pale_malt_in_its_hours() -> None:
    plan = planned_air(load_builtin()["barley_pale"], 160.0)
    assert [tuple(each) for each in plan] == [(160, 52, 5), (165, 62, 5), (170, 72, 4), (174, 83, 3.5)]


STEPS = (PlannedAir(0.0, 50.0, 5.0), PlannedAir(5.0, 60.0, 4.0), PlannedAir(9.0, 80.0, 3.0))


def points(*looks: tuple[float, float]) -> list[tuple[float, float]]:
    return [(point.hour, point.temperature_c) for point in along_plan(STEPS, looks)]


def test_what_a_look_says_of_the_hours_before_and_after_it() -> None:
    assert points() == [(0, 50), (5, 60), (9, 80)]
    # In the middle of two steps: what was read holds for what the step has left.
    assert points((2, 54)) == [(0, 50), (2, 54), (5, 60), (9, 80)]
    # Ahead: the hotter step has begun, and lasts its own hours.
    assert points((2, 60)) == [(0, 50), (2, 60), (6, 80)]
    # Behind, and the cooler step's hours are over: the next one is due now, and lasts its own hours.
    assert points((7, 50)) == [(0, 50), (5, 50), (7, 50), (7, 60), (11, 80)]
    # Cold to the last: the plan's own last air is still to come.
    assert points((10, 70)) == [(0, 50), (5, 60), (9, 70), (10, 70), (10, 80)]
    # Hotter than the plan ever is: it stays so.
    assert points((10, 90)) == [(0, 50), (5, 60), (9, 80), (10, 90)]


plans = st.lists(st.tuples(st.floats(0.5, 8.0), st.floats(0.0, 25.0)), min_size=1, max_size=5)
read = st.lists(st.tuples(st.floats(0.0, 30.0), st.floats(15.0, 110.0)), max_size=6)


def plan_of(steps: list[tuple[float, float]]) -> list[PlannedAir]:
    """Each step as hot as the one before it, or hotter."""
    found: list[PlannedAir] = []
    hour, temperature_c = 0.0, 40.0
    for lasts_h, rise_c in steps:
        temperature_c += rise_c
        found.append(PlannedAir(hour, temperature_c, lasts_h))
        hour += lasts_h
    return found


def air_at(found: list[Point], hour: float) -> float:
    return [point for point in found if point.hour <= hour][-1].temperature_c


@given(plans, read, st.floats(0.0, 30.0), st.tuples(st.floats(15.0, 110.0), st.floats(15.0, 110.0)))
@settings(max_examples=100, deadline=None)
def test_of_two_last_looks_the_hotter_is_hotter_at_every_hour(
    steps: list[tuple[float, float]], looks: Looks, after_h: float, two: tuple[float, float]
) -> None:
    before = sorted(looks)
    last_h = (before[-1][0] if before else 0.0) + after_h
    cool, hot = (along_plan(plan_of(steps), [*before, (last_h, each)]) for each in sorted(two))
    for hour in sorted({point.hour for found in (cool, hot) for point in found}):
        assert air_at(cool, hour) <= air_at(hot, hour) + 1e-9, hour


@given(plans, read)
@settings(max_examples=100, deadline=None)
def test_the_air_is_told_in_order_and_ends_no_cooler_than_planned(
    steps: list[tuple[float, float]], looks: Looks
) -> None:
    plan = plan_of(steps)
    found = along_plan(plan, sorted(looks))
    assert [point.hour for point in found] == sorted(point.hour for point in found)
    assert found[-1].temperature_c >= plan[-1].temperature_c
    for hour, value in dict(looks).items():
        assert any(abs(point.temperature_c - value) <= AS_PLANNED_C for point in found if point.hour == hour)


@given(plans, st.lists(st.floats(0.0, 30.0), max_size=6))
@settings(max_examples=100, deadline=None)
def test_looks_that_are_as_planned_leave_the_plan_as_it_is(steps: list[tuple[float, float]], at_h: list[float]) -> None:
    plan = plan_of(steps)
    alone = along_plan(plan, [])
    # At the very hour of a change either air is as planned.
    looks = [(hour, air_at(alone, hour)) for hour in sorted(at_h) if all(hour != each.hour for each in plan)]
    found = along_plan(plan, looks)
    for hour in [each / 4.0 for each in range(160)]:
        if all(abs(hour - each.hour) > 1e-6 for each in plan):
            assert air_at(found, hour) == pytest.approx(air_at(alone, hour))
