"""The timeline as a table, for those who can't see the chart."""

from zoneinfo import ZoneInfo

from app.charts.summary import timeline_table
from app.judgement.history.history import BatchInfo, History
from tests.charts.tale import tale, to_plan, told
from tests.judgement.story import at


def rows_of(history, now_h=52, **options):
    headings, rows = timeline_table(history, at(now_h), **options)
    return [dict(zip(headings, row, strict=True)) for row in rows]


def test_each_stage_is_a_row_with_its_beginning_and_hours():
    rows = rows_of(told(tale()), zone=ZoneInfo("Europe/Dublin"))
    assert [row["Stage"] for row in rows] == ["under water", "air rest", "under water", "germination"]
    assert rows[1]["Began"] == "h 6.5 · Mon 5 Jan 12:30"
    assert [row["Hours"] for row in rows] == ["6.5", "13.5", "6.0", "26.0 so far"]


def test_temperatures_are_told_from_the_lowest_to_the_highest():
    told_of = rows_of(told(tale()))[-1]["Temperatures, lowest to highest"]
    assert told_of == "grain 14.0 to 19.5 °C (9 read); air 11.0 to 11.0 °C (1 read)"


def test_temperatures_are_told_in_fahrenheit_for_those_who_read_it():
    assert "57.2 to 67.1 °F" in rows_of(told(tale()), units="us")[-1]["Temperatures, lowest to highest"]


def test_the_moisture_at_the_end_of_a_stage_says_how_sure_it_is():
    moistures = [row["Moisture at its end"] for row in rows_of(to_plan(), 1000)]
    assert all("±" in text and text.endswith("%") for text in moistures)


def test_a_batch_without_a_fact_has_no_row():
    assert rows_of(History.build(BatchInfo(id="b"), [])) == []
