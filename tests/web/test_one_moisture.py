"""Several weighings within a quarter of an hour are one determination, and every place says the same number of it."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from app.charts.timeline import timeline_figure
from app.judgement.flags import evaluate
from app.judgement.history.history import History
from app.judgement.meaning.meaning import meaning
from app.judgement.steps.next_steps import next_steps
from app.judgement.watch.kiln_card import kiln_card
from app.judgement.wording import Words
from app.web.batches.page import chart_rows
from app.web.batches.record import record_groups
from app.web.summary.glance import moisture_said
from tests.judgement.flag_story import HOUR_ZERO, Story

DUBLIN = ZoneInfo("Europe/Dublin")
WET, DRY = 0.52, 0.48


def two_bags(apart_h: float = 0.0, wet: float = WET, dry: float = DRY) -> tuple[Story, tuple[str, str]]:
    """Two bags of one steep, weighed together: by one it is drowned, by the other hardly too wet, by both surely so."""
    story = Story().begin()
    for vessel in ("bag 1", "bag 2"):
        story.bag_start(vessel=vessel)
    weighed = [story.bag(6.0 + hour, wb, vessel=f"bag {at}") for at, (hour, wb) in
               enumerate(((0.0, dry), (apart_h, wet)), 1)]  # fmt: skip
    return story, (weighed[0], weighed[1])


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\\xa0", " ").replace("\u202f", " ")


@pytest.mark.parametrize("apart_h", [0.0, 0.2])
def test_card_flag_chart_table_record_and_answer_say_one_number(apart_h: float) -> None:
    story, weighed = two_bags(apart_h)
    now = HOUR_ZERO + timedelta(hours=6.25)
    history, words = story.history(), Words(now=now)
    card = moisture_said(history, words)
    assert card is not None
    number = plain(card.value)
    (flag,) = [flag for flag in evaluate(history, now) if flag.rule == "oversteeped"]
    assert plain(flag.title).startswith(f"Oversteeped: {number},")
    assert set(flag.fact_ids) == set(weighed)
    figure = timeline_figure(history, now, [flag], units="metric", zone=DUBLIN)
    hovers = [text for trace in figure["data"] if trace.get("name") == "test bag" for text in trace["hovertext"]]
    assert [number in plain(text) for text in hovers] == [True]
    assert [row[1] for row in chart_rows(history, words) if "bag" in row[2]] == [card.value]
    rows = [row for group in record_groups(history, words) for row in group.rows if row.id in weighed]
    assert [number in plain(str(row)) for row in rows] == [True, True]
    for fact_id in weighed:
        fact = history.by_id(fact_id)
        assert fact is not None
        answer = meaning(history, fact, now, words)
        assert number in plain(f"{answer.text} {answer.detail}")
        assert answer.status == flag.severity


def test_what_may_as_well_be_in_range_is_said_to_be_too_unsure_and_raises_nothing() -> None:
    story, (last, _) = two_bags(wet=0.50, dry=0.44)
    now = HOUR_ZERO + timedelta(hours=6.25)
    fact = story.history().by_id(last)
    assert fact is not None
    answer = meaning(story.history(), fact, now, Words(now=now))
    assert (answer.status, "Too unsure to say" in answer.detail) == ("none", True)
    assert not [flag for flag in evaluate(story.history(), now) if flag.rule == "oversteeped"]


def said(history: History, hour: float) -> tuple[object, ...]:
    now = HOUR_ZERO + timedelta(hours=hour)
    words = Words(now=now)
    flags = [(flag.rule, flag.severity, flag.title, flag.meaning, flag.remedy) for flag in evaluate(history, now)]
    answers = sorted(repr(meaning(history, fact, now, words)) for fact in history.facts)
    card = kiln_card(history, now)
    steps = [(each.what, each.why, f"{each.due_at:%d %H:%M}", each.basis) for each in next_steps(history, now, words)]
    return (flags, answers, moisture_said(history, words), steps, card and card.dry is None,
            card and card.ceiling and card.ceiling.place, chart_rows(history, words))  # fmt: skip


def renamed(story: Story, first: str, second: str) -> History:
    """The same facts, the ids of two of them swapped."""
    other = {first: second, second: first}
    records = [record | {"id": other.get(record["id"], record["id"])} for record in story.records]
    swapped = Story()
    swapped.records = records
    return swapped.history()


def kilned() -> tuple[Story, tuple[str, str]]:
    """One tray, weighed twice at one instant: by the one it is dry enough, by the other it is not."""
    story = Story().kiln()
    story.tell(160.0, "tray", {"vessel": "tray 1", "gross_kg": 1.5, "tare_kg": 0.5, "net_kg": 1.0})
    light, heavy = (
        story.tell(172.0, "tray", {"vessel": "tray 1", "gross_kg": gross, "tare_kg": 0.5, "net_kg": gross - 0.5})
        for gross in (1.084, 1.10)
    )
    return story, (light, heavy)


def analysed() -> tuple[Story, tuple[str, str]]:
    """The finished malt tested twice at one instant: by the one too wet to keep, by the other as wanted."""
    story = Story().kiln()
    story.tell(176.0, "heat_off")
    first, second = (
        story.tell(178.0, "moisture_test", {"value": value}, method="oven_malt") for value in (0.041, 0.063)
    )
    return story, (first, second)


@pytest.mark.parametrize(("tell", "hour"), [(two_bags, 6.25), (kilned, 172.5), (analysed, 178.5)])
def test_which_of_two_ids_comes_first_changes_nothing_that_is_said(tell, hour: float) -> None:
    story, (first, second) = tell()
    assert said(story.history(), hour) == said(renamed(story, first, second), hour)
