"""Judging several batches of which one can't be judged."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from app.judgement.history.guard import judged, judged_alone
from app.judgement.history.history import BatchInfo, History

HISTORIES = [History.build(BatchInfo(f"batch-{number}", number), ()) for number in (1, 2, 3)]


def names(histories: Sequence[History], *bad: int) -> list[str]:
    for each in histories:
        if each.batch.number in bad and not each.is_set_aside:
            raise ValueError(each.batch.number)
    return [f"{each.batch.number}{' set aside' if each.is_set_aside else ''}" for each in histories]


def test_where_nothing_is_wrong_they_are_judged_once_and_together() -> None:
    asked: list[int] = []
    assert judged(HISTORIES, lambda each: (asked.append(len(each)), names(each))[1]) == ["1", "2", "3"]
    assert asked == [3]


@pytest.mark.parametrize(
    ("bad", "told"),
    [((2,), ["1", "2 set aside", "3"]), ((1, 3), ["1 set aside", "2", "3 set aside"])],
)
def test_those_that_raise_alone_are_set_aside_and_keep_their_place(bad: tuple[int, ...], told: list[str]) -> None:
    assert judged(HISTORIES, lambda each: names(each, *bad)) == told


def test_those_that_raise_only_together_are_all_set_aside() -> None:
    def fussy(histories: Sequence[History]) -> list[str]:
        if sum(not each.is_set_aside for each in histories) > 1:
            raise ValueError
        return names(histories)

    assert judged(HISTORIES, fussy) == ["1 set aside", "2 set aside", "3 set aside"]


def test_what_is_wrong_with_no_batch_is_raised() -> None:
    with pytest.raises(ZeroDivisionError):
        judged(HISTORIES, lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        judged([], lambda _: 1 / 0)


def test_one_alone_is_judged_without_its_facts() -> None:
    assert judged_alone(HISTORIES[0], lambda each: names([each], 1)) == ["1 set aside"]
