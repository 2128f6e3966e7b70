"""Workings of growth: how far, in what warmth, and what the grain burns for it."""

from __future__ import annotations

import math

from app.judgement import cautions
from app.judgement.flags.limits import ROOM_CO2
from app.science import growth, humid_air, ventilation
from app.web.workings.asking import Ask, altitude, count, length, mass, number, row, share, temperature, temperatures
from app.web.workings.asking import moisture as moist
from app.web.workings.working import (
    Given,
    Outcome,
    Values,
    air_flow_said,
    interval,
    masses,
    percent,
    plain,
    span,
    working,
)

ANY_UNIT = "Such as m³/h a square metre; the same unit for both."
PA_PER_MM_WATER = 9.80665
PA_PER_INCH_WATER = 25.4 * PA_PER_MM_WATER
MIDDLES = (0.125, 0.375, 0.625, 0.875)


@working(
    key="mean-acrospire",
    group="growing",
    title="How far has it grown?",
    question="I sorted kernels by the length of the acrospire. What is its mean, and how even is the growth?",
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
    title="How much warmth has it had?",
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
    title="What has the grain burnt?",
    question="How much heat and carbon dioxide come from what the grain breathes away?",
    asks={
        "mass": mass("Grain charged", "1000"),
        "moisture": moist("Its moisture", "12"),
        "burnt": share("Respiration, of the dry matter", "5", high=0.5),
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


def _bed() -> dict[str, Ask]:
    """The bed, by what was charged, and how fast it breathes."""
    return {
        "mass": mass("Grain charged", "25"),
        "moisture": moist("Its moisture as charged", "12"),
        "loss": share(
            "Respiration in a day, of the dry matter",
            "1.1",
            high=0.05,
            hint="About 1 % while it grows, up to twice that when it is warm or half grown, from memory.",
        ),
    }


def _breath(v: Values) -> growth.Respiration:
    return ventilation.breathed_in_an_hour(v["mass"] * (1.0 - v["moisture"]), v["loss"])


@working(
    key="air-to-cool-the-bed",
    group="growing",
    title="How much air keeps the bed cool?",
    question="The growing grain makes heat. How much air must go through the bed so that it gets no warmer?",
    asks={
        **_bed(),
        "air": temperature("Air blown in", "12", "53.6", -10.0, 40.0),
        "humidity": share("Its humidity", "95", 0.05, 1.0, hint="Damp it first: dry air takes the bed’s water."),
        "bed": temperature("Warmest the bed may be, where the air leaves", "15", "59", 0.0, 40.0),
        "altitude": altitude(),
    },
    methods=("ventilation.cooling_air", "ventilation.breathed_in_an_hour", "growth.respiration"),
    limits="Air that leaves as warm as the bed and full of water, and heat that goes no other way. A thin bed on a "
    "cold floor gives its heat off without a fan. Take a fan for twice the loss of a usual day.",
    caution=cautions.CO2,
)
def air_to_cool_the_bed(g: Given) -> Outcome:
    def found(v: Values) -> ventilation.CoolingAir:
        pressure = humid_air.standard_pressure_pa(v["altitude"] or 0.0)
        return ventilation.cooling_air(_breath(v).heat_kj / 3600.0, v["air"], v["humidity"], v["bed"], pressure)

    def value(v: Values) -> float:
        return found(v).air_m3_per_h

    air, heat_kw = found(g.values), _breath(g.values).heat_kj / 3600.0
    return Outcome(
        "Air, as it is blown in",
        air_flow_said(g, air.air_m3_per_h, g.half_width(value)),
        (
            "heat = air × (heat content out − in − heat in the water taken up)",
            f"{1000.0 * heat_kw:.0f} W; {g.say('air')}, {g.say('humidity')} in; {g.say('bed')}, 100 % out",
        ),
        (
            ("Heat of the bed", plain(1000.0 * heat_kw, "W", decimals=0)),
            ("Water it takes from the bed in a day", masses(g, max(24.0 * air.water_kg_per_h, 0.0))),
        ),
    )


@working(
    key="air-in-the-room",
    group="growing",
    title="Is the air in the room safe?",
    question="Grain grows in a room that is shut. How much carbon dioxide is there, and how much air does it want?",
    asks={
        **_bed(),
        "room": number("The room holds", "40", "m³", 0.5, 1e5, hint="Length × width × height. 100 ft³ are 2.8 m³."),
        "changes": number("Its air is changed", "0.3", "times an hour", 0, 60, hint="0.1 to 0.5 shut, from memory."),
        "hours": number("Shut for", "12", "h", 0, 1000),
        "temperature": temperature("Air", "15", "59", -10.0, 40.0),
    },
    methods=(
        "ventilation.room_ppm",
        "ventilation.fresh_air_m3_per_h",
        "ventilation.carbon_dioxide_m3",
        "ventilation.breathed_in_an_hour",
    ),
    limits="The gas is taken as mixed through the room. It is heavier than air: over a bed, in a tub, a pit or a "
    "cellar there is far more than this says. Only a meter at the place tells whether one may go in.",
    caution=cautions.CO2,
)
def air_in_the_room(g: Given) -> Outcome:
    gas_kg = _breath(g.values).carbon_dioxide_kg
    gas = ventilation.carbon_dioxide_m3(gas_kg, g["temperature"])
    then, last = (ventilation.room_ppm(gas, g["room"], g["changes"], hours) for hours in (g["hours"], math.inf))
    caution, act = ROOM_CO2.high_caution or 0.0, ROOM_CO2.high_act or 0.0
    status = "act" if then >= act else "caution" if then >= caution else ""
    numbers = f"{1000.0 * gas:.0f} L/h in {g.say('room')}, {g.say('changes')}, {g.say('hours')}"
    return Outcome(
        "Carbon dioxide by then",
        _parts(then),
        ("c = c₀ + q / (n V) (1 − exp(−n t)), c₀ = 420 ppm", numbers),
        (
            ("Left shut for good", _parts(last)),
            (
                f"Fresh air that keeps it under {caution:.0f} ppm",
                air_flow_said(g, ventilation.fresh_air_m3_per_h(gas, caution)),
                "the limit of a working day",
            ),
            ("Carbon dioxide in an hour", masses(g, gas_kg)),
        ),
        note="As good as the loss of a day is known: a factor of two is easily off. Go by a meter.",
        status=status,
        word={"act": "stay out: air it first", "caution": "air it before you work there"}.get(status, ""),
    )


def _parts(ppm: float) -> str:
    """No finer than three digits: the grain’s breath is guessed."""
    return plain(float(f"{ppm:.3g}"), "ppm", decimals=0)


@working(
    key="pressure-under-a-bed",
    group="growing",
    title="How hard must the fan blow?",
    question="I measured the pressure under a bed of this grain. What does a deeper one, or more air, ask of the fan?",
    asks={
        "pressure": number("Pressure measured under the bed", "60", "Pa", 0.1, 10_000, hint="1 mm of water is 9.8 Pa."),
        "depth": length("Its depth", "30", "12"),
        "flow": number("Air then, for each area of floor", "200", "", 0.1, 1e5, hint=ANY_UNIT),
        "new_depth": length("Depth of the other bed", "60", "24"),
        "new_flow": number("Air for each area of the other’s floor", "300", "", 0.1, 1e5),
    },
    methods=("ventilation.bed_pressure_pa",),
    limits="The same grain, as wet and as far grown. Loosely poured wet grain resists a fifth less than dry, packed "
    "grain up to half more (ASAE D272). Matted roots stop air altogether: turn first. Floor, ducts and damper come on "
    "top. The pressure is read with a clear hose, half full of water, let in under the floor.",
)
def pressure_under_a_bed(g: Given) -> Outcome:
    deeper, faster = g["new_depth"] / g["depth"], g["new_flow"] / g["flow"]
    low, high = ventilation.bed_pressure_pa(g["pressure"], deeper, faster)
    return Outcome(
        "Under the other bed",
        span(low, high, "Pa"),
        (
            "pressure × depths × air, to pressure × depths × air²",
            f"{g.say('pressure')} × {deeper:.3g} × {faster:.3g}, to {g.say('pressure')} × {deeper:.3g} × {faster:.3g}²",
        ),
        (
            ("In water", span(low / PA_PER_MM_WATER, high / PA_PER_MM_WATER, "mm")),
            ("In inches of water", span(low / PA_PER_INCH_WATER, high / PA_PER_INCH_WATER, "in", decimals=2)),
        ),
        note="The truth lies between: slow air goes by the first, fast air towards the second.",
    )
