"""The line or two of advice at the head of an entry: how it is done, and what can hurt."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from app.judgement import cautions
from app.judgement.cautions import Caution

ADVICE: Mapping[str, str | Caution] = {
    "skimmings": (
        "Stir, wait ten minutes, stir again, skim off what floats and weigh it. "
        "Leave “Out of” empty when it was the whole charge."
    ),
    "float_count": "Light corn floats for the air it holds. It is no test of life, and says nothing on husked oats.",
    "test_bag_start": (
        "Weigh the bag with its grain before the steep. A cloth bag: wet it first, and weigh it wet for its tare."
    ),
    "test_bag": "Once rootlets knit the bag it says nothing any more. Tare empty: as at its start.",
    "growth_count": "Split a kernel, find the shoot, tap the picture it looks like. Fifty or more tell something.",
    "rub_out": "Rub kernels between thumb and finger and count how they feel.",
    "squeeze_test": "Cut or press kernels. How many still have a dry white core?",
    "inspection": (
        "Root hairs are white, only at rootlet tips, vanish when sprayed, and have no smell. "
        "Grey, green, black or pink, on husk or broken corns, or musty: mould. Smell only where none is seen."
    ),
    "tray": (
        "Its first weighing after loading is its start; each later one tells the moisture. Tare empty: as at its start."
    ),
    "heat_on": cautions.KILN,
    "loaded": cautions.RAW_SPROUT,
    "culms": cautions.DUST,
    "co2_room": cautions.CO2,
    "co2_bed": cautions.CO2,
    "air_flow": cautions.MAINS,
}


def advice_beside(shown: Collection[Caution]) -> dict[str, str]:
    """By kind. shown: the cautions that stand on the page already, and are not said again."""
    return {kind: str(said) for kind, said in ADVICE.items() if said not in shown}
