"""Workings of planning: what a litre weighs, the tub, how much grain, and what the malt costs."""

from __future__ import annotations

from collections.abc import Mapping

from app.science import bulk, cost, mass_balance, units
from app.web.workings.asking import choice, mass, number, share, volume
from app.web.workings.asking import moisture as moist
from app.web.workings.working import Given, Outcome, Values, masses, percent, plain, room, working

GRAINS = (("barley", "barley"), ("wheat", "wheat"), ("rye", "rye"), ("oats", "oats"))
HALF_LITRE_M3 = 0.0005
MOST_LOST = 0.95
USUAL_LOSS = "8 to 13 % of barley that is malted in full; chit malt loses less, from memory."
USUAL = {
    "barley": "Malting barley has 68 to 75, up to 78 (MEBAK). Less: thin or shrivelled kernels, or much chaff.",
    "wheat": "60 lb a US bushel, 77 kg/hL, is the official US weight of wheat. Less: thin or shrivelled kernels.",
    "rye": "56 lb a US bushel, 72 kg/hL, is the official US weight of rye. Less: thin or shrivelled kernels.",
    "oats": "32 lb a US bushel, 41 kg/hL, is the official US weight of oats. Less: more husk and less groat.",
}


@working(
    key="grain-for-malt",
    group="plan",
    title="How much grain for so much malt?",
    question="I want so much finished malt. How much grain do I weigh out for it?",
    asks={
        "malt": mass("Malt to make", "20"),
        "malt_moisture": moist("Its moisture", "4.5"),
        "moisture": moist("Moisture of the grain", "12"),
        "loss": share("Lost on the way, of the dry matter", "10", high=0.6, hint=USUAL_LOSS),
        "doubt": share("How far that may be off", "3", high=0.3),
        "cleaning": share("Skimmed and cleaned off before", "1", high=0.5),
    },
    methods=("mass_balance.grain_needed_kg",),
    limits="Your own batches know your loss best: it is on each one’s account. Samples and spills come on top. Weigh "
    "out the upper end where the malt is promised.",
)
def grain_for_malt(g: Given) -> Outcome:
    def value(v: Values) -> float:
        clean = mass_balance.grain_needed_kg(v["malt"], v["malt_moisture"], v["moisture"], v["loss"])
        return clean / (1.0 - v["cleaning"])

    def at(loss: float) -> float:
        return value({**g.values, "loss": min(max(loss, 0.0), MOST_LOST)})

    low, middle, high = (at(g["loss"] + way * g["doubt"]) for way in (-1.0, 0.0, 1.0))
    kept = f"(1 − {g.say('loss')}) × (1 − {g.say('cleaning')})"
    numbers = f"{g.say('malt')} × (1 − {g.say('malt_moisture')}) / ({kept} × (1 − {g.say('moisture')}))"
    return Outcome(
        "Grain",
        masses(g, middle, (high - low) / 2.0, like="malt"),
        ("m (1 − w) / ((1 − loss) (1 − cleaned off) (1 − w₀))", f"{numbers} = {masses(g, middle, like='malt')}"),
        (
            ("If little is lost", masses(g, low, like="malt")),
            ("If much is lost", masses(g, high, like="malt")),
            ("Malt from a kilogram of grain", percent(g, g["malt"] / middle, decimals=1)),
        ),
        note="± is how far the loss may be off.",
    )


@working(
    key="tub-size",
    group="plan",
    title="How big a tub?",
    question="I steep so much grain. What tub holds it swollen and under water, and how much water does that take?",
    asks={
        "mass": mass("Grain", "25"),
        "moisture": moist("Its moisture", "12"),
        "target": moist("Moisture at the end of the steep", "45"),
        "weight": number(
            "Weight of a hectolitre",
            "68",
            "kg/hL",
            20,
            100,
            hint="Grams in a litre over ten; pounds a US bushel × 1.287.",
        ),
        "cover": share("Water over the grain, of the grain’s depth", "10", high=2.0),
        "headroom": share("Free room above the water", "10", high=2.0, hint="For stirring and foam."),
    },
    methods=("bulk.steeped_volume", "bulk.tub_for", "moisture.mass_at_moisture_kg"),
    limits="For straight walls. Grain left to chit in the tub wants more room: the heap loosens. The ± of the swelling "
    "is how far published volumes lie apart; the tub is for the most of it.",
)
def tub_size(g: Given) -> Outcome:
    swollen = bulk.steeped_volume(g["mass"], g["moisture"], g["target"], g["weight"])
    tub = bulk.tub_for(swollen, g["mass"], g["cover"], g["headroom"])
    dry = f"{g.say('mass')} at {g.say('weight')}: {room(g, swollen.dry_m3)}"
    return Outcome(
        "Tub, at the least",
        room(g, tub.tub_m3),
        (
            "dry volume + 1.3 ± 0.4 times the water it drinks; then the water over it, then the free room",
            f"{dry} dry, {room(g, swollen.low_m3, swollen.high_m3)} swollen, {room(g, tub.filled_m3)} filled",
        ),
        (
            ("Grain as it is poured in", room(g, swollen.dry_m3)),
            ("Grain when it has drunk", room(g, swollen.low_m3, swollen.high_m3)),
            ("Water for one filling, at the most", room(g, tub.water_m3)),
            ("The same for the weight of the grain", _for_each(g, tub.water_m3, g["mass"])),
        ),
        note="",
    )


def _for_each(g: Given, water_m3: float, mass_kg: float) -> str:
    """Litres for a kilogram, which are as many cubic metres for a tonne; or gallons for a pound."""
    wet, dry = (units.UNITS[g.words.unit(dimension)] for dimension in ("volume", "mass"))
    return plain(water_m3 / wet.scale * dry.scale / mass_kg, f"{wet.symbol}/{dry.symbol}", decimals=2)


@working(
    key="hectolitre-weight",
    group="lot",
    title="What does a litre weigh?",
    question="I weighed a measure of grain, struck level. What is its hectolitre weight, and is that good grain?",
    asks={
        "grain": choice("Grain", *GRAINS),
        "mass": mass("Grain in the measure", "660", lab=True),
        "volume": volume("The measure holds", "1", "0.2642"),
    },
    methods=("bulk.hectolitre_weight", "bulk.official_hectolitre_weight", "bulk.pounds_per_bushel"),
    limits="Pour from a hand’s breadth, strike off with a straight edge, do not shake: shaken grain weighs a tenth "
    "more, from memory. Damp grain and grain with husks weigh less. Compare only like with like.",
)
def hectolitre_weight(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return bulk.hectolitre_weight(v["mass"], v["volume"])

    weight = value(g.values)
    official = bulk.official_hectolitre_weight(g["grain"], 1000.0 * g["mass"] * HALF_LITRE_M3 / g["volume"])
    return Outcome(
        "Weight of a hectolitre",
        plain(weight, "kg/hL", g.half_width(value)),
        ("kilograms / hectolitres", f"{g.say('mass')} / {g.say('volume')} = {weight:.1f} kg/hL"),
        (
            ("What the trade’s measure would show", plain(official, "kg/hL", decimals=1), "grain packs closer in it"),
            ("In pounds a US bushel", plain(bulk.pounds_per_bushel(official), "lb", decimals=1)),
            ("In pounds an imperial bushel", plain(bulk.pounds_per_bushel(official, "imperial"), "lb", decimals=1)),
        ),
        detail=USUAL[g["grain"]],
    )


@working(
    key="cost-per-kilogram",
    group="account",
    title="What does my malt cost?",
    question="Grain, heat, my hours and the sacks: what did a kilogram, or a pound, of this malt cost me?",
    asks={
        "malt": mass("Malt made", "20"),
        "grain": number("What the grain cost", "15", "", 0, 1e9),
        "energy": number("Electricity used", "30", "kWh", 0, 1e6, hint="The meter after, less the meter before."),
        "energy_price": number("Price of a kilowatt-hour", "0.30", "", 0, 1e6),
        "fuel": number("Spent on other fuel, and on water", "2", "", 0, 1e9),
        "hours": number("Hours of work", "5", "h", 0, 1e5),
        "wage": number("An hour is worth", "15", "", 0, 1e6),
        "pack": mass("A sack holds", "5"),
        "pack_price": number("Price of a sack, with its label", "0.80", "", 0, 1e6),
    },
    methods=("cost.cost_per_kg", "cost.packs_for"),
    limits="Any money, the same throughout. Rent, wear, loss in selling, duty and what the culms fetch are not in it. "
    "Hours are of hands at work, not of waiting.",
)
def cost_per_kilogram(g: Given) -> Outcome:
    def parts(v: Values) -> dict[str, float]:
        return {
            "Grain": v["grain"],
            "Heat and water": v["energy"] * v["energy_price"] + v["fuel"],
            "Work": v["hours"] * v["wage"],
            "Sacks": cost.packs_for(v["malt"], v["pack"]) * v["pack_price"],
        }

    spent = parts(g.values)
    unit = units.UNITS[g.words.unit("mass")]

    def each(money: Mapping[str, float]) -> str:
        return plain(cost.cost_per_kg(money, g["malt"]) * unit.scale, decimals=2)

    sums = " + ".join(f"{value:.2f}" for value in spent.values())
    return Outcome(
        f"Each {unit.symbol}",
        each(spent),
        (
            "(grain + heat and water + work + sacks) / malt",
            f"({sums}) / {g.say('malt')} = {each(spent)} a {unit.symbol}",
        ),
        (
            *((name, each({name: value})) for name, value in spent.items()),
            ("Without your own work", each({**spent, "Work": 0.0})),
        ),
        note="",
    )
