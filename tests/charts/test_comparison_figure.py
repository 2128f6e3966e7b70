"""Batches laid over one another: all from hour 0, each to be told apart, each with its own clock."""

import json
from dataclasses import replace
from datetime import timedelta
from itertools import combinations

import pytest

from app.charts.comparison import MOST_BATCHES, comparison_figure
from app.judgement.forecasts.moisture import samples
from app.judgement.history.history import BatchInfo, History
from tests.charts.tale import named, tale, to_plan, told
from tests.judgement.story import Story, at


def later(story: Story, days: float, number: int) -> History:
    """The same story, begun days later."""
    history = told(story, number)
    shift = timedelta(days=days)
    facts = [
        replace(fact, earliest_at=fact.earliest_at + shift, latest_at=fact.latest_at + shift) for fact in history.facts
    ]
    return History.build(history.batch, facts, programmes=history.programmes)


def curves(figure, axis):
    return [trace for trace in figure["data"] if trace["yaxis"] == axis and trace.get("name")]


def test_batches_of_different_days_lie_over_one_another_from_hour_0():
    figure = comparison_figure([told(tale(), 7), later(tale(), 30, 8)], at(2000))
    first, second = curves(figure, "y2")
    assert first["x"] == pytest.approx(second["x"])
    assert first["y"] == second["y"]
    assert first["hovertext"] != second["hovertext"]


def test_each_batch_has_a_hue_a_dash_and_a_marker_of_its_own_in_both_panels():
    histories = [told(tale(), number) for number in range(1, MOST_BATCHES + 1)]
    figure = comparison_figure(histories, at(52))
    for axis in ("y", "y2"):
        marked = [trace for trace in curves(figure, axis) if "markers" in trace["mode"]]
        looks = [(trace["line"]["color"], trace["line"]["dash"], trace["marker"]["symbol"]) for trace in marked]
        assert len(looks) == MOST_BATCHES
        for one, other in combinations(looks, 2):
            assert all(mine != its for mine, its in zip(one, other, strict=True))
    drawn = [trace["line"] for trace in curves(figure, "y") if trace["mode"] == "lines"]
    assert drawn == [trace["line"] for trace in curves(figure, "y2")]


def test_a_batch_stands_in_the_legend_once_by_number_and_title():
    figure = comparison_figure(
        [told(tale(), 7, "barley, pale"), told(tale(), 8, "a title that goes on and on")], at(52)
    )
    shown = [trace["name"] for trace in figure["data"] if trace["showlegend"]]
    assert shown == ["7 barley, pale", "8 a title that goes on an…"]
    assert len(shown[1]) <= 26


def test_a_title_with_markup_is_shown_as_it_stands():
    figure = comparison_figure([told(tale(), 7, "<i>x</i> & y")], at(52))
    assert curves(figure, "y")[0]["name"] == "7 &lt;i&gt;x&lt;/i&gt; &amp; y"


def test_the_places_of_one_look_are_a_mean_with_its_coolest_and_warmest():
    story = tale()
    trace = curves(comparison_figure([told(story)], at(52)), "y2")[0]
    assert trace["x"] == [30, 40, 50]
    assert trace["y"] == pytest.approx([15.0, (19.5 + 17.0 + 15.5) / 3, (18.0 + 17.5 + 15.0) / 3], abs=0.001)
    assert trace["y"][0] + trace["error_y"]["array"][0] == pytest.approx(16.0)
    assert trace["y"][0] - trace["error_y"]["arrayminus"][0] == pytest.approx(14.0)
    assert "top 16.0 °C" in trace["hovertext"][0]


def test_no_line_is_drawn_from_the_floor_to_the_kiln():
    story = tale()
    story.say(60, "loaded")
    story.say(66, "grain_temperature", {"value": 45.0})
    floor, kiln = curves(comparison_figure([told(story)], at(68)), "y2")
    assert (floor["x"], kiln["x"]) == ([30, 40, 50], [66])
    assert floor["line"] == kiln["line"]


def test_moistures_carry_their_95_percent_interval():
    fitted, trace = curves(comparison_figure([told(tale())], at(52)), "y")
    assert (fitted["mode"], trace["mode"]) == ("lines", "markers")
    expected = samples(told(tale()))
    assert trace["y"] == pytest.approx([100 * each.moisture_wb for each in expected], abs=0.001)
    assert trace["error_y"]["array"] == pytest.approx([200 * each.sd for each in expected], abs=0.001)


def test_temperatures_are_drawn_in_fahrenheit_for_those_who_read_it():
    trace = curves(comparison_figure([told(tale())], at(52), units="us"), "y2")[0]
    assert trace["y"][0] == pytest.approx(15.0 * 1.8 + 32)


def test_the_stages_of_each_batch_lie_in_a_row_under_its_number():
    figure = comparison_figure([told(tale(), 7), told(tale(), 8)], at(52))
    assert figure["layout"]["yaxis3"]["ticktext"] == ["7", "8"]
    heights = [trace["y"][0] for trace in figure["data"] if trace.get("name") == "stages"]
    assert heights == figure["layout"]["yaxis3"]["tickvals"]
    assert heights[0] > heights[1]


def test_the_germination_of_all_is_in_its_view():
    late = tale()
    late.records = [record for record in late.records if record["kind"] != "cast"]
    late.say(40, "cast")
    figure = comparison_figure([told(tale(), 7), told(late, 8)], at(52))
    views = {view["name"]: view["set"]["xaxis.range"] for view in figure["layout"]["meta"]["views"]}
    low, high = views["germination"]
    assert low < 26
    assert high > 52


def test_a_batch_without_a_fact_beside_a_whole_one_does_not_disturb_it():
    empty = History.build(BatchInfo(id="e", number=9), [])
    figure = comparison_figure([to_plan(), empty], at(1000))
    assert json.loads(json.dumps(figure, allow_nan=False)) == figure
    assert named(figure, "9")["x"] == []


@pytest.mark.parametrize("number", [0, MOST_BATCHES + 1])
def test_none_and_more_than_six_are_refused(number):
    with pytest.raises(ValueError, match="one to 6 batches"):
        comparison_figure([told(tale())] * number, at(52))


def test_the_germination_of_all_is_on_the_scale_of_the_floor_though_one_is_on_the_kiln_by_then():
    early = tale()
    early.say(60, "loaded")
    for hour, air in ((60, 45.0), (66, 70.0), (80, 95.0)):
        early.say(hour, "grain_temperature", {"value": air})
    early.say(90, "finished")
    late = tale()
    late.say(100, "grain_temperature", {"value": 16.0})
    figure = comparison_figure([told(early, 7), told(late, 8)], at(102))
    views = {view["name"]: view["set"] for view in figure["layout"]["meta"]["views"]}
    assert views["germination"]["xaxis.range"][1] > 100
    assert views["germination"]["yaxis2.range"][1] < 25
    assert views["whole"]["yaxis2.range"][1] > 95
