"""What a lot's earlier batches teach its next one."""

import json
from dataclasses import replace

import numpy as np
import pytest

from app.judgement.forecasts.forecast import fit, learned, moisture_value
from app.judgement.forecasts.priors import from_lot, uptake_prior
from app.judgement.history.build import LEARNED, priors_from_measures
from app.judgement.history.history import History
from tests.judgement.story import Story, at


def batch(*weighed: tuple[float, float]) -> History:
    story = Story()
    story.charge(50.0, 0.12, -0.5)
    story.bag_start(-0.2, 0.5, 0.12)
    story.say(0.0, "steep_on")
    for hour, gain in weighed:
        story.bag(hour, 0.5 * (1.0 + gain / 100.0))
    return story.history()


# The slow lot of Molina-Cano et al. 1995, J. Inst. Brew. 101:79-83 (CRAN package pbANOVA).
SLOW = ((5.0, 16.579), (10.0, 23.333), (15.0, 28.546), (20.0, 33.110), (30.0, 40.775), (35.0, 43.511))


def taught(batches: int) -> History:
    records = [{LEARNED: learned(fit(batch(*SLOW)))} for _ in range(batches)]
    return replace(batch(), prior=priors_from_measures(records))


def test_a_lot_that_was_slow_is_expected_to_be_slow_again():
    plain, again = (moisture_value(each, at(20.0)).central for each in (batch(), taught(1)))
    truth = moisture_value(batch(*SLOW), at(20.0)).central
    assert abs(again - truth) < abs(plain - truth) / 2


def test_each_earlier_batch_narrows_the_next_ones_interval_and_never_closes_it():
    widths = []
    for history in (batch(), taught(1), taught(2), taught(8)):
        found = moisture_value(history, at(20.0))
        widths.append(found.high - found.low)
    assert widths == sorted(widths, reverse=True)
    assert widths[3] > widths[0] / 5


def test_what_was_learned_survives_being_kept_as_json():
    said = learned(fit(batch(*SLOW)))
    assert json.loads(json.dumps(said)) == said
    assert set(said) == {"uptake"}


def test_a_batch_that_was_taught_passes_on_only_what_it_learned_itself():
    alone = learned(fit(batch(*SLOW)))["uptake"]
    records = [{LEARNED: learned(fit(batch(*SLOW)))}]
    second = learned(fit(replace(batch(*SLOW), prior=priors_from_measures(records))))["uptake"]
    # The weighings are the same, and so is what they say; the curve bends a little between the two places.
    assert np.diag(second["precision"]) == pytest.approx(np.diag(alone["precision"]), rel=0.35)


def test_records_from_before_there_were_forecasts_teach_nothing():
    assert priors_from_measures([{"charged_kg": {"value": 50.0}}, {}]) == {}
    assert taught(0).prior == {}
    assert moisture_value(taught(0), at(20.0)) == moisture_value(batch(), at(20.0))


def test_a_record_with_other_parameters_than_todays_is_passed_over():
    prior = uptake_prior("barley")
    old = {"uptake": [{"names": ["k1"], "precision": [[4.0]], "weighted": [1.0]}]}
    assert from_lot(prior, old, "uptake") is prior


def test_a_batch_that_was_never_weighed_teaches_nothing():
    assert learned(fit(batch())) == {}
