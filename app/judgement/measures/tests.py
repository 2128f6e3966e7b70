"""Measures that somebody found by testing the malt. What was not tested is not known: nothing stands in for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from statistics import fmean, stdev

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Result
from app.judgement.malt.tests import conversion_of, extract_of, results, way_of
from app.judgement.measures.measure import Measure
from app.science.control_charts import half_width_of_mean

TEST_KEYS = ("malt_colour", "extract_dry", "diastatic_power", "conversion", "falling_number")


def tested_measures(batch: BatchAt) -> list[Measure]:
    """The means of what was tested, each with how it was and how often."""
    return [
        _mean(batch, "malt_colour", "Colour of the malt", "colour", "malt_colour", _value),
        _mean(
            batch,
            "extract_dry",
            "Extract, dry",
            "fraction",
            "extract_mash",
            lambda test: extract_of(test).dry,
            _extract,
        ),
        _mean(batch, "diastatic_power", "Diastatic power", "diastatic_power", "diastatic_power", _value),
        _mean(batch, "conversion", "Conversion, reference = 1", "ratio", "conversion_test", conversion_of),
        _mean(batch, "falling_number", "Falling number", "falling_number", "falling_number", _value),
    ]


def _mean(
    batch: BatchAt,
    key: str,
    word: str,
    unit: str,
    kind: str,
    figure: Callable[[Result], float],
    half_width: Callable[[Sequence[Result]], float] | None = None,
) -> Measure:
    tests = results(batch.history, kind, batch.now)
    if not tests:
        return Measure(key, word, unit, note="not measured")
    figures, n = [figure(test) for test in tests], len(tests)
    by_scatter = half_width_of_mean(stdev(figures), n) if n > 1 else 0.0
    by_instrument = half_width(tests) if half_width else 0.0
    is_estimate = any(test.quality == "estimated" for test in tests)
    freedom = n - 1 if by_scatter > by_instrument else None
    reach = max(by_scatter, by_instrument) or None
    return Measure(key, word, unit, fmean(figures), reach, n, is_estimate, way_of(tests), freedom=freedom)


def _value(test: Result) -> float:
    return test.value


def _extract(tests: Sequence[Result]) -> float:
    """The 95 % half-width that hydrometer and moisture leave to the mean of these mashes."""
    return 2.0 * math.sqrt(math.fsum(extract_of(test).dry_sd ** 2 for test in tests)) / len(tests)
