"""Steep water so hot that it kills: said at once, with what to do, and not as water a little too warm is."""

from __future__ import annotations

import pytest
from flask import Flask

from tests.pages import Tub
from tests.writing import entry

from .keeping import said, text_of
from .test_grave_answers import answered


@pytest.mark.parametrize(("typed", "kills"), [("25", False), ("40", False), ("55", True), ("60", True)])
def test_water_that_kills_the_grain_is_told_from_water_that_is_too_warm(
    app: Flask, tub: Tub, typed: str, kills: bool
) -> None:
    said(app, entry("steep_on", id="steep-1"))
    status, first, rest = answered(tub, "water_temperature", {"value": typed, "value_unit": "c"})
    assert status == "act"
    assert first.startswith("Drain it now, fill up with cold water. Then see whether a sample still chits") is kills
    assert ("hot enough to kill the grain" in rest) is kills
    now = text_of(tub.client.get(f"/batches/{tub.number}"))
    assert ("Grain dies in it, the sooner the hotter: seed is held at 52.0 °C for ten minutes." in now) is kills


@pytest.mark.parametrize("typed", ["40.1", "45"])
def test_water_that_grain_may_outlive_is_not_said_to_kill_it(app: Flask, tub: Tub, typed: str) -> None:
    said(app, entry("steep_on", id="steep-1"))
    status, first, rest = answered(tub, "water_temperature", {"value": typed, "value_unit": "c"})
    assert status == "act"
    assert first.startswith("Drain it now, fill up with cold water. Then see whether a sample still chits")
    assert "so warm that grain may die in it" in rest
    assert "Grain may die in it, the sooner the hotter" in text_of(tub.client.get(f"/batches/{tub.number}"))


def test_hot_water_measured_before_the_grain_is_in_it_is_let_cool(tub: Tub) -> None:
    status, first, _ = answered(tub, "water_temperature", {"value": "131", "value_unit": "f"})
    assert (status, first.partition(";")[0]) == ("act", "Let it cool before the grain goes in")
    assert "Now Let it cool before the grain goes in" in text_of(tub.client.get(tub.path))
