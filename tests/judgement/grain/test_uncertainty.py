"""How sure a measure is: held against many draws of what it is worked out from."""

from __future__ import annotations

import math
from random import Random
from statistics import fmean, stdev

import pytest

from app.judgement.forecasts.moisture import charged
from app.judgement.grain.charges import scale_step_kg
from app.judgement.history.history import History
from app.judgement.measures.account import account
from app.judgement.measures.batch import measures
from app.judgement.programmes.programme import load_builtin
from app.judgement.wording import METRIC
from app.web.words.measures import measure_value
from tests.judgement.story import Story, at

BUILTIN = load_builtin()
END = at(2000)
DRAWS = 4000


def by_key(history: History):
    return {measure.key: measure for measure in measures(history, END)}


def malted(**outturn: object) -> Story:
    """Weighed by scales of which the digits typed show less than a two-hundredth of the mass: that counts."""
    story = Story("barley_pale")
    typed = {"as_is": "24", "as_is_unit": "kg", "moisture": "12", "moisture_unit": "percent"}
    story.charge(24.0, 0.12, hour=-0.5, typed=typed)
    for hour, kind in ((0, "steep_on"), (6, "drained"), (40, "cast"), (160, "loaded"), (175, "heat_off")):
        story.say(hour, kind)
    told = {"net": "19.5", "net_unit": "kg"}
    story.say(180, "outturn", {"net_kg": 19.5, **outturn}, typed=told)
    story.say(179, "culms", {"net_kg": 0.8}, typed={"net": "0.8", "net_unit": "kg"})
    return story


def spread(kg: float, step: float, random: Random) -> float:
    """An error of a scale that shows steps of this size and is true to a thousandth."""
    return random.uniform(-step / 2, step / 2) + random.gauss(0.0, 0.001 * kg)


def test_half_widths_are_those_of_many_draws_of_what_was_weighed_and_tested() -> None:
    story = malted()
    story.say(181, "moisture_test", {"value": 0.046}, method="oven_malt")
    found, lines = by_key(story.history()), account(story.history(), END)
    assert lines.charge is not None
    malt, culms = lines.line("outturn"), lines.line("culms")
    assert malt is not None
    assert culms is not None
    random = Random(7)
    drawn: dict[str, list[float]] = {"outturn_kg": [], "culms_share": [], "yield_as_is": [], "malting_loss": []}
    for _ in range(DRAWS):
        charge_kg, malt_kg = 24.0 + spread(24.0, 0.12, random), 19.5 + spread(19.5, 0.0975, random)
        dry = random.gauss(lines.charge.dry_kg, lines.charge.sd_kg)
        drawn["outturn_kg"].append(malt_kg)
        drawn["yield_as_is"].append(malt_kg / charge_kg)
        drawn["malting_loss"].append(1.0 - random.gauss(malt.dry_kg, malt.sd_kg) / dry)
        drawn["culms_share"].append(random.gauss(culms.dry_kg, culms.sd_kg) / dry)
    for key, values in drawn.items():
        assert found[key].value == pytest.approx(fmean(values), rel=0.01), key
        assert found[key].half_width == pytest.approx(2.0 * stdev(values), rel=0.08), key


def test_dry_matter_is_as_sure_as_scale_and_moisture_together() -> None:
    lines = account(malted().history(), END)
    assert lines.charge is not None
    random = Random(11)
    moisture_sd = math.sqrt(max(lines.charge.sd_kg**2 - 0.88**2 * (0.12**2 / 12 + 0.024**2), 0.0)) / 24.0
    drawn = [(24.0 + spread(24.0, 0.12, random)) * (1.0 - random.gauss(0.12, moisture_sd)) for _ in range(DRAWS)]
    assert lines.charge.sd_kg == pytest.approx(stdev(drawn), rel=0.06)
    assert 0.0 < moisture_sd < 0.02


def test_a_share_of_the_charge_is_no_surer_than_the_charge_itself() -> None:
    lines = account(malted().history(), END)
    malt = lines.line("outturn")
    assert malt is not None
    assert lines.charge is not None
    share = lines.share_of(malt)
    assert share is not None
    assert share.sd / share.value >= lines.charge.sd_kg / lines.charge.dry_kg
    assert lines.malting_loss is not None
    assert share.half_width == pytest.approx(lines.malting_loss.half_width)


def test_the_surest_determination_is_the_moisture_of_the_malt_everywhere() -> None:
    story = malted(moisture_wb=0.045)
    assert by_key(story.history())["final_moisture"].value == pytest.approx(0.045)
    story.say(181, "moisture_test", {"value": 0.046}, method="oven_malt")
    found = by_key(story.history())["final_moisture"]
    assert (found.value, found.half_width) == (pytest.approx(0.046), pytest.approx(0.003))


def test_a_test_on_the_kiln_and_one_of_much_later_say_nothing_of_the_malt_that_was_weighed() -> None:
    story = malted(moisture_wb=0.045)
    story.say(172, "moisture_test", {"value": 0.08}, method="oven_malt")
    story.say(180 + 24 * 60, "moisture_test", {"value": 0.07}, method="oven_malt")
    assert by_key(story.history())["final_moisture"].value == pytest.approx(0.045)


@pytest.mark.parametrize(("known", "half_width"), [("measured", 0.005), ("lot", 0.005), ("assumed", 0.02)])
def test_a_moisture_that_nobody_measured_is_less_sure_than_one_by_a_meter(known: str, half_width: float) -> None:
    story = Story("barley_pale")
    story.charge(24.0, 0.12, method=known)
    start = charged(story.history())
    assert start is not None
    assert 2.0 * start.moisture_sd == pytest.approx(half_width)


@pytest.mark.parametrize(("typed", "step_kg"), [("5", 0.025), ("5.00", 0.01), ("5,000", 0.001), ("5.0", 0.025)])
def test_noughts_left_away_are_no_coarse_scale(typed: str, step_kg: float) -> None:
    story = Story("barley_pale")
    story.charge(5.0, 0.12, typed={"as_is": typed, "as_is_unit": "kg", "moisture": "12", "moisture_unit": "percent"})
    assert scale_step_kg(story.history().charges[0]) == pytest.approx(step_kg)


@pytest.mark.parametrize(
    ("typed", "shown"), [("20", "20.00 ± 0.07 kg"), ("20.00", "20.00 ± 0.04 kg"), ("20.000", "20.00 ± 0.04 kg")]
)
def test_digits_on_a_bag_make_no_scale_true(typed: str, shown: str) -> None:
    story = Story("barley_pale")
    story.charge(20.0, 0.12, typed={"as_is": typed, "as_is_unit": "kg", "moisture": "12", "moisture_unit": "percent"})
    assert measure_value(by_key(story.history())["charged_kg"], METRIC).replace("\u00a0", " ") == shown


def test_a_share_near_its_end_is_told_by_the_ends_of_its_lopsided_interval() -> None:
    # Wilson, 2 of 100: 0.55 to 7.00 %; as ± it would reach below nothing.
    story = malted()
    classes = {"to_quarter": 10, "quarter_to_half": 20, "half_to_three_quarters": 68, "over": 2}
    story.say(100, "growth_count", {"looked_at": 100, "counts": classes})
    found = by_key(story.history())["overgrown_share"]
    assert (found.low, found.high) == (pytest.approx(0.0055, abs=1e-4), pytest.approx(0.0700, abs=1e-4))
    assert measure_value(found, METRIC).replace("\u00a0", " ") == "2 % (1–7 %)"
