"""Workings of growth: how far, in what warmth, and what the grain burns for it."""

from __future__ import annotations

from app.judgement import cautions
from app.science import growth
from app.web.workings.asking import count, mass, number, row, share, temperature, temperatures
from app.web.workings.asking import moisture as moist
from app.web.workings.working import Given, Outcome, Values, interval, masses, percent, plain, working

MIDDLES = (0.125, 0.375, 0.625, 0.875)


@working(
    key="mean-acrospire",
    group="growing",
    title="Mean acrospire",
    question="I sorted kernels by the length of the shoot. How far has the growth gone, and how evenly?",
    asks={
        "to_quarter": count("0 to ¼ of the kernel", "2"),
        "quarter_to_half": count("¼ to ½", "3"),
        "half_to_three_quarters": count("½ to ¾", "15"),
        "three_quarters_to_full": count("¾ to 1", "75"),
        "over": count("Longer than the kernel", "5"),
        "overgrown_as": number("An overgrown one counts as", "1.125", "kernel lengths", 1, 2),
    },
    methods=(
        "growth.mean_acrospire",
        "growth.mean_acrospire_with_sd",
        "growth.acrospire_sd",
        "growth.acrospire_bounds",
        "growth.overgrown_share",
        "growth.ungrown_share",
        "growth.evenness_share",
    ),
    limits="Broken, mouldy and doubtful kernels stay out. What an overgrown one counts as is a convention: print it "
    "beside the number, and compare only like with like. Classes hide where in them the kernels lie.",
)
def mean_acrospire(g: Given) -> Outcome:
    counts = [g[name] for name in growth.CLASSES]
    mean = growth.mean_acrospire(counts, g["overgrown_as"])
    mean_and_sd = growth.mean_acrospire_with_sd(counts, g["overgrown_as"]) if sum(counts) >= 2 else (mean, None)
    lowest, highest = growth.acrospire_bounds(counts)
    middles = (*MIDDLES, g["overgrown_as"])
    parts = " + ".join(f"{n} × {middle:g}" for n, middle in zip(counts, middles, strict=True))
    over, laggards = growth.overgrown_share(counts), growth.ungrown_share(counts)
    rows = [
        ("Can truly lie between", plain(lowest, decimals=3), f"and {highest:.3f}: classes hide where in them they lie"),
        ("Overgrown", percent(g, over.share, decimals=1), f"95 % interval {interval(over.low, over.high)}"),
        ("Under a quarter", percent(g, laggards.share, decimals=1), f"95 % {interval(laggards.low, laggards.high)}"),
        ("In two neighbouring classes", percent(g, growth.evenness_share(counts), decimals=1)),
    ]
    if sum(counts) >= 2:
        rows.insert(0, ("Spread", plain(growth.acrospire_sd(counts, g["overgrown_as"]), decimals=3)))
    return Outcome(
        "Mean acrospire, kernel lengths",
        plain(mean, half_width=2.0 * mean_and_sd[1] if mean_and_sd[1] else None, decimals=4),
        ("Σ n × middle of the class / Σ n", f"({parts}) / {sum(counts)} = {mean:.5f}"),
        tuple(rows),
        note="± is half of the 95 % interval that so few kernels leave open.",
    )


@working(
    key="thermal-time",
    group="growing",
    title="Warmth added up",
    question="How much warmth above its base has the grain had?",
    asks={
        "temperatures": temperatures("Temperatures", "22.5", "72.5", -40.0, 100.0),
        "hours": row("Hours of each, or hours at which they were read, from 0", "96", 0.0, 10_000.0),
        "base": temperature("Base temperature", "2.5", "36.5", -40.0, 60.0),
    },
    methods=("growth.thermal_time_c_d",),
    limits="Barley between 1 and 25 °C (34 and 77 °F) has its base near −1.7 °C (29 °F) and half of it germinates at "
    "about 51 °C·d, by a fit to published data. A published base of 15 °C is only the coldest that was tried.",
)
def thermal_time(g: Given) -> Outcome:
    total = growth.thermal_time_c_d(g["temperatures"], g["hours"], g["base"])
    is_read = len(g["hours"]) > 1 and g["hours"][0] == 0
    scale, unit = (1.8, "°F·d") if g.words.system == "us" else (1.0, "°C·d")
    way = "straight lines between the readings" if is_read else "each temperature held for its hours"
    pairs = ", ".join(
        f"{g.words.temperature(each)} for {held:g} h" if not is_read else f"{g.words.temperature(each)} at {held:g} h"
        for each, held in zip(g["temperatures"], g["hours"], strict=True)
    )
    answer = plain(scale * total, unit, decimals=2)
    return Outcome(
        "Thermal time",
        answer,
        ("Σ max(0, T − Tb) Δt", f"{pairs}, above {g.say('base')}: {answer}"),
        (("Reckoned with", way), ("In °C·d" if scale != 1.0 else "In °F·d", _other_sum(total, scale))),
        note="",
    )


def _other_sum(total: float, scale: float) -> str:
    return plain(total, "°C·d", decimals=2) if scale != 1.0 else plain(1.8 * total, "°F·d", decimals=2)


@working(
    key="heat-of-respiration",
    group="growing",
    title="What the grain burns",
    question="How much heat and carbon dioxide come from what the grain breathes away?",
    asks={
        "mass": mass("Grain charged", "1000"),
        "moisture": moist("Its moisture", "12"),
        "burnt": share("Breathed away, of the dry matter", "5", high=0.5),
    },
    methods=("growth.respiration", "moisture.dry_matter_kg"),
    limits="Taken as starch. The heat is why the bed must be turned; the gas lies in the lowest place of the room.",
    caution=cautions.CO2,
)
def heat_of_respiration(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return growth.respiration(v["mass"] * (1.0 - v["moisture"]) * v["burnt"]).heat_kwh

    burnt = g["mass"] * (1.0 - g["moisture"]) * g["burnt"]
    given_off = growth.respiration(burnt)
    numbers = f"{g.say('mass')} × (1 − {g.say('moisture')}) × {g.say('burnt')} = {masses(g, burnt)}"
    return Outcome(
        "Heat",
        plain(value(g.values), "kWh", g.half_width(value)),
        ("17.29 kJ for each gram of starch", f"{numbers} of starch"),
        (
            ("Carbon dioxide", masses(g, given_off.carbon_dioxide_kg)),
            ("Oxygen taken", masses(g, given_off.oxygen_kg)),
            ("Water made", masses(g, given_off.water_kg)),
        ),
    )
