"""The ribbon of a batch from its facts: what was lived, what is still planned, and what lies on it."""

from xml.etree import ElementTree

import pytest

from app.charts.batch_ribbon import batch_ribbon, ribbon_parts, stacked_ribbons
from app.charts.ribbon import Segment
from app.judgement.history.build import history_from_records
from app.judgement.history.history import BatchInfo, History
from tests.charts.tale import PALE, flag, tale, to_plan, told
from tests.judgement.story import Story, at

PLAN = PALE.planned_stages()


def hours_of(stage: str) -> float:
    """The planned hours of the first stage of that name."""
    return next(row.end_h - row.start_h for row in PLAN if row.stage == stage)


def test_what_was_lived_is_drawn_in_its_hours():
    segments = ribbon_parts(told(tale()), at(52)).segments
    assert [each for each in segments if each.stage != "charged"] == [
        Segment("immersion", 0, 6.5),
        Segment("air_rest", 6.5, 20),
        Segment("immersion", 20, 26),
        Segment("germination", 26, 52),
    ]


def test_before_first_water_the_whole_plan_lies_ahead():
    parts = ribbon_parts(told(Story()), at(0))
    assert parts.segments == ()
    assert [each.stage for each in parts.planned] == [row.stage for row in PLAN]
    assert [each.end_h for each in parts.planned] == pytest.approx([row.end_h for row in PLAN])


def test_the_rest_of_the_running_stage_comes_before_those_still_planned():
    planned = ribbon_parts(told(tale()), at(52)).planned
    assert [each.stage for each in planned] == ["germination", "kilning", "cooling"]
    assert planned[0] == Segment("germination", 52, pytest.approx(26 + hours_of("germination")))
    assert planned[1].start_h == planned[0].end_h
    assert planned[1].end_h - planned[1].start_h == pytest.approx(hours_of("kilning"))


def test_a_stage_beyond_its_planned_hours_has_nothing_left():
    planned = ribbon_parts(told(tale()), at(26 + hours_of("germination") + 5)).planned
    assert [each.stage for each in planned] == ["kilning", "cooling"]


def test_a_steep_beyond_the_plan_moves_nothing_on():
    story = Story()
    for turn in range(5):
        story.say(20 * turn, "steep_on")
        story.say(20 * turn + 4, "drained")
    planned = ribbon_parts(told(story), at(85)).planned
    assert [each.stage for each in planned] == ["germination", "kilning", "cooling"]


@pytest.mark.parametrize("kind", ["finished", "abandoned"])
def test_nothing_is_planned_once_a_batch_has_ended(kind):
    story = tale()
    story.say(60, kind)
    parts = ribbon_parts(told(story), at(100))
    assert (parts.planned, parts.now_h) == ((), None)


def test_an_abandoned_batch_ends_in_a_cross():
    story = tale()
    story.say(60, "abandoned")
    assert "#rb-cross" in batch_ribbon(told(story), at(100))


def test_facts_of_the_future_and_answers_are_no_ticks():
    story = tale()
    before = len(ribbon_parts(told(story), at(52)).ticks)
    story.say(51, "flag_answer", {"rule": "r", "episode_id": "e", "answer": "seen", "severity": "act"})
    story.say(60, "turned")
    assert len(ribbon_parts(told(story), at(52)).ticks) == before


def test_flags_lie_where_they_begin_and_are_hollow_once_answered():
    flags = [flag("act", 30, 40), flag("notice", 10)]
    parts = ribbon_parts(told(tale()), at(52), flags, {flags[0].key})
    assert [(mark.at_h, mark.severity, mark.is_answered) for mark in parts.flags] == [
        (30, "act", True),
        (10, "notice", False),
    ]


def test_an_answer_that_holds_is_found_among_the_facts():
    story = tale()
    said = {"rule": "warm", "episode_id": "episode-30", "answer": "acted_on", "severity": "act"}
    story.say(41, "flag_answer", said)
    (mark,) = ribbon_parts(told(story), at(52), [flag("act", 30, 40)]).flags
    assert mark.is_answered


def test_a_batch_without_a_programme_has_a_ribbon_of_what_was_lived():
    story = tale()
    history = history_from_records([{"record": "batch", "id": "batch-1"}, *story.records])
    assert ribbon_parts(history, at(52)).planned == ()


def test_a_batch_without_a_fact_is_a_ribbon_without_a_stage():
    svg = ElementTree.fromstring(batch_ribbon(History.build(BatchInfo(id="b"), []), at(0)))
    assert svg.get("role") == "img"


def test_the_words_name_the_batch_its_stages_and_what_is_planned():
    svg = ElementTree.fromstring(batch_ribbon(told(tale(), 7, "barley & oats"), at(52), [flag("act", 30)]))
    text = svg.get("aria-label", "")
    assert text.startswith("Batch 7 barley & oats: immersion 6.5 h, air rest 13.5 h")
    assert "now hour 52" in text
    assert "still planned: germination" in text
    assert "act now at hour 30" in text


def test_ribbons_under_one_another_share_their_hours():
    whole, young = to_plan(), told(Story())
    story = tale()
    story.say(60, "finished")
    short = told(story)
    drawn = [ElementTree.fromstring(each) for each in stacked_ribbons([whole, short], at(1000))]
    ends = []
    for svg in drawn:
        boxes = [rect for rect in svg.iter("rect") if rect.get("class") == "rb-stage"]
        ends.append(max(float(box.get("x")[:-1]) + float(box.get("width")[:-1]) for box in boxes))
    total_h = ribbon_parts(whole, at(1000)).end_h
    assert ends == [pytest.approx(100, abs=0.05), pytest.approx(100 * 60 / total_h, abs=0.05)]
    assert [bool(list(svg.iter("text"))) for svg in drawn] == [False, True]
    assert len(stacked_ribbons([young], at(0))) == 1
