"""The form of one test of a batch's malt, and how such a test is done."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from app import ports
from app.judgement import cautions
from app.judgement.cautions import Caution
from app.judgement.history.history import History
from app.judgement.malt.dryness import malt_moisture
from app.judgement.wording import Words
from app.web.entries.forms import EntryForm, entry_form, only_for_malt
from app.web.entries.times import local_text
from app.web.request.moment import zone

ABOUTS: Mapping[str, str] = {
    "moisture_test": "Of the malt as it is kept: ground, in an oven for malt (105 °C, 3 h). A meter reads neither warm "
    "nor roasted malt.",
    "malt_colour": "Of a congress wort, or by the laboratory’s sheet. Say in which unit it is printed.",
    "extract_mash": "A small mash: finely ground malt and water, both weighed, held at 45 then 70 °C until no blue "
    "shows, made up again with what boiled off, filtered and cooled to 20 °C. The water is all there is at the end: "
    "250 mL is 250 g.",
    "diastatic_power": "Only what was measured: by a laboratory, or by a titration of your own. It is never reckoned "
    "from how the malt was made.",
    "conversion_test": "Starch gel with a little malt, warm. A drop on iodine every five minutes, until it stays "
    "brown. Always beside a reference malt, on the same gel at the same time.",
    "falling_number": "Of malt flour alone the instrument reads its floor, 62 s: mix a little of it into a flour that "
    "you know, and give both numbers and the share.",
    "tasting": "Pour boiling water on a spoon of ground malt, stir, let it stand for ten minutes, strain it. Smell it "
    "while it steams, taste it lukewarm, and write what it brings to mind. A second cup of a malt that you know helps.",
    "kernel_weight": "Sound kernels of malt. Beside the weight of the raw corns it tells the loss.",
}
CAUTIONS: Mapping[str, tuple[Caution, ...]] = {
    "extract_mash": (cautions.SCALDS,),
    "conversion_test": (cautions.SCALDS,),
    "falling_number": (cautions.SCALDS,),
    "tasting": (cautions.RAW_SPROUT, cautions.SCALDS),
}


def malt_form(kind: str, history: History, formdata: Any, words: Words) -> EntryForm:
    """The form of one test: what was sent, or blank with what was used last and the malt's moisture."""
    assert words.now is not None
    clock = local_text(words.now, zone())
    defaults = {"id": ports.new_id(), "at": clock, "earliest": clock, "latest": clock, **_known(kind, history, words)}
    form = entry_form(kind, formdata, system=words.system, zone=zone(), now=words.now, **defaults)
    if kind == "moisture_test":
        only_for_malt(form)
    return form


def _known(kind: str, history: History, words: Words) -> dict[str, str]:
    assert words.now is not None
    values: dict[str, str] = {}
    facts = history.of_kind(kind)
    if facts:
        values |= {name: text for name, text in facts[-1].typed.items() if name.endswith("_unit")}
        values |= {name: value for name in ("method", "instrument") if (value := getattr(facts[-1], name))}
    moisture = malt_moisture(history, words.now, words.now)
    if kind == "extract_mash" and moisture.is_tested:
        values |= {"moisture": f"{100 * moisture.moisture_wb:.1f}", "moisture_unit": "percent"}
    return values
