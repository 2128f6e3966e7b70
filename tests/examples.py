"""One plausible entry of each kind, as somebody would type it, for the tests that walk every kind.

A new kind needs its example here. Parts, answers and withdrawals name things of an imaginary house.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

Typed = Mapping[str, str]

_NOTHING: Typed = MappingProxyType({})
_STAGES = ("steep_on", "drained", "cast", "stew_on", "loaded", "heat_on", "heat_off", "stripped")
_ENDS = ("finished", "abandoned", "paused", "resumed")
_DONE = ("turned", "water_changed")


def _reading(value: str, unit: str) -> Typed:
    return {"value": value, "value_unit": unit}


def _grams(**masses: str) -> dict[str, str]:
    return masses | {"gross_unit": "g"}


def _kilograms(**masses: str) -> dict[str, str]:
    return masses | {"gross_unit": "kg"}


def _moisture(percent: str) -> dict[str, str]:
    return {"moisture": percent, "moisture_unit": "percent"}


def _part(source: str, target: str, kilograms: str, percent: str) -> Typed:
    return {"source": source, "target": target, "as_is": kilograms, "as_is_unit": "kg", **_moisture(percent)}


_READINGS: Mapping[str, Typed] = {
    "water_temperature": _reading("12,5", "c"),
    "grain_temperature": _reading("16.5", "c"),
    "air_temperature": _reading("14", "c"),
    "air_on_temperature": _reading("55", "c"),
    "air_off_temperature": _reading("28", "c"),
    "set_point": _reading("55", "c"),
    "humidity": _reading("85", "percent"),
    "ph": _reading("6.2", "ph"),
    "co2_bed": _reading("2", "percent_co2"),
    "co2_room": _reading("800", "ppm"),
    "co_room": _reading("5", "ppm"),
    "bed_depth": _reading("15", "cm"),
    "air_flow": _reading("300", "m3_h"),
    "moisture_test": _reading("43.5", "percent"),
    "kernel_weight": _reading("42", "g"),
}
_WEIGHINGS: Mapping[str, Typed] = {
    "test_bag_start": {"vessel": "bag 1", **_grams(gross="312", tare="12"), **_moisture("13.2")},
    "test_bag": {"vessel": "bag 1", **_grams(gross="452", tare="12")},
    "tray": {"vessel": "tray 1", **_kilograms(gross="6.8", tare="0.8")},
    "charge_weighing": _kilograms(net="36.5"),
    "skimmings": _grams(net="420"),
    "loss": _grams(net="150"),
    "culms": _kilograms(net="0.9"),
    "outturn": {**_kilograms(gross="20.4", tare="0.3"), **_moisture("4.5")},
    "intake": {**_kilograms(net="500"), **_moisture("13.2")},
    "returned": _kilograms(net="2"),
    "stock_adjustment": _kilograms(net="-1.5"),
}
_TALLIES: Mapping[str, Typed] = {
    "float_count": {"looked_at": "100", "floated": "4"},
    "chit_count": {"looked_at": "100", "chitted": "86"},
    "growth_count": {"quarter_to_half": "9", "half_to_three_quarters": "31", "three_quarters_to_full": "10"},
    "rub_out": {"chalky": "16", "pasty": "3", "hard_end": "1"},
    "squeeze_test": {"looked_at": "50", "white_core": "3"},
    "germination_test": {"looked_at": "100", "day_1": "28", "day_2": "45", "day_3": "27"},
    "capacity_test": {"looked_at": "200", "not_germinated": "5"},
}
_TESTS: Mapping[str, Typed] = {
    "sieve_test": {"value": "62.5", "on_25": "31", "on_22": "5.2", "through": "1.3"},
    "malt_colour": _reading("3.1", "lovibond"),
    "extract_mash": {**_reading("14.0", "plato"), "malt": "50", "malt_unit": "g", "water": "250", **_moisture("5")},
    "diastatic_power": _reading("250", "wk"),
    "conversion_test": {**_reading("15", "conversion_min"), "reference": "10", "reference_unit": "conversion_min"},
    "falling_number": {
        **_reading("300", "fn_s"),
        "share": "0.2",
        "share_unit": "percent",
        "flour": "400",
        "flour_unit": "fn_s",
    },
}
_PARTS: Mapping[str, Typed] = {
    "charge": _part("lot:lot-1", "batch:batch-1", "25", "13.2"),
    "split": _part("batch:batch-1", "batch:batch-2", "10", "43"),
    "merge": _part("batch:batch-2", "batch:batch-1", "8", "43"),
    "roast_charge": _part("pack:pack-1", "batch:batch-2", "2", "4.5"),
    "pack": _part("batch:batch-1", "pack:pack-1", "2.5", "4.5"),
    "dispatch": _part("pack:pack-1", "house:sold", "2.5", "4.5"),
}
_OTHERS: Mapping[str, Typed] = {
    "sprinkled": {"amount": "1,5", "amount_unit": "l"},
    "roast_colour": {"eye": "lighter", "amount": "60", "amount_unit": "ebc"},
    "aerated": {"amount": "10", "amount_unit": "min"},
    "addition": {"what": "hydrated lime, 20 g"},
    "interruption": {"what": "the power was cut", "until": "2026-03-14T10:15"},
    "cleaned": {"what": "hot lye, rinsed twice"},
    "cleaning_plan": {"amount": "30", "what": "hot soda, rinsed twice"},
    "water_analysis": {"ph": "7,4", "hardness": "9", "hardness_unit": "dh", "iron": "60", "iron_unit": "ug_l"},
    "scale_checked": {"value": "1004", "value_unit": "g", "known": "1000"},
    "humidity_checked": {"value": "71", "value_unit": "percent", "known": "75"},
    "tasting": {"smell": "bread crust, honey", "taste": "sweet, a little husk"},
    "calibrated": {"amount": "-0.4", "amount_unit": "c"},
    "programme_change": {},
    "inspection": {"mould": "no", "smell": "clean", "matting": "none", "text": "white tips, evenly wet"},
    "declaration": {"untreated": "yes", "for_food": "yes", "by": "A. Farmer", "ground": "delivery note 7"},
    "note": {"text": "The third steep ran an hour short."},
    "flag_answer": {"rule": "out_of_limits", "episode": "water-1", "answer": "acted_on", "severity": "caution"},
    "withdrawal": {"reason": "read in the other tub"},
}

EXAMPLES: Mapping[str, Typed] = MappingProxyType(
    dict.fromkeys((*_STAGES, *_ENDS, *_DONE), _NOTHING)
    | {**_READINGS, **_WEIGHINGS, **_TALLIES, **_TESTS, **_PARTS, **_OTHERS}
)
