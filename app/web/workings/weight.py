"""Workings of moisture and weight."""

from __future__ import annotations

from app.judgement.grain.charges import GUESSED_MOISTURE_SD, MEASURED_MOISTURE_SD
from app.science import mass_balance, moisture, moisture_methods
from app.web.workings.asking import choice, mass, row, share
from app.web.workings.asking import moisture as moist
from app.web.workings.working import Given, Outcome, Values, masses, percent, plain, working

WAYS = (
    ("blotted", "blotted"),
    ("spun", "spun"),
    ("drained", "only drained"),
    ("dry", "dry on the outside"),
)
KNOWN = (("typed", "to the digits typed"), ("measured", "by oven or meter"), ("assumed", "nobody measured it"))
KNOWN_SDS = {"typed": 0.0, "measured": MEASURED_MOISTURE_SD, "assumed": GUESSED_MOISTURE_SD}


@working(
    key="moisture-from-weight",
    group="weight",
    title="How moist is it, by its weight?",
    question="My test bag weighed so much before the steep and weighs so much now. How moist is the grain?",
    asks={
        "mass": mass("Weight now, without the bag", "160"),
        "initial": mass("Weight at the start", "100"),
        "moisture": moist("Moisture at the start", "12"),
        "loss": share("Dry matter lost since", "0", high=0.5, hint="0.5 to 1 % by the end of a steep, from memory."),
        "way": choice("How the grain was made ready for the scale", *WAYS),
        "known": choice("How the moisture at the start is known", *KNOWN),
    },
    methods=("moisture.moisture_wb_from_mass", "moisture.moisture_wb_with_sd", "moisture.film_correction"),
    limits="The start weight must be of the same grain: skimmings and samples taken out since take their share with "
    "them. A cloth bag is weighed wet for its tare. Film corrections are from memory: make your own.",
)
def moisture_from_weight(g: Given) -> Outcome:
    film = moisture.film_correction(g["way"])
    reading = moisture.moisture_wb_from_mass(g["mass"], g["initial"], g["moisture"], g["loss"])
    value, sd = moisture.moisture_wb_with_sd(
        g["mass"],
        g["initial"],
        g["moisture"],
        g["loss"],
        mass_sd_kg=g.sd("mass"),
        initial_mass_sd_kg=g.sd("initial"),
        initial_moisture_sd=max(KNOWN_SDS[g["known"]], g.sd("moisture")),
        dry_loss_sd=g.sd("loss"),
        film_points=film.points,
        film_sd_points=film.sd_points,
    )
    numbers = (
        f"({g.say('mass')} − {g.say('initial')} × (1 − {g.say('moisture')}) × (1 − {g.say('loss')})) / {g.say('mass')}"
        f" = {percent(g, reading, decimals=3)}"
    )
    taken = f"less {film.points:g} points for the film of water on {dict(WAYS)[g['way']]} grain"
    return Outcome(
        "Moisture",
        percent(g, value, 2.0 * sd),
        ("M = (W − W₀ (1 − M₀) (1 − L)) / W", numbers, *([taken] if film.points else [])),
        (
            ("As the scale says", percent(g, reading, decimals=2)),
            ("Water in it", masses(g, value * g["mass"], like="mass")),
        ),
        note="± is half of the 95 % interval: the digits typed, the moisture at the start, and the film of water.",
    )


@working(
    key="target-weight",
    group="weight",
    title="What will it weigh when it is moist enough?",
    question="What will the bag, or the charge, weigh when it has the moisture I want?",
    asks={
        "initial": mass("Weight at the start", "100"),
        "moisture": moist("Moisture at the start", "12"),
        "target": moist("Target moisture", "45"),
    },
    methods=("moisture.mass_at_moisture_kg", "moisture.kiln_weight_fraction"),
    limits="No dry matter lost on the way. A steep takes about one per cent of it, from memory. The film of "
    "water on drained grain weighs too.",
)
def target_weight(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return moisture.mass_at_moisture_kg(v["initial"], v["moisture"], v["target"])

    share_of_start = moisture.kiln_weight_fraction(g["moisture"], g["target"])
    numbers = f"{g.say('initial')} × (1 − {g.say('moisture')}) / (1 − {g.say('target')})"
    answer = masses(g, value(g.values), g.half_width(value), like="initial")
    return Outcome(
        "Weight to wait for",
        answer,
        ("Wₜ = W₀ (1 − M₀) / (1 − Mₜ)", f"{numbers} = {masses(g, value(g.values), like='initial')}"),
        (
            ("Of the weight at the start", plain(share_of_start, decimals=4)),
            ("Dry matter", masses(g, moisture.dry_matter_kg(g["initial"], g["moisture"]), like="initial")),
        ),
    )


@working(
    key="water-to-spray",
    group="weight",
    title="How much water do I spray on?",
    question="How much water lifts this bed to the moisture I want?",
    asks={
        "mass": mass("Weight now", "160"),
        "moisture": moist("Moisture now", "44"),
        "target": moist("Target moisture", "45"),
    },
    methods=("moisture.water_to_reach_kg",),
    limits="All of it must be taken up: what runs off, or is lost to the air, comes on top. Spray in several goes.",
)
def water_to_spray(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return moisture.water_to_reach_kg(v["mass"], v["moisture"], v["target"])

    water = value(g.values)
    numbers = f"{g.say('mass')} × ({g.say('target')} − {g.say('moisture')}) / (1 − {g.say('target')})"
    return Outcome(
        "Water to spray" if water >= 0 else "Water that has to leave",
        masses(g, abs(water), g.half_width(value)),
        ("W (Mₜ − M) / (1 − Mₜ)", f"{numbers} = {masses(g, water)}"),
        (("Weight after", masses(g, g["mass"] + water, like="mass")),),
    )


@working(
    key="tray-stop-weight",
    group="weight",
    title="At what weight is the tray dry?",
    question="What must the scale show, tray and all, when the malt is dry enough?",
    asks={
        "tare": mass("The empty tray", "500", "18", zero=True),
        "loaded": mass("Grain on it when it was loaded", "1000", "35"),
        "moisture": moist("Moisture then", "44"),
        "target": moist("Target moisture", "4.5"),
    },
    methods=("moisture.gross_to_stop_at_kg", "moisture.kiln_weight_fraction", "moisture.tray_moisture_wb"),
    limits="Nothing may leave the tray but water: rub no culms off, take no samples. Weigh several trays; the wettest "
    "one decides.",
)
def tray_stop_weight(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return moisture.gross_to_stop_at_kg(v["tare"], v["loaded"], v["moisture"], v["target"])

    gross = value(g.values)
    numbers = f"{g.say('tare')} + {g.say('loaded')} × (1 − {g.say('moisture')}) / (1 − {g.say('target')})"
    water = g["loaded"] + g["tare"] - gross
    return Outcome(
        "Stop at gross",
        masses(g, gross, g.half_width(value), like="tare"),
        ("tare + W₀ (1 − M₀) / (1 − Mₜ)", f"{numbers} = {masses(g, gross, like='tare')}"),
        (("Water to go from loading on", masses(g, water, like="tare")),),
    )


@working(
    key="surface-film",
    group="weight",
    title="What does water on the outside add?",
    question="How much too moist does wet grain read on the scale?",
    asks={"moisture": moist("True moisture", "45"), "film": share("Film of water, of the grain’s weight", "1")},
    methods=("moisture.film_excess_points", "moisture.film_correction"),
    limits="The film itself is seldom known: weigh a sample as you always do, blot or spin it, and weigh it again.",
)
def surface_film(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return moisture.film_excess_points(v["moisture"], v["film"])

    numbers = f"100 × (1 − {g.say('moisture')}) × {g.say('film')} / (1 + {g.say('film')})"
    points = plain(value(g.values), "points", decimals=3)
    return Outcome(
        "Reads too high by",
        plain(value(g.values), "points of moisture", g.half_width(value)),
        ("100 (1 − M) f / (1 + f)", f"{numbers} = {points}"),
    )


@working(
    key="oven-moisture",
    group="weight",
    title="How moist is it, by the oven?",
    question="My sample weighed so much before and after the oven. How moist was it?",
    asks={
        "wet": mass("Before the oven", "5.000", lab=True),
        "dry": mass("After it", "4.775", lab=True, zero=True),
        "first": share("Lost before that in air, of the green weight", "0", high=0.99, hint="Green malt: two stages."),
    },
    methods=("moisture_methods.oven_moisture_wb", "moisture_methods.two_stage_moisture_wb"),
    limits="Raw grain and malt want different ovens: the heat for raw grain makes water out of malt. Say which it was.",
)
def oven_moisture(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return moisture_methods.two_stage_moisture_wb(v["first"], moisture_methods.oven_moisture_wb(v["wet"], v["dry"]))

    in_oven = moisture_methods.oven_moisture_wb(g["wet"], g["dry"])
    numbers = f"({g.say('wet')} − {g.say('dry')}) / {g.say('wet')} = {percent(g, in_oven, decimals=3)}"
    both = f"{g.say('first')} + {percent(g, in_oven, decimals=3)} × (1 − {g.say('first')})"
    two = (f"{both} = {percent(g, value(g.values), decimals=3)}",) if g["first"] > 0 else ()
    return Outcome(
        "Moisture",
        percent(g, value(g.values), g.half_width(value)),
        ("(wet − dry) / wet; in two stages a + b (1 − a)", numbers, *two),
    )


@working(
    key="mixed-moisture",
    group="weight",
    title="How moist is a mixture?",
    question="I charge from several lots. What is the moisture of the whole?",
    asks={
        "masses": row("Weights, one unit for all", "60 40", 0.0, 1e6),
        "moistures": row("Moisture of each, %", "12 14", 0.0, 100.0),
    },
    methods=("moisture.blended_moisture_wb",),
    limits="It takes a day or more until the grain itself has evened out.",
)
def mixed_moisture(g: Given) -> Outcome:
    value = moisture.blended_moisture_wb(g["masses"], [each / 100.0 for each in g["moistures"]])
    parts = " + ".join(f"{kg:g} × {wet:g} %" for kg, wet in zip(g["masses"], g["moistures"], strict=True))
    numbers = f"({parts}) / {sum(g['masses']):g} = {percent(g, value, decimals=3)}"
    return Outcome("Moisture of the whole", percent(g, value, decimals=2), ("Σ mᵢ Mᵢ / Σ mᵢ", numbers), note="")


@working(
    key="wet-and-dry-basis",
    group="weight",
    title="Wet basis or dry basis?",
    question="A paper gives moisture on the other basis. What is that here?",
    asks={
        "value": share("Moisture", "45", high=10.0),
        "basis": choice("That is", ("wb", "of the whole (wet basis)"), ("db", "of the dry matter (dry basis)")),
    },
    methods=("moisture.db_from_wb", "moisture.wb_from_db"),
    limits="Everything in Chitbook is on the wet basis unless it says otherwise.",
)
def wet_and_dry_basis(g: Given) -> Outcome:
    to_dry = g["basis"] == "wb"
    if to_dry and g["value"] >= 1.0:
        raise ValueError("On the wet basis moisture stays below 100 %: did you mean the dry basis?")

    def value(v: Values) -> float:
        return moisture.db_from_wb(v["value"]) if to_dry else moisture.wb_from_db(v["value"])

    formula = "wb / (1 − wb)" if to_dry else "db / (1 + db)"
    numbers = f"{g.say('value')} / (1 {'−' if to_dry else '+'} {g.say('value')})"
    name = "On the dry basis" if to_dry else "On the wet basis"
    return Outcome(
        name,
        percent(g, value(g.values), g.half_width(value)),
        (formula, f"{numbers} = {percent(g, value(g.values), decimals=3)}"),
    )


@working(
    key="start-weight-after-skimming",
    group="weight",
    title="What is my start weight after skimming?",
    question="I skimmed light corn off, or took a sample. What start weight do I reckon with from now on?",
    asks={
        "initial": mass("Weight at the start", "100"),
        "moisture": moist("Moisture at the start", "12"),
        "removed": mass("Taken out", "3", zero=True),
        "removed_moisture": moist("Moisture of what was taken out", "12"),
    },
    methods=("moisture.initial_mass_after_removal_kg", "moisture.dry_matter_kg", "mass_balance.skimmings_share"),
    limits="Wet skimmings are mostly water: give their own moisture, or dry them first.",
)
def start_weight_after_skimming(g: Given) -> Outcome:
    def value(v: Values) -> float:
        dry = moisture.dry_matter_kg(v["removed"], v["removed_moisture"])
        return moisture.initial_mass_after_removal_kg(v["initial"], v["moisture"], dry)

    left = masses(g, value(g.values), g.half_width(value), like="initial")
    taken = mass_balance.skimmings_share(g["removed"], g["removed_moisture"], g["initial"], g["moisture"])
    numbers = f"{g.say('initial')} − {g.say('removed')} × (1 − {g.say('removed_moisture')}) / (1 − {g.say('moisture')})"
    return Outcome(
        "Start weight from now on",
        left,
        ("W₀ − dry matter taken / (1 − M₀)", f"{numbers} = {masses(g, value(g.values), like='initial')}"),
        (("Taken, of the dry matter", percent(g, taken, decimals=2)),),
    )
