"""What is overdue to be cleaned, by the plan of each vessel."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import pytest

from app.judgement.facts.shapes import Action, Subject
from app.judgement.upkeep.cleaning import Emptied, cleanings, has_plan_by_batch

NOW = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)


def ago(days: float) -> datetime:
    return NOW - timedelta(days=days)


def done(kind: str, days_ago: float, vessel: str = "Tub 1", every: float | None = None) -> Action:
    at = ago(days_ago)
    subject = Subject("vessel", vessel) if vessel else Subject("house", "house")
    return Action(id=f"{kind}{days_ago}", kind=kind, subject=subject, earliest_at=at, latest_at=at, amount=every)


def overdue(*told: Action, emptied: Mapping[str, Emptied | None] | None = None) -> list[str]:
    return [each.subject.id for each in cleanings(told, emptied or {}) if each.is_overdue(NOW)]


@pytest.mark.parametrize(("every", "expected"), [(9.9, ["Tub 1"]), (10.1, [])])
def test_a_plan_by_days_counts_from_the_last_cleaning(every: float, expected: list[str]) -> None:
    assert overdue(done("cleaning_plan", 40, every=every), done("cleaned", 10)) == expected


def test_a_cleaning_before_the_plan_counts_too() -> None:
    assert overdue(done("cleaned", 40), done("cleaning_plan", 1, every=30)) == ["Tub 1"]


@pytest.mark.parametrize(("days_ago", "expected"), [(29, []), (31, ["Tub 1"])])
def test_a_vessel_that_nobody_cleaned_yet_counts_from_the_plan(days_ago: float, expected: list[str]) -> None:
    assert overdue(done("cleaning_plan", days_ago, every=30)) == expected


def test_the_newest_plan_holds() -> None:
    plans = (done("cleaning_plan", 40, every=7), done("cleaning_plan", 20, every=90))
    assert overdue(*plans, done("cleaned", 30)) == []


def test_without_a_plan_nothing_is_overdue() -> None:
    assert overdue(done("cleaned", 400), emptied={"Tub 1": Emptied(ago(9), ago(2))}) == []


@pytest.mark.parametrize(
    ("cleaned_ago", "expected"), [(12, ["Tub 1"]), (5, []), (1, [])], ids=["before it", "once it was cast", "after it"]
)
def test_a_plan_by_batch_asks_for_a_cleaning_since_the_batch_began(cleaned_ago: float, expected: list[str]) -> None:
    emptied = {"Tub 1": Emptied(ago(9), ago(2)), "Tub 2": Emptied(ago(3), ago(1))}
    told = (done("cleaning_plan", 40), done("cleaned", cleaned_ago))
    assert overdue(*told, emptied=emptied) == expected


@pytest.mark.parametrize(("planned_ago", "expected"), [(3, ["Tub 1"]), (1, [])])
def test_a_batch_that_ended_before_the_plan_was_made_asks_for_nothing(planned_ago: float, expected: list[str]) -> None:
    assert overdue(done("cleaning_plan", planned_ago), emptied={"Tub 1": Emptied(ago(9), ago(2))}) == expected


@pytest.mark.parametrize("vessel", ["Kiln", ""])
def test_what_no_batch_names_is_used_by_every_batch(vessel: str) -> None:
    told = (done("cleaning_plan", 40, vessel), done("cleaned", 20, vessel))
    assert len(overdue(*told, emptied={"Tub 1": Emptied(ago(9), ago(2))})) == 1


def test_a_vessel_whose_first_batch_goes_on_is_not_to_be_cleaned_for_a_batch_of_another() -> None:
    told = (done("cleaning_plan", 40), done("cleaned", 20))
    assert overdue(*told, emptied={"Tub 1": None, "Tub 2": Emptied(ago(9), ago(2))}) == []


def test_a_cleaning_at_the_end_of_the_calendar_is_never_due_again() -> None:
    end = datetime.max.replace(tzinfo=UTC)
    subject = Subject("vessel", "Tub 1")
    cleaned = Action(id="c", kind="cleaned", subject=subject, earliest_at=end, latest_at=end)
    assert overdue(done("cleaning_plan", 40, every=30), cleaned) == []


def test_as_long_as_nothing_has_ended_nothing_is_to_be_cleaned_after_it() -> None:
    assert overdue(done("cleaning_plan", 40)) == []


def test_whether_batches_must_be_looked_up_is_known_from_the_plans() -> None:
    assert has_plan_by_batch([done("cleaning_plan", 1)])
    assert not has_plan_by_batch([done("cleaning_plan", 1, every=3), done("cleaned", 1)])
