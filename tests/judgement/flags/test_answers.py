"""Answers: they move a flag out of now, hold while it gets no worse, and stay in the record when its cause is gone."""

import random

from app.judgement.facts.shapes import Answer
from app.judgement.flags import evaluate
from app.judgement.flags.answers import JudgedFlag, answered, leftover_answers
from app.judgement.history.build import history_from_records
from tests.judgement.flag_story import Story, moment


def warm(*readings: tuple[float, float]) -> Story:
    story = Story()
    story.grow(cast_hour=40)
    for hour, value in readings:
        story.grain(hour, value)
    return story


def judged(story: Story, hour: float, rule: str = "out_of_limits") -> JudgedFlag:
    history = story.history()
    found = [
        each for each in answered(history, evaluate(history, moment(hour)), moment(hour)) if each.flag.rule == rule
    ]
    assert len(found) == 1
    return found[0]


def leftovers(story: Story, hour: float) -> list[Answer]:
    history = story.history()
    return leftover_answers(history, evaluate(history, moment(hour)), moment(hour))


def test_an_unanswered_flag_that_goes_on_is_open() -> None:
    found = judged(warm((44, 19.0)), 45)
    assert (found.is_open, found.answer, found.holds) == (True, None, False)


def test_a_flag_that_has_ended_is_not_open_though_nobody_answered() -> None:
    assert not judged(warm((44, 19.0), (46, 15.0)), 47).is_open


def test_an_answer_moves_the_flag_out_of_now() -> None:
    story = warm((44, 19.0))
    episode = story.records[-1]["id"]
    story.answer(45, "out_of_limits", episode, "seen", "notice")
    found = judged(story, 46)
    assert not found.is_open
    assert found.answer is not None
    assert found.answer.answer == "seen"


def test_an_answer_has_no_say_before_it_was_given() -> None:
    story = warm((44, 19.0))
    story.answer(46, "out_of_limits", story.records[-1]["id"], "seen", "notice")
    assert judged(story, 45).is_open


def test_the_answer_holds_while_the_flag_gets_no_worse() -> None:
    story = warm((44, 19.0))
    story.answer(45, "out_of_limits", story.records[-1]["id"], "acted_on", "notice")
    story.grain(46, 19.5)
    assert not judged(story, 47).is_open


def test_a_flag_that_gets_worse_than_answered_is_open_again_and_shows_the_answer() -> None:
    story = warm((44, 19.0))
    story.answer(45, "out_of_limits", story.records[-1]["id"], "acted_on", "notice")
    story.grain(46, 21.0)
    found = judged(story, 47)
    assert found.is_open
    assert not found.holds
    assert found.answer is not None


def test_leaving_it_holds_until_its_time() -> None:
    story = warm((44, 19.0))
    story.answer(45, "out_of_limits", story.records[-1]["id"], "leaving", "notice", until_hour=50)
    assert not judged(story, 49.9).is_open
    assert judged(story, 50).is_open


def test_the_last_answer_counts() -> None:
    story = warm((44, 19.0))
    episode = story.records[-1]["id"]
    story.answer(45, "out_of_limits", episode, "leaving", "notice", until_hour=46)
    story.answer(46.5, "out_of_limits", episode, "seen", "notice")
    assert not judged(story, 60).is_open


def test_when_the_cause_comes_back_a_new_flag_stands() -> None:
    story = warm((44, 19.0))
    story.answer(45, "out_of_limits", story.records[-1]["id"], "acted_on", "act")
    story.grain(46, 15.0)
    story.grain(48, 19.0)
    history = story.history()
    found = [
        (each.flag.episode_id, each.is_open)
        for each in answered(history, evaluate(history, moment(49)), moment(49))
        if each.flag.rule == "out_of_limits"
    ]
    assert [is_open for _, is_open in found] == [True, False]


def test_an_answer_to_another_rule_or_episode_says_nothing() -> None:
    story = warm((44, 19.0))
    episode = story.records[-1]["id"]
    story.answer(45, "mould", episode, "seen", "act")
    story.answer(45, "out_of_limits", "f1", "seen", "act")
    assert judged(story, 46).is_open


def test_correcting_the_fact_that_opened_the_episode_keeps_the_answer() -> None:
    story = warm((44, 19.0))
    first = story.records[-1]["id"]
    story.answer(45, "out_of_limits", first, "seen", "notice")
    story.tell(44, "grain_temperature", {"value": 19.2}, supersedes_id=first)
    assert not judged(story, 46).is_open


def test_an_answer_given_to_the_corrected_fact_is_to_the_same_episode() -> None:
    story = warm((44, 19.0))
    first = story.records[-1]["id"]
    later = story.tell(44, "grain_temperature", {"value": 19.2}, supersedes_id=first)
    story.answer(45, "out_of_limits", later, "seen", "notice")
    assert not judged(story, 46).is_open


def test_an_answer_whose_cause_was_removed_stays_in_the_record() -> None:
    story = warm((44, 19.0))
    first = story.records[-1]["id"]
    answer = story.answer(45, "out_of_limits", first, "seen", "notice")
    assert leftovers(story, 46) == []
    story.tell(46, "withdrawal", {"reason": "probe in the air"}, supersedes_id=first)
    assert [each.id for each in leftovers(story, 47)] == [answer]


def test_an_answer_to_a_flag_that_a_graver_one_now_speaks_for_is_not_left_over() -> None:
    story = warm((44, 23.0))
    first = story.records[-1]["id"]
    story.answer(45, "out_of_limits", first, "seen", "caution")
    story.grain(51, 23.0)
    assert leftovers(story, 51) == []
    assert judged(story, 51, "warm_and_wet").is_open, "what it means has changed: it asks anew"


def test_open_flags_come_first() -> None:
    story = warm((44, 26.0))
    story.answer(45, "out_of_limits", story.records[-1]["id"], "seen", "act")
    story.read(44, "co2_room", 6000.0)
    history = story.history()
    rules = [each.flag.rule for each in answered(history, evaluate(history, moment(46)), moment(46))]
    assert rules.index("room_air") < rules.index("out_of_limits")


def test_any_order_of_arrival_gives_the_same_flags_and_answers() -> None:
    story = warm((44, 19.0), (47, 22.4), (50, 17.0), (53, 21.0))
    story.answer(48, "out_of_limits", "f12", "seen", "caution")
    story.look(60, mould="not_sure")
    story.tell(60, "withdrawal", {"reason": "wrong bed"}, supersedes_id=story.records[-4]["id"])
    records = story.all_records()
    known = {story.programme.digest: story.programme}

    def told(order: list[dict]) -> list[JudgedFlag]:
        history = history_from_records(order, known)
        return answered(history, evaluate(history, moment(70)), moment(70))

    expected = told(records)
    assert len(expected) > 2
    for seed in range(20):
        shuffled = random.Random(seed).sample(records, len(records))
        assert told(shuffled) == expected
