"""What stands beside the form of an entry about a lot: how one does it, and what can hurt somebody."""

from __future__ import annotations

from collections.abc import Mapping

from app.judgement import cautions
from app.judgement.cautions import Caution

ABOUTS: Mapping[str, str] = {
    "float_count": "Stir a counted sample into water, wait ten minutes, count what floats. Light corn floats for the "
    "air it holds: it is no test of life, and says nothing on husked oats.",
    "moisture_test": "Of the raw grain, as it lies in the store now.",
    "returned": "Grain that came back into this lot, such as what was weighed out and not charged. What went back to "
    "the seller is taken out of stock.",
    "intake": "Another part of the same delivery. Grain of another delivery is another lot.",
    "germination_test": "One dish by itself: its kernels, and those newly grown at each look. Several dishes of one "
    "test go faster on their own page.",
    "capacity_test": "200 kernels in hydrogen peroxide, 0.75 %, for two days, then three days on damp paper (from "
    "memory): it wakes what sleeps. Count those that did not grow.",
    "sieve_test": "100 g shaken over slots of 2.8, 2.5 and 2.2 mm. A sieve you do not have counts 0: its corn lies on "
    "the next one.",
    "kernel_weight": "Sound kernels only. Weigh as many as you counted, and reckon the weight of a thousand.",
    "inspection": "A handful from the middle and one from the bottom, in daylight. A musty smell from a distance is "
    "enough: don’t put your nose in it.",
    "declaration": "Who says so, and on what ground: a letter, a label, or one’s own field.",
}
ADJUSTMENTS: Mapping[str, tuple[str, str]] = {
    "out": ("Taken out", "What came off by cleaning, drying, spilling or mice, or went back to the seller."),
    "in": ("Found more", "What is there beyond the book."),
}
CAUTIONS: Mapping[str, tuple[Caution, ...]] = {
    "inspection": (cautions.MOULD, cautions.ERGOT, cautions.TOXIN_LIMITS),
    "declaration": (cautions.TREATED_SEED,),
    "capacity_test": (cautions.CLEANERS,),
    "intake": (cautions.PHOSPHINE, cautions.DUST, cautions.LIFTING),
    "stock_adjustment": (cautions.DUST,),
    "returned": (cautions.DUST,),
}
