"""The numbers of a programme in a reader's words and units: what each is called, how it is shown, how it is read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from app.judgement.programmes.parts import RANGES, SETTING_UNITS
from app.judgement.programmes.programme import LIMIT_UNITS, Limit, Programme, provenance
from app.science import units

LIMIT_WORDS: Mapping[str, str] = {
    "water_temperature.immersion": "Steep water",
    "grain_temperature.air_rest": "Grain in an air rest",
    "grain_temperature.germination": "Grain while it germinates",
    "grain_temperature.stewing": "Grain while it stews",
    "grain_temperature.roasting": "Grain in the roast",
    "grain_temperature.bagging": "Grain going into the sack",
    "air_on_temperature.withering": "Air-on while withering",
    "air_on_temperature.drying": "Air-on while drying",
    "air_on_temperature.curing": "Air-on while curing",
    "immersion_h": "One immersion",
    "immersion_chitted_h": "One immersion once chitted",
    "air_rest_h": "One air rest",
    "stewing_h": "Stewing",
    "turning_h": "Between two turnings",
    "warm_wet_h": "Warm and wet",
    "germination_d": "Germination",
    "cast_moisture": "Moisture at cast",
    "final_moisture": "Moisture of the malt",
    "cast_chits": "Chitted at cast",
    "chits_h30": "Chitted at hour 30",
    "acrospire": "Mean acrospire",
    "roast_colour.roasting": "Colour to stop the roast at",
}
SETTING_WORDS: Mapping[str, str] = {
    "immersion_q10": "In water 10 °C (18 °F) warmer an immersion is shorter by a factor of",
    "immersion_reference_c": "That is reckoned from water at",
    "immersion_aerated_factor": "In blown air an immersion may be longer by a factor of",
    "immersion_chitted_from": "It counts as chitted from",
    "withering_until_wb": "Withering ends at a moisture of",
    "drying_until_wb": "Drying ends at a moisture of",
    "charge_moisture_wb": "Moisture of the grain charged, where nobody says",
    "steep_loss": "Dry matter lost in the steep",
    "respiration_loss": "Dry matter lost by breathing",
    "rootlet_loss": "Dry matter lost in rootlets",
    "roast_loss": "Dry matter lost in the roast",
    "roast_loss_dark": "Dry matter lost in a dark roast",
    "roast_dark_from_c": "A roast counts as dark once the grain has come to",
}
STEP_WORDS: Mapping[str, str] = {
    "hours": "Hours planned",
    "hours_low": "Hours at least",
    "hours_high": "Hours at most",
    "water_c": "Water",
    "grain_c": "Grain",
    "air_on_c": "Air-on",
    "moisture_wb": "Moisture at its end",
    "chitted_fraction": "Chitted at its end",
    "acrospire": "Acrospire at its end",
}
STEP_UNITS: Mapping[str, str] = {
    "hours": "h",
    "hours_low": "h",
    "hours_high": "h",
    "water_c": "c",
    "grain_c": "c",
    "air_on_c": "c",
    "moisture_wb": "wb",
    "chitted_fraction": "fraction",
    "acrospire": "kernel_lengths",
}
CEILING_WORDS: Mapping[str, str] = {"moisture_above_wb": "Above a moisture of", "grain_c": "Grain at most"}
CEILING_UNITS: Mapping[str, str] = {"moisture_above_wb": "wb", "grain_c": "c"}
BAND_WORDS: Mapping[str, str] = {"target": "Target", "caution": "Caution beyond", "act": "Act beyond"}
PURPOSES: Mapping[str, str] = {
    "base": "base malt",
    "diastatic": "diastatic malt",
    "dark": "dark malt",
    "chit": "chit malt",
    "caramel": "caramel malt",
    "smoked": "smoked malt",
    "roasted": "roasted malt",
    "roasted_grain": "roasted raw grain",
}
BASE, ENZYMES, COLOUR, KITCHEN, ROASTS = (
    "Base malt", "For its enzymes", "For colour, taste and body", "In a kitchen", "Roasts, of finished malt",
)  # fmt: skip
USES: Mapping[str, str] = {
    "base": BASE,
    "diastatic": ENZYMES,
    "dark": COLOUR,
    "chit": COLOUR,
    "caramel": COLOUR,
    "smoked": COLOUR,
    "roasted_grain": COLOUR,
    "roasted": ROASTS,
}
USE_ORDER = (BASE, ENZYMES, COLOUR, KITCHEN, ROASTS)
GRAINS: Mapping[str, str] = {
    "barley": "Barley",
    **dict.fromkeys(("wheat", "spelt", "emmer", "triticale"), "Wheat and its kin"),
    "rye": "Rye",
    "oats": "Oats",
    **dict.fromkeys(
        ("sorghum", "pearl millet", "finger millet", "buckwheat", "quinoa"), "Grain without gluten of its own"
    ),
}
HUSKED = frozenset({"barley", "oats"})
"""Their shoot grows under the husk."""

OTHER_GRAIN = "Other grain"
GRAIN_ORDER = (*dict.fromkeys(GRAINS.values()), OTHER_GRAIN, ROASTS)
SCALES: Mapping[str, str] = {"floor": "on a floor or bed", "kitchen": "in a kitchen"}
_SYMBOLS: Mapping[str, str] = {"h": "h", "d": "d", "kernel_lengths": "of the kernel", "ratio": "", "ppm": "ppm"}
_BARE = frozenset({"h", "d", "ratio"})
_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e-?\d+)?")


def use_of(programme: Programme) -> str:
    """What it is for, as programmes of one grain are put together."""
    return KITCHEN if programme.scale == "kitchen" else USES.get(programme.purpose, COLOUR)


def grain_of(programme: Programme) -> str:
    """The grain it is for, as all programmes are put together; roasts, which take malt of any, stand by themselves."""
    return ROASTS if programme.purpose == "roasted" else GRAINS.get(programme.species[0], OTHER_GRAIN)


def hottest_c(programme: Programme) -> float:
    """How hot the grain becomes by its plan: roasts stand in that order."""
    return max((step.grain_c or 0.0 for step in programme.steps), default=0.0)


@dataclass(frozen=True)
class Scale:
    """How the numbers of one unit ("c", "wb", "h" ...) are shown to a reader and read from what is typed."""

    unit: str
    system: str = "metric"

    @property
    def key(self) -> str | None:
        """The unit of measure that the reader reads them in; None where they are the same in every system."""
        if self.unit == "c":
            return units.DEFAULT_UNITS[self.system]["temperature"]
        if self.unit == "ebc":
            return units.DEFAULT_UNITS[self.system]["colour"]
        return "percent" if self.unit in ("wb", "fraction") else None

    @property
    def symbol(self) -> str:
        return units.UNITS[self.key].symbol if self.key else _SYMBOLS[self.unit]

    def number(self, value: float, digits: int = 6) -> str:
        """The number as one would type it."""
        return f"{float(units.from_si(value, self.key) if self.key else value):.{digits}g}"

    def say(self, value: float, digits: int = 6) -> str:
        return f"{self.number(value, digits)}\u00a0{self.symbol}".strip().replace(" ", "\u00a0")

    def read(self, text: str) -> float:
        """The value of what was typed; ValueError says what to mend, in the reader's units."""
        number = units.parse_number(text)
        value = float(f"{float(units.to_si(number, self.key) if self.key else number):.12g}")
        low, high = RANGES[self.unit]
        if not low <= value <= high:
            raise ValueError(f"Give a number from {self.number(low)} to {self.say(high)}.")
        return value

    def translate(self, problem: str) -> str:
        """A message with its figures in this scale; they come rounded, so fewer digits are theirs."""
        show = self.number if self.unit in _BARE else self.say
        said = _NUMBER.sub(lambda figure: show(float(figure[0]), 4), problem)
        return said[:1].upper() + said[1:]

    def plainly(self, low: float | None, high: float | None) -> str:
        """The bounds without the words beside them: in brackets after the same in another unit."""
        shown = [self.number(each) for each in (low, high) if each is not None]
        return f"{' to '.join(shown)} {self.symbol}".replace(" ", "\u00a0")

    def range(self, low: float | None, high: float | None) -> str:
        """Both bounds, or the one there is."""
        if low is not None and high is not None:
            return f"{self.number(low)} to {self.say(high)}".replace(" ", "\u00a0")
        if high is not None:
            return f"up to {self.say(high)}".replace(" ", "\u00a0")
        return f"from {self.say(low)}".replace(" ", "\u00a0") if low is not None else ""


def unit_at(path: str) -> str | None:
    """The unit of the number at a path of a programme's content; None for what is no number."""
    parts = path.split("/")
    if parts[0] == "limits" and len(parts) == 4 and parts[3] in ("low", "high"):
        return LIMIT_UNITS.get(parts[1])
    if parts[0] == "steps" and len(parts) == 3:
        return STEP_UNITS.get(parts[2])
    if parts[0] == "ceiling" and len(parts) == 3:
        return CEILING_UNITS.get(parts[2])
    if parts[0] == "settings" and len(parts) == 3 and parts[2] == "value":
        return SETTING_UNITS.get(parts[1])
    return None


def limit_source(limit: Limit) -> str:
    """Where the bounds of a limit come from; where they differ, which from where."""
    sources: dict[str, list[str]] = {}
    for severity, low, high in limit.bands():
        if (low, high) != (None, None):
            name = {"notice": "target"}.get(severity, severity)
            sources.setdefault(provenance(*limit.origin(severity)), []).append(name)
    if len(sources) == 1:
        return next(iter(sources))
    return ". ".join(f"{' and '.join(names).capitalize()}: {source}" for source, names in sources.items())


def stage_words(stage: str, phase: str | None) -> str:
    word = stage.replace("_", " ").capitalize()
    return f"{word}: {phase}" if phase else word


def path_words(path: str, steps: list[str]) -> str:
    """What stands at a path, in words; steps: the names of the steps."""
    parts = path.split("/")
    if parts[0] == "limits" and len(parts) > 2:
        bound = {"low": ", at least", "high": ", at most"}.get(parts[-1], "")
        return f"{LIMIT_WORDS.get(parts[1], parts[1])}: {BAND_WORDS.get(parts[2], parts[2]).lower()}{bound}"
    if parts[0] == "steps" and len(parts) == 3:
        place = int(parts[1])
        name = steps[place] if place < len(steps) else ""
        return f"Step {place + 1}, {name.lower()}: {STEP_WORDS.get(parts[2], parts[2]).lower()}"
    if parts[0] == "ceiling" and len(parts) == 3:
        return f"Ceiling, step {int(parts[1]) + 1}: {CEILING_WORDS.get(parts[2], parts[2]).lower()}"
    if parts[0] == "settings" and len(parts) == 3:
        return SETTING_WORDS.get(parts[1], parts[1])
    return {"name": "Name", "note": "Note"}.get(path, path.replace("/", ", ").replace("_", " "))
