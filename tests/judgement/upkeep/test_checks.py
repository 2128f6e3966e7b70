"""A scale against a known weight, a hygrometer over damp salt."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from app.judgement.facts.shapes import Result, Subject
from app.judgement.upkeep.checks import CHECKS, check_words, is_off
from app.judgement.wording import Words

AT = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)
WORDS = Words(zone=ZoneInfo("UTC"), now=AT)
SCALE, HYGROMETER = CHECKS


def check(kind: str, shown: float, known: float) -> Result:
    subject = Subject("instrument", "it")
    return Result(
        id="c", kind=kind, subject=subject, earliest_at=AT, latest_at=AT, value=shown, beside={"known": known}
    )


@pytest.mark.parametrize(
    ("kind", "shown", "known", "expected"),
    [
        (SCALE, 1.005, 1.0, False),
        (SCALE, 1.006, 1.0, True),
        (SCALE, 0.994, 1.0, True),
        (SCALE, 0.001, 0.0, True),
        (HYGROMETER, 0.80, 0.75, False),
        (HYGROMETER, 0.81, 0.75, True),
        (HYGROMETER, 0.69, 0.75, True),
    ],
)
def test_it_is_off_beyond_half_a_per_cent_or_five_points(kind: str, shown: float, known: float, expected: bool) -> None:
    assert is_off(check(kind, shown, known)) is expected


@pytest.mark.parametrize(
    ("kind", "shown", "known", "expected"),
    [
        (SCALE, 1.004, 1.0, "4.0 g too much at 1000 g"),
        (SCALE, 9.95, 10.0, "50.0 g too little at 10.00 kg"),
        (SCALE, 1.0, 1.0, "right at 1000 g"),
        (HYGROMETER, 0.71, 0.75, "4 points too little at 75.0 %"),
        (HYGROMETER, 0.752, 0.75, "right at 75.0 %"),
    ],
)
def test_it_says_which_way_and_how_far(kind: str, shown: float, known: float, expected: str) -> None:
    assert check_words(check(kind, shown, known), WORDS).replace("\u00a0", " ") == expected
