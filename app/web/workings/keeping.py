"""Workings of keeping: storage life, how grain dies slowly, and malt in its sack."""

from __future__ import annotations

from app.science import sacks, storage_life
from app.web.workings.asking import choice, mass, number, row, share, temperature
from app.web.workings.asking import moisture as moist
from app.web.workings.working import Given, Outcome, Values, masses, percent, plain, span, working


@working(
    key="how-long-it-keeps",
    group="keeping",
    title="How long will the grain keep?",
    question="Stored at this moisture and warmth, how long does grain keep, and how much of that is gone?",
    asks={
        "purpose": choice("To keep", ("malting", "barley’s germination"), ("quality", "any grain’s quality")),
        "moisture": number("Moisture", "14", "%", 5, 30),
        "temperature": temperature("Warmth", "21.1", "70", -40.0, 26.6667),
        "days": number("Stored so for", "0", "d", 0, 5000),
    },
    methods=(
        "storage_life.malting_bracket_days",
        "storage_life.malting_life_days",
        "storage_life.viability_life_days",
        "storage_life.storage_life_days",
        "storage_life.fraction_used",
        "storage_life.remaining_days",
    ),
    limits="Up to 26.7 °C (80 °F); germination up to 17 % moisture. The table of germination ends at 13 % and 15.6 °C "
    "(60 °F), that of quality at “over 300 days”: drier and colder grain keeps longer than they say. Insects and leaks "
    "are not in it: look at the grain.",
)
def how_long_it_keeps(g: Given) -> Outcome:
    wet, warm = g["moisture"], g["temperature"]
    if g["purpose"] == "malting":
        life = storage_life.malting_bracket_days(wet, warm)
        table = storage_life.malting_life_days(wet, warm)
        equation = life.low_days if table == life.high_days else life.high_days
        formula = (
            "published days; and days from 99 to 95 % alive, v = Kᵢ − p / σ",
            f"{table:.0f} d and {equation:.0f} d",
        )
        note = "Two methods that know nothing of each other. Go by the shorter, and test before you malt."
    else:
        days = storage_life.storage_life_days(wet, warm)
        life = storage_life.Bracket(days, days)
        formula = ("published days, straight in the logarithm between them", f"{days:.1f} d")
        note = ""
    ends = [(days, storage_life.fraction_used(g["days"], days)) for days in (life.low_days, life.high_days)]
    left = [storage_life.remaining_days(share, days) for days, share in ends]
    used = ends[0][1]
    return Outcome(
        "Keeps",
        span(life.low_days, life.high_days, "d"),
        formula,
        (
            ("Used so far", span(100 * ends[1][1], 100 * used, "%")),
            ("Left", span(left[0], left[1], "d")),
        ),
        note=note,
        status="caution" if used >= 1.0 else "",
        word="used up: test it before you trust it" if used >= 1.0 else "",
    )


@working(
    key="storage-life-used",
    group="keeping",
    title="How much of its life is used up?",
    question="The grain lay in several conditions. How much of its life is gone, and how long does it keep from now?",
    asks={
        "days": row("Days in each", "15", 0.0, 5000.0),
        "lives": row("Days it would have kept in each", "30", 0.5, 5000.0),
        "now": number("Days it would keep as it lies now, from the start", "270", "d", 0.5, 5000),
    },
    methods=("storage_life.fraction_used", "storage_life.remaining_days"),
    limits="Life is used up in proportion; drying stops the clock, it does not turn it back.",
)
def storage_life_used(g: Given) -> Outcome:
    used = storage_life.fraction_used(g["days"], g["lives"])
    left = storage_life.remaining_days(used, g["now"])
    parts = " + ".join(f"{days:g} / {life:g}" for days, life in zip(g["days"], g["lives"], strict=True))
    return Outcome(
        "Left from now",
        plain(left, "d", decimals=1),
        ("(1 − Σ days / life) × life now", f"(1 − ({parts})) × {g.say('now')} = {left:.1f} d"),
        (("Used so far", percent(g, used, decimals=1)),),
        note="",
    )


@working(
    key="viability",
    group="keeping",
    title="How much of it will still be alive?",
    question="So much was alive at the start. How much is after this time in closed storage?",
    asks={
        "species": choice(
            "Grain", ("barley", "barley"), ("wheat", "wheat"), ("rye", "rye"), ("maize", "maize"), ("rice", "rice")
        ),
        "initial": number("Alive at the start", "98", "%", 0.1, 99.9, hint="For 50 of 50 grown, 99.5."),
        "moisture": number("Moisture", "10", "%", 5, 25),
        "temperature": temperature("Warmth", "5", "41", -20.0, 90.0),
        "days": number("Time", "365", "d", 0, 20000),
    },
    methods=(
        "storage_life.viability_percent",
        "storage_life.sigma_days",
        "storage_life.viability_constants",
        "storage_life.percent_for_probit",
    ),
    limits="Closed storage, no insects, no mould. Other sets of constants exist for the same species. Grain loses "
    "vigour before it loses life.",
)
def viability(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return storage_life.viability_percent(v["initial"], v["moisture"], v["temperature"], v["days"], g["species"])

    k = storage_life.viability_constants(g["species"])
    sigma = storage_life.sigma_days(g["moisture"], g["temperature"], g["species"])
    exponent = f"{k.ke:g} − {k.cw:g} log₁₀ m − {k.ch:g} t − {k.cq:g} t²"
    numbers = f"log₁₀ σ = {exponent}, m = {g.say('moisture')}, t = {g['temperature']:g} °C: σ = {sigma:.4g} d"
    return Outcome(
        "Alive",
        plain(value(g.values), "%", g.half_width(value)),
        ("v = Kᵢ − p / σ, in probits", numbers),
        (("Loses one probit in", plain(sigma, "d", decimals=1)), ("Constants", k.reference)),
    )


LONGEST_D, MONTH_D = 3652.5, 30.4375


@working(
    key="malt-in-its-sack",
    group="keeping",
    title="How long does malt stay dry in its sack?",
    question="The sack has a closed liner and the store is damp. When has the malt drawn too much water?",
    asks={
        "mass": mass("Malt in the sack", "25"),
        "moisture": moist("Its moisture as packed", "4.5", 0.01, 0.19),
        "limit": moist("Moisture it must not pass", "6", 0.01, 0.19, hint="Up to 6 % malt keeps."),
        "film": choice(
            "The liner is of",
            ("polyethylene", "polyethylene, soft"),
            ("dense_polyethylene", "polyethylene, crackling"),
            ("polypropylene", "polypropylene, clear"),
        ),
        "thickness": number("Its thickness", "100", "µm", 5, 2000, hint="Of one wall. 1 mil is 25 µm."),
        "area": number(
            "Its whole surface", "0.9", "m²", 0.01, 50, hint="Both sides of the sack. 10 square feet: 0.93 m²."
        ),
        "temperature": temperature("The store", "15", "59", 0.0, 40.0),
        "humidity": share("Humidity of the store", "70", 0.05, 0.99),
    },
    methods=(
        "sacks.sack_life_days",
        "sacks.film_transmission",
        "sacks.permeance_kg_per_m2_d_pa",
        "sorption.equilibrium_relative_humidity",
        "storage_life.malt_keeps",
    ),
    limits="For a liner without a hole, closed tight: one left open, or tied loosely, lets in many times more, and "
    "paper or woven sacks alone keep nothing out. The film is taken as open as at 38 °C (100 °F): a cool store keeps "
    "malt longer. Weigh a sack now and then: what it gains is water.",
)
def malt_in_its_sack(g: Given) -> Outcome:
    through = sacks.film_transmission(g["film"], 1e-6 * g["thickness"])

    def days(transmission: float) -> float:
        life = sacks.sack_life_days(
            g["mass"], g["moisture"], g["limit"], g["area"], transmission, g["temperature"], g["humidity"]
        )
        return min(life, LONGEST_D)

    low, high = days(through[1]), days(through[0])
    gain = g["mass"] * (g["limit"] - g["moisture"]) / (1.0 - g["limit"])
    is_for_good = low >= LONGEST_D
    return Outcome(
        "Stays dry enough",
        "ten years and more"
        if is_for_good
        else span(low / MONTH_D, high / MONTH_D, "months", decimals=int(low < MONTH_D)),
        (
            "dw/dt = film × area × (humidity of the store − humidity over the malt) × pressure of saturated vapour",
            f"film {span(*through, 'g/(m² d)', decimals=1)} in its maker’s test, {g.say('area')}, {g.say('humidity')}",
        ),
        (
            ("In days", span(low, high, "d")),
            ("The sack then weighs more by", masses(g, gain)),
        ),
        note="From the most to the least that such films let through.",
        status="fine" if is_for_good else "",
        word="the store is dry enough" if is_for_good else "",
    )
