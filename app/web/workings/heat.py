"""Workings of what heat does: to enzymes while they are wet, and above a ceiling."""

from __future__ import annotations

from app.science import enzymes
from app.web.workings.asking import choice, row, temperature, temperatures
from app.web.workings.asking import moisture as moist
from app.web.workings.working import Given, Outcome, percent, plain, working


@working(
    key="enzyme-survival",
    group="kiln",
    title="How much enzyme does a wet heat leave?",
    question="The grain, or the mash, was so warm for so long while wet. What share of the enzyme is left?",
    asks={
        "enzyme": choice("Enzyme", ("alpha_amylase", "α-amylase"), ("beta_amylase", "β-amylase")),
        "hours": row("Hours", "0 1.2", 0.0, 1000.0, fewest=2),
        "temperatures": temperatures("Temperature at each", "65 65", "149 149", 0.0, enzymes.HIGHEST_TEMPERATURE_C),
        "moisture": moist("Moisture of the grain, at its driest", "45", 0.15, 0.95),
    },
    methods=("enzymes.surviving_fraction", "enzymes.half_life_min", "enzymes.inactivation_rate_per_s"),
    limits="Constants of a mash, from memory. Below 15 % moisture or above 75 °C (167 °F) they say nothing, and no "
    "answer is given: dry malt keeps what a mash would lose in seconds. This is no diastatic power: that is measured.",
)
def enzyme_survival(g: Given) -> Outcome:
    left = enzymes.surviving_fraction(g["hours"], g["temperatures"], g["enzyme"], g["moisture"])
    pairs = zip(g["hours"], g["temperatures"], strict=True)
    numbers = ", ".join(f"{g.words.temperature(warm)} at {hour:g} h" for hour, warm in pairs)
    hottest = max(g["temperatures"])
    half_life = enzymes.half_life_min(hottest, g["enzyme"])
    return Outcome(
        "Left of the enzyme",
        percent(g, left, decimals=1),
        ("dA/dt = −k₀ exp(−Eₐ / RT) A, straight lines between the times", f"{numbers}: {100 * left:.2f} %"),
        (
            (
                f"Half-life at {g.words.temperature(hottest)}",
                plain(half_life, "min", decimals=1) if half_life < 1e5 else "over two months",
            ),
        ),
        note="No ± is given: the constants are from memory, and measured half-lives differ twofold and more.",
    )


@working(
    key="hours-above-a-ceiling",
    group="kiln",
    title="How long was it too hot?",
    question="How long, and by how much, was it hotter than it should be?",
    asks={
        "hours": row("Hours", "0 2", 0.0, 10_000.0, fewest=2),
        "temperatures": temperatures("Temperature at each", "50 70", "122 158", -40.0, 300.0),
        "ceiling": temperature("Ceiling", "60", "140", -40.0, 300.0),
    },
    methods=("enzymes.hours_and_degree_hours_above",),
    limits="Straight lines between the readings: a peak that nobody read is not in it.",
)
def hours_above_a_ceiling(g: Given) -> Outcome:
    above = enzymes.hours_and_degree_hours_above(g["hours"], g["temperatures"], g["ceiling"])
    scale, unit = (1.8, "°F h") if g.words.system == "us" else (1.0, "°C h")
    pairs = zip(g["hours"], g["temperatures"], strict=True)
    numbers = ", ".join(f"{g.words.temperature(warm)} at {hour:g} h" for hour, warm in pairs)
    return Outcome(
        "Hours above",
        plain(above.hours, "h", decimals=2),
        ("area between the curve and the ceiling", f"{numbers}, above {g.say('ceiling')}"),
        (("Degree-hours", plain(scale * above.degree_hours, unit, decimals=2)),),
        note="",
    )
