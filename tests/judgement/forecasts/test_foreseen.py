"""What a weighing or a count says of the way that is still to go."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.judgement.flags import evaluate
from app.judgement.forecasts.forecast import forecast_at
from app.judgement.forecasts.moisture import determinations
from app.judgement.history.build import history_from_records
from app.judgement.history.history import History
from app.judgement.meaning.meaning import meaning
from app.judgement.steps.next_steps import next_steps
from app.judgement.wording import Words
from app.web.summary.glance import moisture_said
from tests.judgement.flag_story import Story
from tests.truth.run import batch


def said_of(story: Story, kind: str) -> tuple[str, History]:
    history = story.history()
    fact = history.of_kind(kind)[-1]
    return meaning(history, fact, fact.at + timedelta(minutes=1)).detail, history


def test_a_bag_on_its_way_says_one_time_and_that_is_the_next_step_s() -> None:
    story = Story().begin()
    story.bag_start()
    story.read(0.5, "water_temperature", 14.0)
    story.bag(5.6, 0.30)
    assert said_of(story, "test_bag")[0] == "On its way to 42–46 %. Next: drain by 12:00."


def test_what_is_urgent_comes_before_the_way_that_is_still_to_go() -> None:
    story = Story().begin()
    story.bag_start()
    story.read(4.9, "co2_room", 20_000.0)
    story.bag(5.0, 0.30)
    detail, _ = said_of(story, "test_bag")
    assert detail.startswith("Leave now, open everything")
    assert "Now:" not in detail


def test_a_moisture_known_to_many_points_is_no_verdict_and_nobody_sprinkles_by_it() -> None:
    run = batch(0, "rye", "kitchen", "no_small_scale")
    history = history_from_records([each for each in run.records if "kind" not in each or run.told_h(each) < 72.0])
    fact = history.of_kind("test_bag")[-1]
    now = history.facts[-1].at + timedelta(hours=1)
    sample = determinations(history)[-1]
    # On a scale of 50 g the bag in the bed seems drier than the rye is: it needs no water.
    assert sample.half_width > 0.04
    assert run.truth.moisture(71.9) > 0.43
    assert meaning(history, fact, now).detail.startswith("Too unsure to say whether it is inside 43–46 %: weigh")
    assert "sprinkled" not in {step.kind for step in next_steps(history, now)}
    assert not {"bed_moisture", "dry_at_cast"} & {flag.rule for flag in evaluate(history, now)}
    figure = moisture_said(history, Words(now=now))
    assert figure is not None
    assert figure.word == "too unsure to say"


def test_a_count_of_short_shoots_says_when_they_will_be_long_enough() -> None:
    story = Story()
    story.grow()
    story.grain(60, 15.0)
    story.growth(90, 10, 60, 30, 0, 0)
    detail, _ = said_of(story, "growth_count")
    assert detail.startswith("Growing on to")
    assert ", at about " in detail


def test_a_tray_that_still_dries_says_when_it_will_be_dry() -> None:
    story = Story().kiln()
    story.read(160.3, "air_on_temperature", 60.0)
    story.tray(160.2, 10.0, "tray 1")
    story.tray(166, 8.4, "tray 1")
    detail, _ = said_of(story, "tray")
    assert detail.startswith("Still drying")
    assert ", at about " in detail


def test_what_the_air_can_never_dry_is_said_not_to_get_there() -> None:
    story = Story().kiln()
    story.read(160.3, "air_on_temperature", 82.0)
    story.read(160.4, "humidity", 0.7, place="below the bed")
    story.tray(160.2, 10.0, "tray 1")
    story.tray(166, 9.7, "tray 1")
    detail, _ = said_of(story, "tray")
    assert "won’t get there in this air" in detail


def test_however_many_ask_for_a_forecast_it_is_made_once() -> None:
    story = Story().begin()
    story.bag_start()
    history = story.history()
    moment = history.facts[-1].at
    assert forecast_at(history, moment) is forecast_at(history, moment)
    assert forecast_at(history, moment) is not forecast_at(history, moment + timedelta(hours=1))


@pytest.mark.parametrize("kind", ["drained", "cast", "test_bag"])
def test_what_is_dated_after_now_has_no_say_yet_in_what_is_foreseen(kind: str) -> None:
    story = Story().begin()
    story.bag_start()
    story.bag(5.0, 0.30)
    so_far = story.history()
    now = so_far.facts[-1].at + timedelta(minutes=1)
    if kind == "test_bag":
        story.bag(9.0, 0.50)
    else:
        story.tell(9.0, kind)
    assert forecast_at(story.history(), now) == forecast_at(so_far, now)


@pytest.mark.parametrize("hours", [30.0, 60.0])
def test_a_target_that_is_past_is_not_foreseen(hours: float) -> None:
    story = Story().begin()
    story.bag_start()
    story.bag(20.0, 0.47)
    story.bag(hours, 0.47)
    detail, _ = said_of(story, "test_bag")
    assert "at about" not in detail
