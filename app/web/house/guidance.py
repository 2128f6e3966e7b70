"""The kinds of entry of the house: what each is about, how its fields are called here, and what can hurt somebody."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from app.judgement import cautions
from app.judgement.cautions import Caution
from app.store.house import WEIGHED


@dataclass(frozen=True)
class About:
    """What an entry names: a vessel or an instrument. is_needed: it can't be about the house as a whole."""

    type: str
    label: str
    hint: str
    names: str
    is_needed: bool = False


HOUSE_KINDS = (
    "cleaned",
    "cleaning_plan",
    "water_analysis",
    "calibrated",
    "scale_checked",
    "humidity_checked",
    "co2_room",
    "co_room",
    "note",
)
_AS_NAMED = "As it is named in its readings."
_VESSEL = About("vessel", "Vessel", "Tub, floor, kiln, tools … Empty: the house.", "vessels")
ABOUT: Mapping[str, About] = {
    "calibrated": About("instrument", "Thermometer", _AS_NAMED, "instruments", is_needed=True),
    "scale_checked": About("instrument", "Scale", _AS_NAMED, "instruments", is_needed=True),
    "humidity_checked": About("instrument", "Hygrometer", _AS_NAMED, "instruments", is_needed=True),
    "cleaned": _VESSEL,
    "cleaning_plan": _VESSEL,
}
NAMED_IN: Mapping[str, tuple[str, ...]] = {
    "co2_room": ("co2_room",),
    "co_room": ("co_room",),
    "scale_checked": WEIGHED,
    "humidity_checked": ("humidity",),
}
"""In which entries the instruments of a form are named, where those are no thermometers."""

TILES: Mapping[str, tuple[str, str]] = {
    "cleaned": ("Cleaned", "a tub, a floor, the house"),
    "cleaning_plan": ("Cleaning plan", "what is cleaned how often"),
    "water_analysis": ("Steep water", "what it holds"),
    "calibrated": ("Calibrated", "a thermometer reads wrong, or right again"),
    "scale_checked": ("Scale", "against a known weight"),
    "humidity_checked": ("Hygrometer", "over damp salt"),
    "co2_room": ("CO₂ in the room", "before you go in"),
    "co_room": ("CO in the room", "with any flame"),
    "note": ("Note", "pest round, repair …"),
}
TEXTS: Mapping[str, str] = {
    "calibrated": "What has to be added to its readings, from when until when. No reading is rewritten: each is seen "
    "corrected, with what was read beside it. Where it reads right again, say so with a 0.",
    "cleaned": "What was cleaned, and with what.",
    "cleaning_plan": "The newest plan of a vessel holds; to end it, strike it out.",
    "water_analysis": "One sheet at a time, whichever of these it gives. Malt is food: its water is drinking water, by "
    "the law where you are.",
    "scale_checked": "Empty, it shows 0; then a known weight, near what you weigh on it. Its weighings stay as "
    "they were read.",
    "humidity_checked": "Close it for a day in a jar with table salt, wet but not dissolved, where it stays as warm as "
    "it is: it should show 75 % (74.9 to 75.6 % from 0 to 30 °C: published, Wexler & Hasegawa 1954, J. Res. NBS 53, "
    "RP 2512). Its readings stay as they were read.",
    "co2_room": "What the meter shows at the height of one’s head, and low down where the gas lies.",
    "co_room": "What the carbon monoxide meter or alarm shows in the kiln’s room, or where people sleep.",
    "note": "What belongs to no batch and to no lot: a pest round, a visit, a repair.",
}
LABELS: Mapping[str, Mapping[str, str]] = {
    "calibrated": {"when": "From when", "instrument": "Compared with", "person": "Compared by"},
    "scale_checked": {"instrument": "Compared with", "person": "Compared by"},
    "humidity_checked": {"instrument": "Compared with", "person": "Compared by"},
    "cleaned": {"what": "What with, and how", "person": "Done by"},
    "cleaning_plan": {"when": "From when", "person": "Said by"},
    "water_analysis": {"when": "Drawn when", "place": "Drawn where", "person": "Said by"},
    "note": {"person": "Said by"},
}
HINTS: Mapping[str, Mapping[str, str]] = {
    "calibrated": {
        "amount": "Below 0 where it reads too high: in melting ice it shows 3 °C (37.4 °F), so add −3 °C (−5.4 °F).",
        "until": "Empty: until it is calibrated again.",
    },
    "cleaning_plan": {"amount": "Empty: after every batch."},
}
CAUTIONS: Mapping[str, tuple[Caution, ...]] = {
    "co2_room": (cautions.CO2,),
    "co_room": (cautions.CO,),
    "cleaned": (cautions.CLEANERS, cautions.SCALDS, cautions.CO2, cautions.PHOSPHINE, cautions.DUST),
}
