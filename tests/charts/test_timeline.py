"""The timeline as a figure: where values lie, what limits and flags look like, and what stands beside a point."""

import json
import re
from datetime import timedelta
from itertools import combinations
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

import app
from app.charts.timeline import timeline_figure
from app.judgement.forecasts.moisture import moisture_at, samples
from app.judgement.history.history import BatchInfo, History
from app.judgement.programmes.programme import load_builtin
from tests.charts.tale import PALE, draw, flag, named, tale, to_plan, told
from tests.judgement.story import at

DUBLIN = ZoneInfo("Europe/Dublin")
TOKENS = (Path(app.__file__).parent / "web" / "static" / "css" / "tokens.css").read_text(encoding="utf-8")


def boxes(figure, axis, colour):
    """(from hour, to hour, low, high) of the filled shapes of a colour, whatever its strength, on an axis."""
    return [
        (shape["x0"], shape["x1"], shape["y0"], shape["y1"])
        for shape in figure["layout"]["shapes"]
        if shape["type"] == "rect" and shape["yref"] == axis and shape["fillcolor"].split("/")[0] == f"var:{colour}"
    ]


def rules(figure, axis, colour):
    return [
        (shape["x0"], shape["x1"], shape["y0"])
        for shape in figure["layout"]["shapes"]
        if shape["type"] == "line" and shape["yref"] == axis and shape["line"]["color"] == f"var:{colour}"
    ]


def colours(part, key=""):
    """Every value under a key that ends in "color", and every other text."""
    if isinstance(part, dict):
        for name, value in part.items():
            yield from colours(value, name)
    elif isinstance(part, list | tuple):
        for value in part:
            yield from colours(value, key)
    elif isinstance(part, str):
        yield key.endswith("color"), part


def test_temperatures_lie_at_their_hours_from_first_water():
    trace = named(draw(), "grain, top")
    assert trace["x"] == [30, 40, 50]
    assert trace["y"] == [16.0, 19.5, 18.0]
    assert trace["yaxis"] == "y2"


def test_temperatures_are_drawn_in_fahrenheit_for_those_who_read_it():
    figure = draw(units="us")
    assert named(figure, "grain, top")["y"] == pytest.approx([60.8, 67.1, 64.4])
    assert "60.8 °F" in named(figure, "grain, top")["hovertext"][0]
    assert "Temperature, °F" in [said["text"] for said in figure["layout"]["annotations"]]


def test_every_thermometer_can_be_told_apart_without_colour():
    story = tale()
    for place in ("tray 1", "tray 2", "tray 3"):
        story.say(51, "grain_temperature", {"value": 20.0}, place=place)
    story.say(51, "set_point", {"value": 50.0})
    story.say(51, "air_on_temperature", {"value": 50.0})
    story.say(51, "air_off_temperature", {"value": 30.0})
    shown = [trace for trace in draw(story)["data"] if trace["yaxis"] == "y2" and trace.get("showlegend", True)]
    assert len(shown) == 11
    for one, other in combinations(shown, 2):
        looks = [(trace["line"]["dash"], trace["marker"]["symbol"]) for trace in (one, other)]
        assert looks[0] != looks[1], (one["name"], other["name"])


def test_moistures_carry_their_95_percent_interval():
    history = told(tale())
    trace = named(draw(), "test bag")
    expected = [sample for sample in samples(history) if sample.basis == "test_bag"]
    assert trace["y"] == pytest.approx([100 * sample.moisture_wb for sample in expected], abs=0.001)
    assert trace["error_y"]["array"] == pytest.approx([200 * sample.sd for sample in expected], abs=0.001)


@pytest.mark.parametrize("now_h", [26.5, 27, 33.3, 52, 119.7])
def test_the_fitted_curve_reaches_to_now_and_from_there_goes_on_dashed(now_h):
    figure = draw(now_h=now_h)
    known, foreseen = named(figure, "fitted curve"), named(figure, "forecast")
    assert "dash" not in known["line"]
    assert foreseen["line"]["dash"] == "dash"
    assert max(known["x"]) == min(foreseen["x"]) == pytest.approx(now_h, abs=0.001)
    assert max(foreseen["x"]) > now_h + 3
    assert all("forecast" in text for text in foreseen["hovertext"])


def test_the_curve_runs_through_the_weighings_within_what_is_known_of_them():
    trace, history = named(draw(now_h=52), "fitted curve"), told(tale())
    value = dict(zip(trace["x"], trace["y"], strict=True))
    for sample in samples(history):
        assert abs(value[round(history.hour(sample.at), 4)] - 100 * sample.moisture_wb) < 300 * sample.sd


def test_a_curve_of_uptake_bends_and_is_not_straight_between_weighings():
    trace = named(draw(now_h=52), "fitted curve")
    hour = {round(at, 1): value for at, value in zip(trace["x"], trace["y"], strict=True)}
    first = [value for at, value in hour.items() if 0 <= at <= 6]
    middle = first[len(first) // 2]
    assert middle > (first[0] + first[-1]) / 2 + 1.0


def test_half_way_between_weighings_the_interval_is_wider_than_at_them():
    figure = draw()
    low, high = (trace for trace in figure["data"] if trace.get("legendgroup") == "fitted" and not trace.get("name"))
    width = {hour: above - below for hour, below, above in zip(low["x"], low["y"], high["y"], strict=True)}
    between = [each for hour, each in width.items() if 6 < hour < 25]
    assert len(between) > 1
    assert max(between) > 1.2 * max(width[6], width[25])


def test_the_curve_of_an_ended_batch_stops_at_its_last_determination():
    history = to_plan()
    figure = timeline_figure(history, at(1000), [])
    assert max(named(figure, "fitted curve")["x"]) == pytest.approx(history.hour(samples(history)[-1].at), abs=0.001)


def test_the_moisture_to_cast_at_is_a_band_from_the_last_steep_on():
    limit = PALE.limits["cast_moisture"]
    band = (20, 52, 100 * limit.target_low, 100 * limit.target_high)
    assert boxes(draw(), "y", "fine") == [pytest.approx(band)]


def test_the_limits_of_each_stage_stand_over_its_hours():
    limit = PALE.limits["water_temperature.immersion"]
    figure = draw()
    assert boxes(figure, "y2", "steep") == [
        (0, 6.5, limit.target_low, limit.target_high),
        (20, 26, limit.target_low, limit.target_high),
    ]
    assert (0, 6.5, limit.high_caution) in rules(figure, "y2", "caution")
    assert (0, 6.5, limit.high_act) in rules(figure, "y2", "act")


def test_water_of_one_immersion_is_not_joined_to_that_of_the_next():
    waters = [trace for trace in draw()["data"] if trace["name" if "name" in trace else "type"] == "water"]
    assert [trace["x"] for trace in waters] == [[1], [21]]
    assert [trace["showlegend"] for trace in waters] == [True, False]


def on_the_kiln():
    story = tale()
    story.say(51, "grain_temperature", {"value": 17.0}, place="top")
    story.say(51, "air_temperature", {"value": 12.0}, place="room")
    story.say(60, "loaded")
    story.say(60, "heat_on")
    for hour, value in ((66, 45.0), (68, 60.0)):
        story.say(hour, "grain_temperature", {"value": value}, place="top")
    story.say(70, "heat_off")
    story.say(70.5, "grain_temperature", {"value": 40.0}, place="top")
    story.say(71, "air_temperature", {"value": 13.0}, place="room")
    return story


def test_no_line_is_drawn_from_the_floor_to_the_kiln_nor_from_the_kiln_to_what_cools():
    figure = draw(on_the_kiln(), now_h=71)
    tops = [trace for trace in figure["data"] if trace.get("name") == "grain, top"]
    assert [trace["x"] for trace in tops] == [[30, 40, 50, 51], [66, 68], [70.5]]
    assert [trace["showlegend"] for trace in tops] == [True, False, False]


def test_the_air_of_the_room_is_one_line_whatever_the_grain_does():
    rooms = [trace for trace in draw(on_the_kiln(), now_h=71)["data"] if trace.get("name") == "air, room"]
    assert [trace["x"] for trace in rooms] == [[31, 51, 71]]


def test_the_kiln_ceiling_is_that_of_the_moisture_by_which_the_grain_is_judged():
    history = to_plan()
    trace = named(timeline_figure(history, at(1000), []), "grain ceiling")
    assert trace["line"]["dash"] != "solid"
    for hour, ceiling in zip(trace["x"][::2], trace["y"][::2], strict=True):
        estimate = moisture_at(history, history.starts_at + timedelta(hours=hour))
        assert estimate.is_known
        assert PALE.ceiling_c(estimate.moisture_wb) == ceiling
    assert trace["y"] == sorted(trace["y"])


@pytest.mark.parametrize("key", sorted(load_builtin()))
def test_each_built_in_programme_run_to_plan_can_be_drawn(key):
    figure = timeline_figure(to_plan(key), at(1000), [])
    assert named(figure, "grain, middle")["x"]
    assert json.loads(json.dumps(figure, allow_nan=False)) == figure


def test_lowest_and_highest_since_the_last_look_are_an_upright_bar():
    story = tale()
    story.say(51, "grain_temperature", {"value": 16.0, "lowest": 11.0, "highest": 21.5}, place="middle")
    bars = named(draw(story), "grain, middle")["error_y"]
    assert (bars["array"][-1], bars["arrayminus"][-1]) == (5.5, 5.0)
    assert bars["array"][:-1] == [None, None, None]
    assert "lowest 11.0 °C, highest 21.5 °C" in named(draw(story), "grain, middle")["hovertext"][-1]


def test_a_time_known_only_within_a_span_is_a_level_bar():
    story = tale()
    span = {"earliest_at": at(42).isoformat(), "latest_at": at(48).isoformat()}
    story.records.append(
        {"id": "x", "kind": "grain_temperature", "subject": story.records[0]["subject"], "values": {"value": 15.0}}
        | span
    )
    trace = named(draw(story), "grain")
    assert trace["x"] == [45]
    assert trace["error_x"]["array"] == [3.0]
    assert "some time within hour 42.0 to 48.0" in trace["hovertext"][0]


def test_an_interruption_lies_over_the_time_it_took():
    story = tale()
    story.say(40, "interruption", {"what": "fuse blew", "until_at": at(46).isoformat()})
    trace = named(draw(story), "other entries")
    place = next(at for at, text in enumerate(trace["hovertext"]) if "fuse blew" in text)
    assert (trace["x"][place], trace["error_x"]["array"][place]) == (43.0, 3.0)


def test_flags_stand_at_the_top_with_a_shape_for_each_severity():
    figure = draw(flags=[flag("notice", 10), flag("caution", 20, 24), flag("act", 30)])
    marks = {trace["name"]: trace for trace in figure["data"] if trace.get("name", "").startswith("flag")}
    assert list(marks) == ["flag: notice", "flag: caution", "flag: act now"]
    assert len({trace["marker"]["symbol"] for trace in marks.values()}) == 3
    assert {trace["yaxis"] for trace in marks.values()} == {"y3"}
    assert marks["flag: caution"]["x"] == [20]
    assert marks["flag: caution"]["error_x"]["array"] == [4]
    # One that has not ended lasts until now.
    assert marks["flag: act now"]["error_x"]["array"] == [22]


def test_an_answered_flag_is_hollow():
    flags = [flag("caution", 20, 24), flag("caution", 30, 34)]
    figure = draw(flags=flags, answered={flags[0].key})
    assert named(figure, "flag: caution")["marker"]["color"] == ["var:sheet", "var:caution"]


def test_an_answer_among_the_facts_makes_its_flag_hollow():
    story = tale()
    said = {"rule": "warm", "episode_id": "episode-20", "answer": "seen", "severity": "caution"}
    story.say(25, "flag_answer", said)
    figure = draw(story, flags=[flag("caution", 20, 24)])
    assert named(figure, "flag: caution")["marker"]["color"] == ["var:sheet"]
    assert "caution, answered" in named(figure, "flag: caution")["hovertext"][0]


def test_stages_lie_behind_both_panels_in_the_colours_of_the_ribbon():
    assert boxes(draw(), "paper", "sprout") == [(26, 52, 0, 1)]
    assert [box[:2] for box in boxes(draw(), "paper", "steep")] == [(0, 6.5), (20, 26)]


def test_now_is_a_line_only_while_the_batch_lives():
    assert rules(draw(now_h=52), "paper", "ink") == [(52, 52, 0)]
    assert rules(timeline_figure(to_plan(), at(1000), []), "paper", "ink") == []


def test_colours_are_tokens_of_the_style_sheet_and_nothing_else_is():
    figure = draw(flags=[flag("notice", 10), flag("caution", 20), flag("act", 30)])
    known = set(re.findall(r"--([\w-]+): oklch", TOKENS))
    found = list(colours(figure))
    assert {text.removeprefix("var:").split("/")[0] for is_colour, text in found if is_colour} <= known
    assert all(text.startswith("var:") == is_colour for is_colour, text in found)


def test_each_part_of_the_batch_is_a_view_with_a_scale_of_its_own():
    figure = timeline_figure(to_plan(), at(1000), [])
    views = {view["name"]: view["set"] for view in figure["layout"]["meta"]["views"]}
    assert list(views) == ["whole", "steep", "germination", "kiln"]
    span = {name: view["yaxis2.range"][1] - view["yaxis2.range"][0] for name, view in views.items()}
    assert span["germination"] < span["whole"] / 3
    whole, kiln = views["whole"]["xaxis.range"], views["kiln"]["xaxis.range"]
    assert kiln[0] > whole[0]
    assert figure["layout"]["xaxis"]["range"] == whole


def test_germination_is_not_on_the_scale_of_the_stewing_after_it_nor_of_what_is_read_as_the_kiln_is_loaded():
    caramel = timeline_figure(to_plan("caramel"), at(1000), [])
    story = tale()
    story.say(60, "loaded")
    story.say(60, "air_on_temperature", {"value": 55.0})
    for figure in (caramel, draw(story, now_h=64)):
        views = {view["name"]: view["set"]["yaxis2.range"] for view in figure["layout"]["meta"]["views"]}
        assert views["germination"][1] < 30
        assert views["kiln"][1] > 55


def test_one_stage_alone_offers_no_views():
    assert len(draw(now_h=5)["layout"]["meta"]["views"]) == 1


def test_a_batch_without_a_fact_says_that_nothing_was_measured():
    figure = timeline_figure(History.build(BatchInfo(id="b"), []), at(0), [])
    assert "Nothing measured yet" in [said["text"] for said in figure["layout"]["annotations"]]
    assert {trace["yaxis"] for trace in figure["data"]} == {"y", "y2", "y3"}


def test_malt_that_waits_for_days_to_be_dressed_does_not_squeeze_the_rest():
    story = tale()
    story.say(60, "loaded")
    story.say(75, "heat_off")
    story.say(400, "finished")
    assert draw(story, now_h=500)["layout"]["xaxis"]["range"][1] < 100


@given(st.sets(st.integers(0, len(tale().records) - 1)), st.floats(-10, 500))
def test_any_part_of_the_story_can_be_drawn_at_any_time(chosen, now_h):
    story = tale()
    story.records = [story.records[place] for place in sorted(chosen)]
    figure = draw(story, now_h=now_h)
    assert json.loads(json.dumps(figure, allow_nan=False)) == figure
    for name in ("xaxis", "yaxis", "yaxis2"):
        low, high = figure["layout"][name]["range"]
        assert low < high
