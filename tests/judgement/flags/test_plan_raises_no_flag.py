"""A batch that runs exactly to its plan raises no flag, for each programme that ships; nor does it on the way."""

from datetime import UTC, datetime

import pytest

from app.judgement.flags import evaluate
from app.judgement.history.build import history_from_records
from app.judgement.programmes.programme import load_builtin
from tests.judgement.plan_run import plan_story

START = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
PROMPTS = frozenset({"dry_enough", "break_point"})
"""Not faults but calls to do the plan's next step; done in time, they are gone from the record."""


@pytest.mark.parametrize("key", sorted(load_builtin()))
def test_a_batch_run_to_its_plan_raises_no_flag(key: str) -> None:
    history = history_from_records(plan_story(load_builtin()[key], START))
    assert len(history.facts) > 15
    assert evaluate(history, history.facts[-1].at) == []


@pytest.mark.parametrize("key", sorted(load_builtin()))
def test_nor_does_it_at_any_entry_on_the_way(key: str) -> None:
    records = plan_story(load_builtin()[key], START)
    found = set()
    for known in range(9, len(records), 12):
        history = history_from_records(records[: known + 1])
        if history.facts:
            found |= {(flag.rule, flag.title) for flag in evaluate(history, history.facts[-1].at)}
    assert {(rule, title) for rule, title in found if rule not in PROMPTS} == set()
