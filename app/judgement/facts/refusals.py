"""What can't be so: values that contradict each other, and a meter asked for more than it can tell."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from app.science.malt_analysis import extract_as_is_percent
from app.science.moisture_methods import meter_moisture_wb

HIGHEST_OF_ANY_METER_WB = 0.25
"""Meters read up to 20 or 25 %, by their makers (common practice)."""


def contradictions(kind_name: str, values: Mapping[str, Any]) -> dict[str, str]:
    """What the values of one entry can't all be: field -> what is wrong. Nothing where they can."""
    beside = values.get("beside", {})
    if kind_name == "extract_mash":
        return _too_much_extract(values["value"], **beside) if len(beside) == 3 else {"malt": "Give malt and water."}
    if kind_name == "sieve_test" and not sum((values["value"], *beside.values())) > 0.0:
        return {"value": "Nothing lay on any sieve: give what was on each."}
    if kind_name in ("scale_checked", "humidity_checked") and "known" not in beside:
        return {"known": "What it should show is missing: without it nothing was compared."}
    return {}


def refused_meter(
    kind_name: str,
    values: Mapping[str, Any],
    method: str | None,
    grain_c: float | None = None,
    is_roasted: bool = False,
) -> dict[str, str]:
    """Why a moisture meter's reading can't be kept: field -> what is wrong. grain_c: of the grain, °C, if known."""
    if kind_name != "moisture_test" or method != "meter" or values.get("value") is None:
        return {}
    try:
        meter_moisture_wb(values["value"], HIGHEST_OF_ANY_METER_WB, grain_c, is_roasted)
    except ValueError as error:
        return {"value": str(error)}
    return {}


def _too_much_extract(plato: float, malt_kg: float, water_kg: float, moisture_wb: float) -> dict[str, str]:
    if not malt_kg > 0.0 or not water_kg > 0.0:
        return {"malt": "Give the malt and the water: both weigh something."}
    try:
        extract_as_is_percent(plato, 100.0 * moisture_wb, 1000.0 * malt_kg, 1000.0 * water_kg)
    except ValueError:
        return {"value": "That is more extract than the malt has dry matter: check the masses, and °P against SG."}
    return {}
