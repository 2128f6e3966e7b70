"""Grain whose heat stood still: what the scale says after it is held against a bed that was reckoned by hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping

import numpy as np
import pytest

from app.judgement.flags import evaluate
from app.judgement.forecasts.forecast import fit, forecast_at
from app.judgement.forecasts.moisture import moisture_at, samples
from app.judgement.meaning.meaning import meaning
from tests.judgement.story import Story, at

LOADED_H = 160.0
TARE_KG, LOADED_KG = 1.2, 2.0
DRIEST_DB = 0.035
Gap = tuple[float, float]
Curve = Callable[[float, float], float]


def falling(loaded_db: float, hours: float) -> float:
    """An oven of plenty of air: towards 3.5 % on the dry basis, 0.16 of what is left each hour."""
    return DRIEST_DB + (loaded_db - DRIEST_DB) * math.exp(-0.16 * hours)


def steady(loaded_db: float, hours: float) -> float:
    """A deep bed before its break: 0.045 kg/kg each hour."""
    return loaded_db - 0.045 * hours


def under_heat(hour: float, gaps: Iterable[Gap]) -> float:
    """Hours of heat by an hour after loading."""
    return hour - sum(max(min(hour, end) - start, 0.0) for start, end in gaps)


def by_heat_off(story: Story, start_h: float, end_h: float) -> None:
    story.say(start_h, "heat_off")
    story.say(end_h, "heat_on")


def by_pause(story: Story, start_h: float, end_h: float) -> None:
    story.say(start_h, "paused")
    story.say(end_h, "resumed")


def by_interruption(story: Story, start_h: float, end_h: float) -> None:
    story.say(start_h, "interruption", {"what": "power cut: fan and heat", "until_at": at(end_h).isoformat()})


def by_interruption_until_heat_on(story: Story, start_h: float, end_h: float) -> None:
    story.say(start_h, "interruption", {"what": "power cut: fan and heat"})
    story.say(end_h, "heat_on")


WAYS = [by_heat_off, by_pause, by_interruption, by_interruption_until_heat_on]


def green(tested_wb: float | None = None) -> Story:
    """20 kg of barley that was steeped, cast at about 43 % by nobody's scale, grown, and put into an oven of 55 °C."""
    story = Story("barley_pale")
    story.charge(20.0, 0.12, -0.5)
    for hour, kind in ((0.0, "steep_on"), (6.0, "drained"), (20.0, "steep_on"), (26.0, "drained"), (40.0, "cast")):
        story.say(hour, kind)
    if tested_wb is not None:
        story.say(LOADED_H - 0.2, "moisture_test", {"value": tested_wb}, method="oven_two_stage")
    story.say(LOADED_H, "loaded")
    story.say(LOADED_H, "heat_on")
    for hour in (0.2, 1.0):
        story.say(LOADED_H + hour, "air_on_temperature", {"value": 55.0})
    return story


def weigh(story: Story, hour: float, net_kg: float, tray: str = "tray 1") -> str:
    net = round(net_kg, 3)
    values = {"vessel": tray, "gross_kg": net + TARE_KG, "tare_kg": TARE_KG, "net_kg": net}
    return story.say(LOADED_H + hour, "tray", values)


def true_wb(curve: Curve, loaded_wb: float, hours: float) -> float:
    moisture = curve(loaded_wb / (1.0 - loaded_wb), hours)
    return moisture / (1.0 + moisture)


def dried(
    curve: Curve,
    loaded_wb: float,
    weighed_h: Iterable[float],
    gaps: Iterable[Gap] = (),
    way: Callable[[Story, float, float], None] = by_pause,
    *,
    trays: Mapping[str, float] = {"tray 1": 1.0},
    tested_wb: float | None = None,
) -> tuple[Story, dict[str, tuple[str, float]]]:
    """trays: how fast each dries against the curve. With the truth of each weighing, by its fact: tray and moisture."""
    story, truths, gaps = green(tested_wb), {}, list(gaps)
    for start, end in gaps:
        way(story, LOADED_H + start, LOADED_H + end)
    for tray, pace in trays.items():
        weigh(story, 0.05, LOADED_KG, tray)
        for hour in weighed_h:
            moisture = true_wb(curve, loaded_wb, pace * under_heat(hour, gaps))
            fact_id = weigh(story, hour, LOADED_KG * (1.0 - loaded_wb) / (1.0 - moisture), tray)
            truths[fact_id] = (tray, moisture)
    return story, truths


def misses(story: Story, truths: Mapping[str, tuple[str, float]]) -> Iterator[str]:
    """The weighings whose stated 95 % interval leaves the truth out."""
    told = {each.fact.id: each for each in samples(story.history())}
    for fact_id, (tray, truth) in truths.items():
        sample = told.get(fact_id)
        if sample is not None and abs(sample.moisture_wb - truth) > sample.half_width:
            yield f"{tray}: {sample.moisture_wb:.3f} ± {sample.half_width:.3f}, and it was {truth:.3f}"


# --- the clock of the kiln stands still ------------------------------------------------------------------------------


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("loaded_wb", [0.40, 0.43, 0.46])
@pytest.mark.parametrize("curve", [falling, steady])
def test_two_hours_without_heat_are_no_drying(curve: Curve, loaded_wb: float, way) -> None:
    # The oven stood still from 2.5 to 4.5 h: weighed before and after, the tray says the same.
    story, truths = dried(curve, loaded_wb, (1.0, 2.4, 4.6, 5.5), [(2.5, 4.5)], way)
    assert list(misses(story, truths)) == []
    for hour in (2.4, 3.5, 4.6, 5.5):
        truth = true_wb(curve, loaded_wb, under_heat(hour, [(2.5, 4.5)]))
        found = moisture_at(story.history(), at(LOADED_H + hour))
        assert abs(found.moisture_wb - truth) <= found.half_width, hour


def test_wet_grain_after_a_pause_is_not_called_inside_of_what_malt_should_be() -> None:
    # 27 % by hand when the oven goes off, and 27 % two hours after.
    loaded_wb, hours = 0.43, math.log((0.43 / 0.57 - DRIEST_DB) / (0.27 / 0.73 - DRIEST_DB)) / 0.16
    gaps = [(hours, hours + 2.0)]
    story, truths = dried(falling, loaded_wb, (hours / 2, hours - 0.1, hours + 2.0), gaps)
    assert list(misses(story, truths)) == []
    history = story.history()
    last = samples(history)[-1]
    assert abs(last.moisture_wb - 0.27) <= last.half_width
    said = meaning(history, last.fact, last.at)
    assert "inside" not in said.text
    assert "Still drying" in said.detail


def test_a_course_of_several_trays_and_several_gaps_holds_the_truth() -> None:
    gaps = [(1.5, 3.5), (5.0, 5.75), (8.0, 12.0)]
    trays = {"top": 0.8, "middle": 1.0, "bottom": 1.2}
    for way in WAYS:
        story, truths = dried(falling, 0.44, (1.4, 3.6, 4.9, 6.0, 7.9, 12.1, 14.0), gaps, way, trays=trays)
        assert list(misses(story, truths)) == []
        history = story.history()
        drying = fit(history).drying
        assert drying is not None
        for tray in drying.trays:
            for hour in (2.5, 4.0, 10.0, 13.0):
                truth = true_wb(falling, 0.44, trays[tray.name] * under_heat(hour, gaps))
                middle, sd = drying.state(LOADED_H + hour, tray.number)
                assert abs(middle - truth) <= 2.0 * sd, (way.__name__, tray.name, hour)


def test_an_oven_that_is_still_off_is_not_foreseen_to_dry() -> None:
    story, truths = dried(steady, 0.43, (1.0, 2.0), tested_wb=0.43)
    _, last_wb = list(truths.values())[-1]
    going_on = forecast_at(story.history(), at(LOADED_H + 2.1)).kiln
    story.say(LOADED_H + 2.05, "paused")
    history = story.history()
    for hour, within in ((2.1, 0.01), (30.0, 0.1)):
        kiln = forecast_at(history, at(LOADED_H + hour)).kiln
        assert kiln.dry.central is None
        assert "stands still" in kiln.dry.reason
        stood = moisture_at(history, at(LOADED_H + hour))
        assert stood.moisture_wb == pytest.approx(last_wb, abs=0.003), hour
        assert stood.half_width < within
    assert going_on.dry.central is not None
    # Air that is as hot as before half an hour later is heated, whether anybody said so or not.
    story.say(LOADED_H + 3.5, "air_on_temperature", {"value": 54.5})
    assert forecast_at(story.history(), at(LOADED_H + 3.6)).kiln.dry.central is not None


def test_cold_air_read_while_the_heat_was_off_is_not_the_air_that_it_dries_in_after() -> None:
    story, _ = dried(falling, 0.43, (1.0, 2.4, 4.6), [(2.5, 4.5)])
    before = forecast_at(story.history(), at(LOADED_H + 5.0)).kiln.dry.central
    story.say(LOADED_H + 3.5, "air_on_temperature", {"value": 18.0})
    assert forecast_at(story.history(), at(LOADED_H + 5.0)).kiln.dry.central == before


def test_a_plan_of_the_air_is_put_off_by_the_hours_without_heat() -> None:
    plain, paused = (green() for _ in range(2))
    for story in (plain, paused):
        story.records = [each for each in story.records if each["kind"] != "air_on_temperature"]
    by_pause(paused, LOADED_H + 4.0, LOADED_H + 9.0)
    plan, late = (fit(each.history()).drying.air.pieces for each in (plain, paused))
    heated = [each for each in late if not each.is_still and each.start_h > LOADED_H + 9.0]
    assert len(plan) > 1
    assert [each.temperature_c for each in heated] == [each.temperature_c for each in plan[1:]]
    assert [each.start_h for each in heated] == pytest.approx([each.start_h + 5.0 for each in plan[1:]])


def test_a_tray_that_lost_nothing_without_heat_tells_no_break_point() -> None:
    story, _ = dried(steady, 0.43, (1.0, 2.0, 3.0, 5.1, 6.0), [(3.05, 5.05)])
    assert fit(story.history()).broke is None
    assert not [each for each in evaluate(story.history(), at(LOADED_H + 6.1)) if each.rule == "break_point"]


# --- how wet it was loaded is told by dry matter, and not by the shape of the curve ----------------------------------


def loaded_sd(story: Story) -> float:
    drying = fit(story.history()).drying
    assert drying is not None
    return drying.loaded_wb[1]


@pytest.mark.parametrize("curve", [falling, steady])
@pytest.mark.parametrize("tested_wb", [None, 0.43])
def test_trays_never_make_the_moisture_at_loading_surer(curve: Curve, tested_wb: float | None) -> None:
    unweighed = loaded_sd(green(tested_wb))
    for weighed_h in ((1.0,), (1.0, 2.0, 4.0), tuple(np.arange(0.5, 7.0, 0.5))):
        for gaps in ([], [(2.5, 4.5)]):
            story, _ = dried(curve, 0.43, weighed_h, gaps, trays={"top": 0.9, "bottom": 1.1}, tested_wb=tested_wb)
            assert loaded_sd(story) >= unweighed * (1.0 - 1e-9)


@pytest.mark.parametrize("loaded_wb", [0.40, 0.43, 0.46])
def test_a_pause_that_nobody_wrote_down_leaves_the_truth_inside(loaded_wb: float) -> None:
    story, truths = dried(falling, loaded_wb, (1.0, 2.4, 4.6, 5.5), [(2.5, 4.5)], lambda *_: None)
    assert list(misses(story, truths)) == []


@pytest.mark.parametrize("loaded_wb", [0.40, 0.46])
def test_an_oven_test_of_the_malt_tells_how_wet_it_was_loaded(loaded_wb: float) -> None:
    gaps = [(2.5, 4.5)]
    story, truths = dried(falling, loaded_wb, (1.0, 2.4, 4.6, 9.0, 20.0), gaps)
    before = loaded_sd(story)
    end = true_wb(falling, loaded_wb, under_heat(20.1, gaps))
    story.say(LOADED_H + 20.1, "moisture_test", {"value": round(end, 4)}, method="oven_malt")
    drying = fit(story.history()).drying
    assert loaded_sd(story) < before / 3.0
    assert abs(drying.loaded_wb[0] - loaded_wb) <= 2.0 * drying.loaded_wb[1]
    assert list(misses(story, truths)) == []
    assert all(each.half_width < 0.03 for each in samples(story.history()) if each.basis == "tray")


def test_heat_that_goes_off_and_comes_back_each_hour_makes_nothing_surer() -> None:
    gaps = [(hour + 0.5, hour + 1.0) for hour in range(8)]
    weighed = [hour + 0.45 for hour in range(8)]
    for way in WAYS:
        story, truths = dried(steady, 0.43, weighed, gaps, way)
        assert loaded_sd(story) >= loaded_sd(green()) * (1.0 - 1e-9)
        assert list(misses(story, truths)) == []
