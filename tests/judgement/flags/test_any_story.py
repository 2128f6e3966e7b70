"""Stories that nobody would plan: every rule has an answer to them, and the same one in any order of arrival."""

from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from app.judgement.flags import evaluate
from app.judgement.flags.answers import answered, leftover_answers
from app.judgement.history.build import history_from_records
from tests.judgement.random_story import stories
from tests.judgement.story import Story, at


@settings(deadline=None, max_examples=25)
@given(stories(), st.sampled_from([-1.0, 3.0, 30.0, 165.0, 400.0]))
def test_any_story_can_be_judged_at_any_time(story: Story, hour: float) -> None:
    history = history_from_records(story.records)
    now = at(hour)
    found = evaluate(history, now)
    assert len({flag.key for flag in found}) == len(found)
    known = {fact.id for fact in history.facts} | {fact.id for lot in history.lots.values() for fact in lot.facts}
    for flag in found:
        assert flag.fact_ids
        assert set(flag.fact_ids) <= known
        assert flag.ends_at is None or flag.ends_at >= flag.starts_at
        assert flag.starts_at <= now or flag.rule == "in_the_future"
        assert flag.title
    assert [each.flag for each in answered(history, found, now) if each.is_open] == [
        flag for flag in found if flag.ends_at is None
    ]
    assert leftover_answers(history, found, now) == []


@settings(deadline=None, max_examples=25)
@given(st.data())
def test_any_order_of_arrival_gives_the_same_flags(data: st.DataObject) -> None:
    story = data.draw(stories())
    records = data.draw(st.permutations(story.records))
    now = at(190.0) + timedelta(minutes=1)
    assert evaluate(history_from_records(records), now) == evaluate(history_from_records(story.records), now)
