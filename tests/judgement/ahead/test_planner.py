"""The start hour: windows are kept, nothing is better than the best, and nights in which the clock changes."""

from __future__ import annotations

from copy import deepcopy
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise, product
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.judgement.ahead.planner import Plan, TooLong
from app.judgement.ahead.planner_time import Waking
from app.judgement.programmes.programme import Programme, load_builtin
from tests.judgement.flag_story import CONTENT, MARK

DUBLIN = ZoneInfo("Europe/Dublin")
DAY = date(2026, 3, 10)
HOUSE = Waking(time(6, 30), time(22, 0))
BUILTIN = sorted(load_builtin())
waking = st.builds(
    lambda up, awake: Waking(time(up // 2, up % 2 * 30), time((up + awake) // 2 % 24, (up + awake) % 2 * 30)),
    st.integers(8, 20),
    st.integers(20, 38),
)


def is_night(moment: datetime, house: Waking, zone: ZoneInfo = DUBLIN) -> bool:
    return not house.includes(moment.astimezone(zone).time())


def programme(steps: list[dict[str, Any]]) -> Programme:
    return Programme.from_dict(deepcopy(CONTENT) | {"steps": steps})


def step(stage: str, low: float, hours: float, high: float, **more: Any) -> dict[str, Any]:
    return {"stage": stage, "hours": hours, "hours_low": low, "hours_high": high, **more, **MARK}


@pytest.mark.parametrize("key", BUILTIN)
def test_every_timetable_keeps_the_windows_of_its_programme(key: str) -> None:
    known = load_builtin()[key]
    plan = Plan(known, HOUSE, DAY, DUBLIN)
    for start in plan.starts():
        table = plan.timetable(start)
        ends = [start.at, *(task.at for task in table.tasks[1:] if task.kind != "turned")]
        assert len(ends) == len(known.steps) + 1
        for each, (began, ended) in zip(known.steps, pairwise(ends), strict=True):
            hours = (ended - began).total_seconds() / 3600
            # The planner's clock goes by five minutes.
            assert each.hours_low - 0.05 <= hours <= each.hours_high + 0.05, (start.at, each)
        assert [task.at for task in table.tasks] == sorted(task.at for task in table.tasks)
        assert all(task.earliest_at <= task.at <= task.latest_at for task in table.tasks)


@pytest.mark.parametrize("key", BUILTIN)
def test_no_bed_lies_longer_between_turns_than_its_programme_bears(key: str) -> None:
    known = load_builtin()[key]
    plan = Plan(known, HOUSE, DAY, DUBLIN)
    limit = known.limit("turning_h")
    if limit is None or limit.high_caution is None:
        return
    for start in plan.starts():
        tasks = plan.timetable(start).tasks
        turns = [place for place, task in enumerate(tasks) if task.kind == "turned"]
        span = tasks[turns[0] - 1 : turns[-1] + 2]
        gaps = [(after.at - before.at) / timedelta(hours=1) for before, after in pairwise(span)]
        assert max(gaps) <= limit.high_caution + 0.05


@given(st.sampled_from(BUILTIN), waking, st.dates(date(2026, 1, 1), date(2027, 12, 31)))
@settings(max_examples=12, deadline=None)
def test_no_start_is_better_than_the_best(key: str, house: Waking, day: date) -> None:
    plan = Plan(load_builtin()[key], house, day, DUBLIN)
    best, starts = plan.best(3), plan.starts()
    assert best[0].rank == min(start.rank for start in starts)
    assert [start.rank for start in best] == sorted(start.rank for start in best)


@given(st.sampled_from(BUILTIN), waking)
@settings(max_examples=10, deadline=None)
def test_a_start_counts_the_tasks_that_its_timetable_shows_at_night(key: str, house: Waking) -> None:
    plan = Plan(load_builtin()[key], house, DAY, DUBLIN)
    for start in plan.starts()[::7]:
        table = plan.timetable(start)
        assert [task for task in table.tasks if is_night(task.at, house)] == list(table.at_night)
        assert start.night == pytest.approx(len(table.at_night) + table.fired_at_night_h / 2.0)


windows = st.tuples(st.integers(1, 6), st.integers(0, 4), st.integers(0, 4))


@given(st.lists(windows, min_size=2, max_size=4), waking)
@settings(max_examples=15, deadline=None)
def test_the_way_through_a_plan_is_the_best_of_all_that_there_are(
    lengths: list[tuple[int, int, int]], house: Waking
) -> None:
    """Against every combination of half hours, written out."""
    stages = ["immersion", "air_rest", "immersion", "air_rest"]
    steps = [
        step(stage, low / 2 + 1, (low + less) / 2 + 1, (low + less + more) / 2 + 1)
        for stage, (low, less, more) in zip(stages, lengths, strict=False)
    ]
    known = programme(steps)
    for start in Plan(known, house, DAY, DUBLIN).starts()[::5]:
        choices = [
            [each.hours_low + half / 2 for half in range(round(2 * (each.hours_high - each.hours_low)) + 1)]
            for each in known.steps
        ]
        costs = []
        for taken in product(*choices):
            moments = [start.at]
            for hours in taken:
                moments.append(moments[-1] + timedelta(hours=hours))
            away = sum(abs(hours - each.hours) for hours, each in zip(taken, known.steps, strict=True))
            costs.append((float(sum(is_night(at, house) for at in moments)), away))
        assert (start.night, start.away_h) == pytest.approx(min(costs))


def test_a_kiln_that_must_run_into_the_night_counts_the_hours_that_somebody_sits_up() -> None:
    known = programme([step("kilning", 8, 8, 8, phase="withering"), step("cooling", 1, 1, 1)])
    plan = Plan(known, HOUSE, DAY, DUBLIN)
    evening = next(each for each in plan.starts() if each.at == datetime(2026, 3, 10, 18, 0, tzinfo=UTC))
    table = plan.timetable(evening)
    assert table.fired_at_night_h == pytest.approx(4.0, abs=0.1)
    # Heat off at 02:00 and stripping at 03:00 fall into the night, and four hours ask for two looks.
    assert evening.night == pytest.approx(4.0, abs=0.1)


@pytest.mark.parametrize(("day", "half_hours"), [(date(2026, 3, 29), 46), (date(2026, 10, 25), 50), (DAY, 48)])
def test_a_day_has_the_half_hours_that_its_clock_shows(day: date, half_hours: int) -> None:
    starts = Plan(load_builtin()["barley_pale"], HOUSE, day, DUBLIN).starts()
    assert len(starts) == half_hours
    assert starts[0].at.astimezone(DUBLIN) == datetime.combine(day, time(), DUBLIN)
    assert all(after.at - before.at == timedelta(minutes=30) for before, after in pairwise(starts))


@pytest.mark.parametrize(
    ("zone", "day", "half_hours", "first"),
    [("Africa/Cairo", date(2026, 4, 24), 46, time(1)), ("Australia/Lord_Howe", date(2026, 4, 5), 49, time(0))],
)
def test_a_clock_that_skips_midnight_or_moves_by_half_an_hour_is_followed(
    zone: str, day: date, half_hours: int, first: time
) -> None:
    plan = Plan(load_builtin()["barley_pale"], HOUSE, day, ZoneInfo(zone))
    starts = plan.starts()
    assert len(starts) == half_hours
    assert starts[0].at.astimezone(ZoneInfo(zone)).time() == first
    assert starts[-1].at.astimezone(ZoneInfo(zone)).date() == day


def test_over_the_night_of_the_change_tasks_still_fall_by_the_wall_clock() -> None:
    plan = Plan(load_builtin()["barley_pale"], HOUSE, date(2026, 3, 27), DUBLIN)
    best = plan.best(1)[0]
    table = plan.timetable(best)
    assert any(task.at > datetime(2026, 3, 29, 1, tzinfo=UTC) for task in table.tasks)
    assert table.at_night == ()
    assert [task for task in table.tasks if is_night(task.at, HOUSE)] == []


def test_bed_time_may_lie_after_midnight() -> None:
    late = Waking(time(10, 0), time(2, 0))
    assert late.includes(time(1, 30))
    assert not late.includes(time(3, 0))
    best = Plan(load_builtin()["barley_pale"], late, DAY, DUBLIN).best(1)[0]
    assert late.includes(best.at.astimezone(DUBLIN).time())


def test_the_best_few_are_not_neighbours() -> None:
    best = Plan(load_builtin()["oats"], HOUSE, DAY, DUBLIN).best(3)
    assert len(best) == 3
    assert all(abs(a.at - b.at) >= timedelta(hours=2) for a in best for b in best if a is not b)


def test_a_plan_of_months_is_refused_in_words() -> None:
    with pytest.raises(TooLong, match="days"):
        Plan(programme([step("germination", 900, 950, 1000), step("germination", 900, 950, 1000)]), HOUSE, DAY, DUBLIN)
