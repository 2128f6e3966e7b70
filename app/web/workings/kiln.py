"""Workings of the kiln: how long a bed takes, and what hard drying costs seed."""

from __future__ import annotations

from typing import Any

from app.judgement import cautions
from app.science import curing, drying
from app.web.workings.asking import difference, number, temperature
from app.web.workings.asking import moisture as moist
from app.web.workings.working import Given, Outcome, Values, hours, percent, plain, span, working


@working(
    key="how-long-on-the-kiln",
    group="kiln",
    title="How long on the kiln?",
    question="My weighings fell so fast at first, and so fast towards the end. How long to the moisture I want?",
    asks={
        "start": moist("Moisture at the start", "44.4444"),
        "target": moist("Target moisture", "20"),
        "constant": number("Falls at first, kg water for each kg dry matter", "0.06", "per h", 1e-5, 5),
        "falling": number("Falling rate", "0.3", "per h", 1e-4, 20),
        "end": moist("Driest that the air makes it", "4.7619", high=0.5),
    },
    methods=("kiln_bed.drying_time_h", "kiln_bed.break_point_db", "kiln_bed.moisture_after_db"),
    limits="Two regimes, one air: change the air-on and the rates are others. Take them from tray weighings, not a "
    "book: a thin layer in a book dries ten times faster than a bed.",
    caution=cautions.KILN,
)
def how_long_on_the_kiln(g: Given) -> Outcome:
    def value(v: Values) -> float:
        first, wanted, driest = _dry_basis(v, "start", "target", "end")
        return drying.drying_time_h(wanted, first, v["constant"], v["falling"], driest)

    start, target, end = _dry_basis(g.values, "start", "target", "end")
    turn = drying.break_point_db(g["constant"], g["falling"], end)
    numbers = f"from {start:.4f} to {target:.4f} kg/kg dry basis, toward {end:.4f}: {value(g.values):.2f} h"
    return Outcome(
        "Time",
        hours(value(g.values), g.half_width(value)),
        ("dM/dt = −min(r, k (M − Mₑ)); break point Mₑ + r / k", numbers),
        (("Break point", percent(g, turn / (1.0 + turn), decimals=1)),),
    )


def _dry_basis(v: Values, *keys: str) -> tuple[Any, ...]:
    return tuple(v[key] / (1.0 - v[key]) for key in keys)


@working(
    key="germination-lost-by-drying",
    group="kiln",
    title="How much seed does drying kill?",
    question="I dry barley that must still grow. How much germination does this air cost?",
    asks={
        "depression": difference("Dry bulb less wet bulb", "19.2", "34.56"),
        "initial": number("Moisture at the start, dry basis", "30", "%", 10, 120),
        "layer": temperature("Air, for the rate of a thin layer", "50", "122", 0.0, 120.0),
    },
    methods=(
        "drying.germination_loss_percent",
        "drying.falling_rate_per_h",
        "drying.falling_equilibrium_db_percent",
        "drying.lewis_rate_per_s",
    ),
    limits="Thin layers of one barley. Malt is dried to stop it growing: this is for seed and for raw grain.",
)
def germination_lost_by_drying(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return drying.germination_loss_percent(v["depression"], v["initial"])

    rate = drying.falling_rate_per_h(g["depression"], g["initial"])
    thin = drying.lewis_rate_per_s(g["layer"])
    half = drying.page_time_h(0.5, 3600.0 * thin, 1.0)
    numbers = f"{g.say('initial')} × (0.063 exp(0.0788 × {g['depression']:g} − 0.00417 × {g['initial']:g}) − 0.085)"
    return Outcome(
        "Germination lost",
        plain(value(g.values), "points", g.half_width(value)),
        ("D = M₀ (0.063 exp(0.0788 ΔT − 0.00417 M₀) − 0.085), ΔT in °C", f"{numbers} = {value(g.values):.2f}"),
        (
            ("Falling rate", plain(rate, "per h", decimals=4)),
            (
                "which leads to, dry basis",
                plain(drying.falling_equilibrium_db_percent(g["depression"]), "%", decimals=2),
            ),
            ("Thin layer in that air, Lewis", f"{thin:.4g}\u00a0per\u00a0s"),
            ("half of the water gone in", plain(60.0 * half, "min", decimals=0)),
        ),
    )


@working(
    key="curing-for-dms",
    group="kiln",
    title="How long must I cure at another heat?",
    question="So many hours at one heat keep the sweetcorn smell (DMS) out of the beer. How many at another?",
    asks={
        "hours": number("Cured for", "3", "h", 0.1, 48),
        "temperature": temperature("at a grain heat of", "90", "194", curing.COLDEST_C, curing.HOTTEST_C),
        "other": temperature("I want to cure at", "84", "183.2", curing.COLDEST_C, curing.HOTTEST_C),
    },
    methods=("curing.equivalent_hours", "curing.activation_j_per_mol"),
    limits="Only of the forerunner of DMS. Colour and enzymes go by laws of their own: hotter costs more enzymes and "
    "gives more colour. Heat of the grain, not of the air, and dry grain: below 8 % moisture, common practice.",
    caution=cautions.KILN,
)
def curing_for_dms(g: Given) -> Outcome:
    low, high = curing.equivalent_hours(g["hours"], g["temperature"], g["other"])
    by_curing, by_boiling = (each / 1000.0 for each in (curing.BY_CURING_J_PER_MOL, curing.BY_BOILING_J_PER_MOL))
    return Outcome(
        "Cure for",
        span(low, high, "h", decimals=1),
        (
            "t₂ = t₁ exp(E / R (1 / T₂ − 1 / T₁)), T in kelvin",
            f"{g.say('hours')} from {g.say('temperature')} to {g.say('other')}, "
            f"E = {by_curing:.0f} kJ/mol and {by_boiling:.0f} kJ/mol",
        ),
        note="From the one source to the other: two curings of a product sheet, and boiling wort. Take the longer.",
    )
