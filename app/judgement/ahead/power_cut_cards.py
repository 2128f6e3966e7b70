"""What to do when the power fails, by stage: common practice of the trade where no source is named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from app.judgement import cautions
from app.judgement.cautions import Caution

SOURCE = "common practice"


@dataclass(frozen=True)
class Card:
    """at_once: what to do in the next minutes, in order. holds: how long it can wait, where the clock alone tells it.

    record: what to write down, as (entry, what of it). back_on: what to do once the power is back.
    """

    key: str
    title: str
    at_once: tuple[str, ...]
    holds: str
    record: tuple[tuple[str, str], ...]
    back_on: tuple[str, ...]
    dangers: tuple[Caution, ...]
    source: str = SOURCE


INTERRUPTION = ("interruption", "from when to when, and what stood still: pump, fan, heat")
_OFF = "Switch pumps, fans and heaters off at the wall: what starts by itself when the power comes back harms hands."

DRY = Card(
    "dry",
    "Dry grain waits",
    ("Nothing of the batch needs power yet.", "Put the first water off until pump, aerator and fan can run again."),
    "Dry grain keeps for weeks.",
    (INTERRUPTION,),
    ("Begin as planned.",),
    (cautions.DUST,),
)
STEEP = Card(
    "steep",
    "Under water, without air or pump",
    (
        _OFF,
        "Was air blown through it? Then it drowns sooner than planned: stir it by hand from the bottom every half "
        "hour, or drain it by hand now.",
        "Without a pump: drain by the plug, a siphon or buckets when its hours are up.",
        "Air the room before you bend over the tub.",
    ),
    "As long as it may stay in still water.",
    (INTERRUPTION, ("water_temperature", "now, and again before you leave it")),
    (
        "Look at the water: foam or a sour smell means drain now.",
        "Add the lost air to the next rest, not to the steep.",
    ),
    (cautions.CO2, cautions.MAINS),
)
REST = Card(
    "rest",
    "Resting, without a fan",
    (
        _OFF,
        "Open the drain: carbon dioxide is heavy and runs out at the bottom.",
        "Turn or lift the grain by hand once an hour, more often if it feels warm.",
        "Spread it thinner, no deeper than a hand, if it cannot be turned.",
    ),
    "Until the bed comes to its limit of temperature.",
    (INTERRUPTION, ("grain_temperature", "now, and an hour later at the same spot")),
    ("Draw the carbon dioxide off before anything else.", "Take the temperature at top, middle and bottom."),
    (cautions.CO2,),
)
FLOOR = Card(
    "floor",
    "On the floor or in the box, without a fan",
    (
        _OFF,
        "Take the bed's temperature: in the middle, where it is warmest.",
        "Turn it by hand from bottom to top; then again each time it has warmed by 2 °C (4 °F).",
        "Spread it thinner: a thin bed keeps less of its heat.",
        "Open doors and windows if it is colder outside than the bed.",
        "Spraying cools too, but only grain that is not past its moisture.",
    ),
    "Until the bed comes to its limit of temperature.",
    (INTERRUPTION, ("grain_temperature", "now, and an hour later at the same spot"), ("turned", "each time")),
    ("Turn before the fan starts: it blows through the cracks of a knit bed.", "Look and smell before you go on."),
    (cautions.CO2, cautions.MOULD),
)
STEW = Card(
    "stew",
    "Stewing, without heat",
    (
        "Heater off at the wall, lid shut: covered, it keeps its warmth for a while.",
        "Take the grain's temperature now: below 55 °C (131 °F) it sours within hours.",
        "Still cold after an hour: spread it thin and cool it right down, or finish it on another heat source that "
        "somebody stays with.",
    ),
    "About an hour, covered and full; less for a small tray.",
    (INTERRUPTION, ("grain_temperature", "now, and every half hour")),
    ("Warm it through quickly; smell it first: sour is lost for caramel.",),
    (cautions.KILN, cautions.RAW_SPROUT),
    "common practice; the floor of 55 °C from memory",
)
WET_KILN = Card(
    "wet_kiln",
    "Wet malt in a kiln without a fan",
    (
        "Heat off first: gas tap shut, heater off at the wall. A hot kiln without a fan overheats the grain beside its "
        "heat source, and can light.",
        "Carbon monoxide alarm sounding, or any flame: everybody out, air the room, shut the fuel off from outside.",
        "Once the source is cold to the hand: open doors and vents, so that the heat goes up and out.",
        "Thin the bed, or take the trays out and stand them apart. Do not heap it: warm, wet and still, it sours.",
        "Long cut: back on the floor, thin, turned each hour, or on trays in moving cold air.",
    ),
    "About 2 h warm and still, as green malt in a heap; longer once it is cold and thin.",
    (INTERRUPTION, ("grain_temperature", "in the hottest place, now"), ("tray", "the weight, before the heat returns")),
    (
        "Fan first, heat after it: never heat on still air.",
        "Begin again at the air of withering if it is above 25 %, not where it stood.",
        "Smell it. Sour or musty is not dried on.",
    ),
    (cautions.KILN, cautions.RAW_SPROUT),
    "common practice; 2 h in a heap from memory",
)
DRY_KILN = Card(
    "dry_kiln",
    "Malt nearly dry, in a kiln without a fan",
    (
        "Heat off first: gas tap shut, heater off at the wall. A hot source without a fan scorches what lies next to "
        "it, and dry malt and culms burn.",
        "Carbon monoxide alarm sounding, or any flame: everybody out, air the room, shut the fuel off from outside.",
        "Smoke, or a smell of scorching: leave it shut, power off, call the fire service. Opening it feeds the fire.",
        "Nothing scorched: once the source is cold to the hand, open vents and doors.",
    ),
    "Hours: below 12 % it neither sours nor grows. It draws water if it stands open in damp air: cover it once cool.",
    (INTERRUPTION, ("grain_temperature", "in the hottest place, now"), ("tray", "the weight, before the heat returns")),
    ("Fan first, heat after it.", "Weigh a tray before you go on: it may have drawn water."),
    (cautions.KILN,),
    "common practice; 12 % from memory",
)
ROAST = Card(
    "roast",
    "A roast that stands still",
    (
        "Heat off, gas tap shut. Isolate the drum's power before you reach in: it may start again by itself.",
        "A drum that stands scorches what lies at its bottom within a minute or two: turn it by hand crank, if it has "
        "one, or empty it into a metal tray at once.",
        "Spread it thin on metal, outdoors or under a hood; spray a little water on what glows or smokes.",
        "Never into a sack, a bucket with a lid or a heap: it lights again by itself.",
    ),
    "Minutes.",
    (INTERRUPTION, ("grain_temperature", "as emptied, and until it is below 30 °C (86 °F)")),
    ("Do not put scorched grain back.", "Empty and clean the drum cold, then begin with another charge."),
    (cautions.ROAST, cautions.KILN),
)
COOLING = Card(
    "cooling",
    "Cooling, without a fan",
    (
        "Spread it thin and turn it by hand: a deep heap stays hot for a day and darkens.",
        "A roast: thin on metal, a spray ready, and somebody beside it until it is below 30 °C (86 °F).",
        "Cover it once it is cool: malt draws water from damp air.",
    ),
    "Malt: hours. A roast: not at all.",
    (INTERRUPTION, ("grain_temperature", "in the middle of the heap")),
    ("Below 30 °C (86 °F) before it goes into anything.",),
    (cautions.ROAST, cautions.DUST),
)
ENDED = Card(
    "ended",
    "This batch needs no power",
    ("Malt in its sack or jar waits: keep it shut and dry.",),
    "As long as it keeps anyway.",
    (),
    (),
    (cautions.RAW_SPROUT,),
)

BY_STAGE: Mapping[str, Card] = MappingProxyType(
    {
        "charged": DRY,
        "immersion": STEEP,
        "air_rest": REST,
        "germination": FLOOR,
        "stewing": STEW,
        "kilning": WET_KILN,
        "cooling": COOLING,
        "finished": ENDED,
        "abandoned": ENDED,
    }
)
CARDS = (DRY, STEEP, REST, FLOOR, STEW, WET_KILN, DRY_KILN, ROAST, COOLING, ENDED)
