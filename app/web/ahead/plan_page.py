"""What the start-hour planner shows: each half hour with what it costs, and the timetable of one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from itertools import groupby
from math import ceil
from typing import Any
from urllib.parse import urlencode

from app.judgement.ahead.planner import Plan, Start, Timetable, TooLong
from app.judgement.ahead.planner_tasks import Task
from app.judgement.ahead.planner_time import Waking
from app.judgement.history.history import hours_between
from app.judgement.programmes.programme import Programme
from app.judgement.wording import Words, is_doubled
from app.web.ahead.plan_form import PlanForm

STAMP = "%Y-%m-%dT%H:%MZ"


@dataclass(frozen=True)
class HalfHour:
    """night: how much falls at night, in words; is_free: nothing does."""

    clock: str
    night: str
    is_free: bool
    is_shown: bool
    href: str


@dataclass(frozen=True)
class TaskView:
    clock: str
    what: str
    note: str
    is_at_night: bool


@dataclass(frozen=True)
class Day:
    name: str
    tasks: list[TaskView]


def plan_context(form: PlanForm, programme: Programme, wanted: str, words: Words) -> dict[str, Any]:
    """Half hours, the best few, and the timetable of the wanted start or of the best; or the problem."""
    assert form.up.data is not None
    assert form.bed.data is not None
    assert form.day.data is not None
    try:
        plan = Plan(programme, Waking(form.up.data, form.bed.data), form.day.data, words.zone)
    except TooLong as error:
        return {"problem": str(error)}
    starts, best = plan.starts(), plan.best()
    shown = next((each for each in starts if _stamp(each) == wanted), best[0])
    at = {name: str(form[name].raw_data[0]) for name in ("programme", "up", "bed", "day") if form[name].raw_data}
    query = at | {"programme": programme.digest, "species": form.species.data or ""}
    return {
        "halves": [_half_hour(start, shown, query, words.zone) for start in starts],
        "best": [_half_hour(start, shown, query, words.zone) for start in best],
        "free": sum(each.night == 0.0 for each in starts),
        "table": _table(plan.timetable(shown), words),
    }


def _half_hour(start: Start, shown: Start, query: dict[str, str], zone: tzinfo) -> HalfHour:
    href = f"/plan?{urlencode(query | {'start': _stamp(start)})}#timetable"
    return HalfHour(_clock(start.at, zone), str(ceil(start.night)), start.night == 0.0, start == shown, href)


def _stamp(start: Start) -> str:
    return start.at.astimezone(UTC).strftime(STAMP)


def _table(table: Timetable, words: Words) -> dict[str, Any]:
    zone = words.zone
    days = [
        Day(f"{day:%a} {day.day} {day:%b}", [_task(each, zone) for each in tasks])
        for day, tasks in groupby(table.tasks, key=lambda each: each.at.astimezone(zone).date())
    ]
    return {
        "start": f"{table.start.at.astimezone(zone):%a} {_clock(table.start.at, zone)}",
        "days": days,
        "at_night": [f"{task.what}, {task.at.astimezone(zone):%a} {_clock(task.at, zone)}" for task in table.at_night],
        "fired": words.span(table.fired_at_night_h) if table.fired_at_night_h > 0.0 else "",
        "shifted": words.span(table.start.away_h) if table.start.away_h >= 0.1 else "",
        "hours": words.span(hours_between(table.start.at, table.ends_at)),
    }


def _task(task: Task, zone: tzinfo) -> TaskView:
    note = ""
    if task.is_shifted:
        length = Words().span(abs(task.shift_h))
        note = f"{length} {'later' if task.shift_h > 0.0 else 'sooner'} than planned"
    return TaskView(_clock(task.at, zone), task.what, note, task.is_at_night)


def _clock(moment: datetime, zone: tzinfo) -> str:
    """The wall clock; with the zone's name in the hour that a night has twice."""
    local = moment.astimezone(zone)
    return f"{local:%H:%M} {local.tzname()}" if is_doubled(moment, zone) else f"{local:%H:%M}"
