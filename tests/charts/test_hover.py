"""What stands beside a point: all that was kept of it, in the house's clock, and never as markup."""

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from app.charts.hover import fact_words
from app.charts.timeline import timeline_figure
from tests.charts.tale import draw, flag, named, tale, words_of
from tests.judgement.story import Story, at

DUBLIN = ZoneInfo("Europe/Dublin")


def test_a_flag_says_its_temperatures_in_the_units_of_the_reader():
    figure = draw(flags=[flag("act", 30, title="Grain at {t:25.0}")], units="us")
    assert named(figure, "flag: act now")["hovertext"][0].startswith("Grain at 77.0 °F<br>act now")


def test_a_stage_says_when_and_by_whom_it_was_begun():
    text = named(draw(zone=DUBLIN), "stages")["hovertext"][0]
    assert text.split("<br>") == [
        "under water, 6.5 h", "hour 0.0 to 6.5",
        "Mon 5 Jan 06:00 to Mon 5 Jan 12:30", "Anna", "“Clear water &amp; cold”",
    ]  # fmt: skip


def test_a_point_says_value_hour_clock_place_instrument_people_and_note():
    story = tale()
    story.say(
        51, "grain_temperature", {"value": 17.25}, place="top", instrument="probe 2", person="Anna", entered_by="Ben",
        quality="estimated", note="Felt warm",
    )  # fmt: skip
    assert named(draw(story, zone=DUBLIN), "grain, top")["hovertext"][-1].split("<br>") == [
        "grain, top 17.2 °C", "hour 51.0 · Wed 7 Jan 09:00", "top · probe 2", "estimated", "Anna · typed by Ben",
        "“Felt warm”",
    ]  # fmt: skip


def test_the_hour_that_comes_twice_in_a_night_names_its_zone():
    story = Story()
    start = datetime(2025, 10, 25, 18, 0, tzinfo=UTC)
    zero = (start - at(0)).total_seconds() / 3600
    story.say(zero, "steep_on")
    for hours in (6.5, 7.5):
        story.say(zero + hours, "water_temperature", {"value": 14.0})
    texts = named(timeline_figure(story.history(), start + timedelta(hours=9), [], zone=DUBLIN), "water")["hovertext"]
    assert ["Sun 26 Oct 01:30 IST" in texts[0], "Sun 26 Oct 01:30 GMT" in texts[1]] == [True, True]


@settings(max_examples=25)
@given(
    st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc"))),
    st.text(alphabet="<>&;a/ \"'=:\n", max_size=400),
)
def test_no_words_of_a_person_become_markup(name, note):
    story = tale()
    for kind, values in (("turned", {}), ("grain_temperature", {"value": 16.0}), ("note", {"text": note or "-"})):
        story.say(51, kind, values, person=name or None, place=name[:60] or None, note=note or None)
    figure = draw(story)
    for text in [*words_of(figure), *(trace.get("name", "") for trace in figure["data"])]:
        bare = text.replace("<br>", "")
        assert "<" not in bare
        assert re.fullmatch(r"(?:[^&]|&(?:amp|lt|gt);)*", bare, re.DOTALL)


def test_a_link_in_a_note_is_shown_as_it_was_typed():
    story = tale()
    story.say(51, "note", {"text": '<a href="javascript:alert(1)">press</a>'})
    text = named(draw(story), "other entries")["hovertext"][-1].replace("<br>", " ")
    assert '&lt;a href="javascript:alert(1)"&gt;press&lt;/a&gt;' in text


def test_a_long_note_is_cut_short():
    story = tale()
    story.say(51, "note", {"text": "word " * 800})
    text = named(draw(story), "other entries")["hovertext"][-1]
    assert text.count("<br>") < 12
    assert text.count("…") == 1


def test_counts_are_told_in_the_order_of_their_classes():
    story = tale()
    counts = {"half_to_three_quarters": 25, "mouldy": 1, "over": 2, "quarter_to_half": 60, "to_quarter": 12}
    story.say(60, "growth_count", {"looked_at": 100, "counts": counts})
    told = fact_words(story.history().of_kind("growth_count")[-1], "metric")
    assert told == "to quarter 12, quarter to half 60, half to three quarters 25, over 2, mouldy 1 of 100"
