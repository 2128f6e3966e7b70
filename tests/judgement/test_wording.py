"""Times as they are said: what was done to the minute, what is due or foreseen to the quarter of an hour."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from app.judgement.steps.step import look
from app.judgement.wording import Words

NOW = datetime(2026, 3, 14, 10, 30, tzinfo=UTC)
WORDS = Words(now=NOW)


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(157, "13:00"), (158, "13:15"), (165, "13:15"), (-3, "10:30"), (-10, "10:15"), (24 * 60, "tomorrow 10:30")],
)
def test_what_nobody_knows_to_the_minute_is_said_to_the_quarter_on_its_side_of_now(minutes: int, said: str) -> None:
    assert WORDS.around(NOW + timedelta(minutes=minutes)) == said


def test_what_comes_within_half_an_hour_is_said_to_five_minutes() -> None:
    assert [WORDS.around(NOW + timedelta(minutes=minutes)) for minutes in (2, 12, 13, 29)] == [
        "10:35", "10:40", "10:45", "11:00",
    ]  # fmt: skip


def test_by_when_to_be_back_is_never_said_later_than_it_was_reckoned() -> None:
    assert WORDS.around(NOW + timedelta(minutes=44), is_floor=True) == "11:00"


def test_a_step_is_due_at_a_time_as_hands_keep_it() -> None:
    temperature = look(
        "grain_temperature", "Take the grain’s temperature", NOW + timedelta(hours=2, minutes=29), 4.0, ""
    )
    assert temperature.line(WORDS, NOW) == "Take the grain’s temperature by 13:00"


def test_what_was_done_is_said_at_its_minute_and_a_day_needs_no_at() -> None:
    assert WORDS.at(NOW - timedelta(minutes=7)) == "at 10:23"
    assert WORDS.at(NOW - timedelta(hours=24)) == "yesterday 10:30"
    assert WORDS.at(NOW - timedelta(days=90)) == "14 Dec 2025, 10:30"
