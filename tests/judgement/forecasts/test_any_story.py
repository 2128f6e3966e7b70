"""Whatever is told of a batch, sane or not: a forecast answers, in order, and says why where it can't."""

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from app.judgement.forecasts.forecast import (
    evaluate,
    fit,
    moisture_value,
    time_to_acrospire,
    time_to_dry,
    time_to_moisture,
)
from tests.judgement.random_story import stories
from tests.judgement.story import Story, at


@settings(max_examples=12, deadline=None)
@given(stories(), st.floats(-10.0, 400.0))
def test_any_story_at_any_hour_gets_an_answer(story: Story, hour: float) -> None:
    history, now = story.history(), at(hour)
    evaluate(fit(history), now)
    value = moisture_value(history, now)
    assert value.is_known or value.reason
    if value.central is not None and value.low is not None and value.high is not None:
        assert 0.0 <= value.low <= value.central <= value.high < 1.0
    for found in (
        time_to_moisture(history, 0.44, now),
        time_to_acrospire(history, 0.7, now),
        time_to_dry(history, 0.05, now),
    ):
        assert found.is_reached or found.reason
        moments = [each for each in (found.low, found.central, found.high) if each is not None]
        assert all(soon <= late for soon, late in pairwise(moments))
