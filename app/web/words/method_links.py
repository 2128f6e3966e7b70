"""From a number on a screen to how it is worked out: every measure, entry, account line and flag has its place.

That of an entry stands with its kind. A name with a dot is a formula on the Methods page; a plain name is a section of
the page on how numbers are shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from flask import Flask

from app.config import Settings
from app.judgement.facts.kinds import KINDS

MEASURES: Mapping[str, str] = MappingProxyType(
    {
        "charged_kg": "weights",
        "reject_share": "mass_balance.skimmings_share",
        "steep_h": "hours",
        "immersion_h": "hours",
        "air_rest_h": "hours",
        "water_temperature": "means",
        "cast_moisture": "moisture.moisture_wb_with_sd",
        "cast_chits": "proportions.wilson_interval",
        "germination_h": "hours",
        "germination_temperature": "means",
        "germination_temperature_max": "means",
        "turns": "hours",
        "acrospire": "growth.mean_acrospire_with_sd",
        "acrospire_spread": "growth.acrospire_sd",
        "overgrown_share": "growth.overgrown_share",
        "kiln_h": "hours",
        "kiln_grain_max": "means",
        "hours_above_ceiling": "enzymes.hours_and_degree_hours_above",
        "degree_hours_above_ceiling": "enzymes.hours_and_degree_hours_above",
        "final_moisture": "moisture_methods.oven_moisture_wb",
        "outturn_kg": "weights",
        "yield_as_is": "yield",
        "malting_loss": "mass_balance.dry_loss_with_sd",
        "culms_share": "mass_balance.dry_matter_with_sd",
        "malt_colour": "malt_analysis.ebc_from_lovibond",
        "extract_dry": "malt_analysis.extract_dry_percent",
        "diastatic_power": "malt_analysis.windisch_kolbach_from_lintner",
        "conversion": "malt_analysis.conversion_against_reference",
        "falling_number": "flour.liquefaction_number",
        "flags_notice": "flags",
        "flags_caution": "flags",
        "flags_act": "flags",
    }
)
SHAPES: Mapping[str, str] = MappingProxyType(
    {
        "reading": "readings",
        "weighing": "weights",
        "part": "weights",
        "tally": "counts",
        "result": "readings",
        "action": "hours",
        "stage": "hours",
        "remark": "flags",
        "answer": "flags",
        "withdrawal": "readings",
    }
)
"""Where entries of a shape lead that have no formula of their own."""

ACCOUNT: Mapping[str, str] = MappingProxyType(
    {
        "charge": "mass_balance.dry_matter_with_sd",
        "skimmings": "mass_balance.skimmings_share",
        "steep": "mass_balance.balance",
        "respiration": "growth.respiration",
        "culms": "mass_balance.dry_matter_with_sd",
        "outturn": "mass_balance.dry_matter_with_sd",
        "remainder": "mass_balance.unexplained",
        "left": "mass_balance.dry_matter_with_sd",
    }
)
FLAGS: Mapping[str, str] = MappingProxyType(
    {
        "over_ceiling": "enzymes.hours_and_degree_hours_above",
        "open_account": "mass_balance.unexplained",
        "light_corn": "control_charts.prediction_interval",
        "bed_limit_ahead": "left_alone.hours_to_limit",
        "growth_uneven": "growth.evenness_share",
        "few_chits_at_cast": "proportions.wilson_interval",
        "oversteeped": "moisture.moisture_wb_with_sd",
        "dry_at_cast": "moisture.moisture_wb_with_sd",
        "bed_moisture": "moisture.moisture_wb_with_sd",
        "dry_enough": "moisture.tray_moisture_wb",
        "not_dry_enough": "storage_life.malt_keeps",
        "break_point": "kiln_bed.break_point_db",
        "past_target": "growth.mean_acrospire_with_sd",
        "lot_unfit": "germination.germination_capacity",
        "lot_weak": "germination.germinative_energy",
        "lot_dormant": "germination.dormancy",
        "lot_water_sensitive": "germination.water_sensitivity",
    }
)
"""The formula behind a rule; every other rule compares what was read with a limit, and its own source says whose."""

SECTIONS = ("plus-minus", "marks", "weights", "hours", "readings", "means", "counts", "yield", "flags", "programmes")
"""The sections of the page on how numbers are shown."""


def init_app(app: Flask, settings: Settings) -> None:
    app.add_template_global(method_url)


def method_url(key: str) -> str | None:
    """The address of the formula and source of what a key names; None where nothing is known by that name.

    key: of a measure, or a formula or section itself; or account.<line>, flag.<rule>, of an entry kind.<kind>.
    """
    from app.science.handbook import methods

    place = _place(key)
    if place in methods():
        return f"/methods#{place}"
    return f"/methods/numbers#{place}" if place in SECTIONS else None


def _place(key: str) -> str:
    family, _, name = key.partition(".")
    if family == "account":
        return ACCOUNT.get(name, "mass_balance.dry_matter_with_sd")
    if family == "flag":
        return FLAGS.get(name, "flags")
    if family == "kind":
        return _kind_place(name)
    return MEASURES.get(key, key)


def _kind_place(name: str) -> str:
    kind = KINDS.get(name)
    return kind.formula or SHAPES.get(kind.shape_name, "") if kind else ""
