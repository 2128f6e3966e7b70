"""Quiet hours, over midnight and within a day."""

from __future__ import annotations

from datetime import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.quiet import is_quiet

TIMES = st.times()


@pytest.mark.parametrize(
    ("starts", "ends", "quiet", "loud"),
    [
        ("21:00", "06:00", ["21:00", "23:59:59", "00:00", "05:59:59"], ["06:00", "12:00", "20:59:59"]),
        ("13:00", "15:00", ["13:00", "14:59"], ["12:59", "15:00", "00:00"]),
        ("00:00", "06:00", ["00:00", "05:59"], ["06:00", "23:59"]),
        ("22:00", "00:00", ["22:00", "23:59"], ["00:00", "21:59"]),
        ("06:00", "06:00", [], ["06:00", "05:59", "00:00"]),
    ],
)
def test_quiet_hours_hold_from_their_start_and_end_at_their_end(
    starts: str, ends: str, quiet: list[str], loud: list[str]
) -> None:
    hours = time.fromisoformat(starts), time.fromisoformat(ends)
    assert [at for at in quiet if not is_quiet(time.fromisoformat(at), *hours)] == []
    assert [at for at in loud if is_quiet(time.fromisoformat(at), *hours)] == []


@given(TIMES, TIMES, TIMES)
def test_what_is_not_quiet_is_quiet_the_other_way_round(at: time, starts: time, ends: time) -> None:
    if starts != ends:
        assert is_quiet(at, starts, ends) != is_quiet(at, ends, starts)


@given(TIMES, TIMES)
def test_the_same_time_twice_means_no_quiet_hours(at: time, both: time) -> None:
    assert not is_quiet(at, both, both)
