"""The kinds of entry of the house: what each is about, how its fields are called here, and what can hurt somebody."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from app.judgement import cautions
from app.judgement.cautions import Caution


@dataclass(frozen=True)
class About:
    """What an entry names: a vessel or an instrument. is_needed: it can't be about the house as a whole."""

    type: str
    label: str
    hint: str
    names: str
    is_needed: bool = False


HOUSE_KINDS = ("calibrated", "cleaned", "co2_room", "co_room", "note")
ABOUT: Mapping[str, About] = {
    "calibrated": About("instrument", "Thermometer", "As it is named in its readings.", "instruments", is_needed=True),
    "cleaned": About("vessel", "Vessel", "Empty: the house.", "vessels"),
}
NAMED_IN: Mapping[str, tuple[str, ...]] = {"co2_room": ("co2_room",), "co_room": ("co_room",)}
"""In which entries the instruments of a form are named, where those are no thermometers."""

TILES: Mapping[str, tuple[str, str]] = {
    "calibrated": ("Calibrated", "a thermometer reads wrong, or right again"),
    "cleaned": ("Cleaned", "a tub, a floor, the house"),
    "co2_room": ("CO₂ in the room", "before you go in"),
    "co_room": ("CO in the room", "with any flame"),
    "note": ("Note", "pest round, water test …"),
}
TEXTS: Mapping[str, str] = {
    "calibrated": "What has to be added to its readings, from when until when. No reading is rewritten: each is seen "
    "corrected, with what was read beside it. Where it reads right again, say so with a 0.",
    "cleaned": "What was cleaned, and with what.",
    "co2_room": "What the meter shows at the height of one’s head, and low down where the gas lies.",
    "co_room": "What the carbon monoxide meter or alarm shows in the kiln’s room, or where people sleep.",
    "note": "What belongs to no batch and to no lot: a pest round, a water test, a visit, a repair.",
}
LABELS: Mapping[str, Mapping[str, str]] = {
    "calibrated": {"when": "From when", "instrument": "Compared with", "person": "Compared by"},
    "cleaned": {"person": "Done by"},
    "note": {"person": "Said by"},
}
HINTS: Mapping[str, Mapping[str, str]] = {
    "calibrated": {
        "amount": "Below 0 where it reads too high: in melting ice it shows 3 °C (37.4 °F), so add −3 °C (−5.4 °F).",
        "until": "Empty: until it is calibrated again.",
    },
}
CAUTIONS: Mapping[str, tuple[Caution, ...]] = {
    "co2_room": (cautions.CO2,),
    "co_room": (cautions.CO,),
    "cleaned": (cautions.CLEANERS, cautions.SCALDS, cautions.CO2, cautions.PHOSPHINE, cautions.DUST),
}
