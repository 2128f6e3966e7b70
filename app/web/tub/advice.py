"""The line or two of advice at the head of an entry: how it is done, and what can hurt."""

from __future__ import annotations

from app.judgement import cautions

ADVICE: dict[str, str] = {
    "skimmings": (
        "Stir, wait ten minutes, stir again, skim off what floats and weigh it. "
        "Leave “Out of” empty when it was the whole charge."
    ),
    "float_count": "Light corn floats for the air it holds. It is no test of life, and says nothing on husked oats.",
    "test_bag_start": (
        "Weigh the bag with its grain before the steep. A cloth bag: wet it first, and weigh it wet for its tare."
    ),
    "test_bag": "Once rootlets knit the bag it says nothing any more.",
    "growth_count": "Split a kernel, find the shoot, tap the picture it looks like. Fifty or more tell something.",
    "rub_out": "Rub kernels between thumb and finger and count how they feel.",
    "squeeze_test": "Cut or press kernels. How many still have a dry white core?",
    "inspection": (
        "Root hairs are white, only at rootlet tips, vanish when sprayed, and have no smell. "
        "Grey, green, black or pink, on husk or broken corns, or musty: mould. Smell only where none is seen."
    ),
    "tray": "Its first weighing after loading is its start; each later one tells the moisture.",
    "heat_on": cautions.KILN.short,
    "loaded": cautions.RAW_SPROUT.short,
    "culms": cautions.DUST.short,
    "co2_room": cautions.CO2.short,
    "co2_bed": cautions.CO2.short,
    "air_flow": cautions.MAINS.short,
}
