"""Workings of malt in the hand. A diastatic power is only ever converted or shared out: it is measured or unknown."""

from __future__ import annotations

from app.science import malt_analysis
from app.web.workings.asking import choice, mass, number, row
from app.web.workings.working import Given, Outcome, Values, percent, plain, working

MEASURED = "Only of a power that was measured. None is reckoned from kiln, colour or growth: nobody can."


@working(
    key="extract",
    group="malt",
    title="How much extract does it give?",
    question="I mashed so much malt in so much water and read the wort. How much did the malt give?",
    asks={
        "plato": number("Wort", "8.60", "°P", 0.01, 40),
        "moisture": number("Moisture of the malt", "4.5", "%", 0, 60),
        "malt": mass("Malt mashed", "50", lab=True),
        "water": mass(
            "All the water, at the end", "400", lab=True, hint="A congress mash of 50 g made up to 450 g: 400 g."
        ),
    },
    methods=("malt_analysis.extract_as_is_percent", "malt_analysis.extract_dry_percent"),
    limits="Filter the wort and read it at 20 °C (68 °F). A kitchen mash gives less than a laboratory’s fine grind.",
)
def extract(g: Given) -> Outcome:
    def as_is(v: Values) -> float:
        return malt_analysis.extract_as_is_percent(v["plato"], v["moisture"], 1000 * v["malt"], 1000 * v["water"])

    def dry(v: Values) -> float:
        return malt_analysis.extract_dry_percent(v["plato"], v["moisture"], 1000 * v["malt"], 1000 * v["water"])

    ratio = f"100 × {g.say('water')} / {g.say('malt')}"
    numbers = f"{g.say('plato')} × ({g.say('moisture')} + {ratio}) / (100 − {g.say('plato')})"
    return Outcome(
        "Extract, dry",
        plain(dry(g.values), "%", g.half_width(dry)),
        ("E = P (M + 100 water / malt) / (100 − P); dry 100 E / (100 − M)", f"{numbers} = {as_is(g.values):.2f} %"),
        (("Extract as is", plain(as_is(g.values), "%", g.half_width(as_is))),),
    )


@working(
    key="plato-and-gravity",
    group="malt",
    title="Plato, gravity or Brix?",
    question="What is this reading on the other scale?",
    asks={
        "value": number("Reading", "1.040", "", 0, 40),
        "scale": choice("It is", ("sg", "specific gravity"), ("plato", "°Plato"), ("brix", "°Brix, refractometer")),
        "factor": number("Correction of the refractometer", "1.04", "", 0.9, 1.2, hint="Find it beside a hydrometer."),
    },
    methods=("malt_analysis.plato_from_sg", "malt_analysis.sg_from_plato", "malt_analysis.plato_from_refractometer"),
    limits="Gravity 20/20 °C (68 °F), from 0.999 to 1.179. A refractometer only before anything ferments.",
)
def plato_and_gravity(g: Given) -> Outcome:
    def plato(v: Values) -> float:
        if g["scale"] == "sg":
            return malt_analysis.plato_from_sg(v["value"])
        if g["scale"] == "brix":
            return malt_analysis.plato_from_refractometer(v["value"], v["factor"])
        return float(v["value"])

    def gravity(v: Values) -> float:
        return malt_analysis.sg_from_plato(plato(v))

    formulas = {
        "sg": "°P = 135.997 S³ − 630.272 S² + 1111.14 S − 616.868",
        "plato": "S from °P = 135.997 S³ − 630.272 S² + 1111.14 S − 616.868",
        "brix": f"°P = °Bx / factor = {g.say('value')} / {g.say('factor')}",
    }
    said = f"{g.say('value')}: {plato(g.values):.3f} °P, {gravity(g.values):.4f}"
    return Outcome(
        "°Plato",
        plain(plato(g.values), "°P", g.half_width(plato)),
        (formulas[g["scale"]], said),
        (("Specific gravity", plain(gravity(g.values), decimals=4)),),
    )


@working(
    key="lintner-and-windisch-kolbach",
    group="malt",
    title="Lintner or Windisch-Kolbach?",
    question="A laboratory gave the diastatic power in the other unit. What is it here?",
    asks={
        "value": number("Diastatic power, as measured", "250", "", 0, 2000),
        "unit": choice("In", ("wk", "°WK"), ("l", "°Lintner")),
    },
    methods=("malt_analysis.windisch_kolbach_from_lintner", "malt_analysis.lintner_from_windisch_kolbach"),
    limits=MEASURED,
)
def lintner_and_windisch_kolbach(g: Given) -> Outcome:
    is_wk = g["unit"] == "wk"

    def value(v: Values) -> float:
        if is_wk:
            return malt_analysis.lintner_from_windisch_kolbach(v["value"])
        return malt_analysis.windisch_kolbach_from_lintner(v["value"])

    symbol = "°L" if is_wk else "°WK"
    numbers = f"({g.say('value')} + 16) / 3.5" if is_wk else f"3.5 × {g.say('value')} − 16"
    return Outcome(
        "Diastatic power",
        plain(value(g.values), symbol, g.half_width(value)),
        ("°L = (°WK + 16) / 3.5" if is_wk else "°WK = 3.5 °L − 16, not below 0", f"{numbers} = {value(g.values):.1f}"),
    )


@working(
    key="colour-units",
    group="malt",
    title="EBC, SRM or Lovibond?",
    question="What is this colour in the other units?",
    asks={
        "value": number("Colour", "10", "", 0, 5000),
        "unit": choice("In", ("lovibond", "°Lovibond"), ("srm", "SRM"), ("ebc", "EBC")),
    },
    methods=(
        "malt_analysis.ebc_from_lovibond",
        "malt_analysis.lovibond_from_ebc",
        "malt_analysis.srm_from_lovibond",
        "malt_analysis.ebc_from_srm",
        "malt_analysis.srm_from_ebc",
    ),
    limits="The step between SRM and Lovibond is from memory, and colours of roasted malt differ between laboratories.",
)
def colour_units(g: Given) -> Outcome:
    def ebc(v: Values) -> float:
        if g["unit"] == "lovibond":
            return malt_analysis.ebc_from_lovibond(v["value"])
        return malt_analysis.ebc_from_srm(v["value"]) if g["unit"] == "srm" else float(v["value"])

    value = ebc(g.values)
    shown = {"lovibond": "°Lovibond", "srm": "SRM", "ebc": "EBC"}[g["unit"]]
    return Outcome(
        "Colour",
        plain(value, "EBC", g.half_width(ebc)),
        ("EBC = 1.97 SRM; SRM = 1.3546 °Lovibond − 0.76, not below 0", f"{g.say('value')} {shown} = {value:.2f} EBC"),
        (
            ("SRM", plain(malt_analysis.srm_from_ebc(value), decimals=2)),
            ("°Lovibond", plain(malt_analysis.lovibond_from_ebc(value), decimals=2)),
        ),
    )


@working(
    key="unmalted-share",
    group="malt",
    title="How much raw grain may the grist hold?",
    question="My malt has so much power. How much of the grist may be raw grain, and the mash still converts?",
    asks={
        "power": number("Diastatic power of the malt, as measured", "140", "°L", 0.1, 600),
        "needed": number("The grist needs", "35", "°L", 0, 600, hint="30 to 40 °L, common practice."),
    },
    methods=("malt_analysis.largest_unmalted_share",),
    limits=f"{MEASURED} Raw grain must be gelatinised first; a rest at 62–65 °C (144–149 °F) is taken for granted.",
)
def unmalted_share(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return malt_analysis.largest_unmalted_share(v["power"], v["needed"])

    told = value(g.values)
    return Outcome(
        "Unmalted, at the most",
        percent(g, told, g.half_width(value) if told > 0 else None),
        ("1 − needed / malt", f"1 − {g.say('needed')} / {g.say('power')} = {percent(g, told, decimals=2)}"),
        status="caution" if told <= 0 else "",
        word="no power to spare" if told <= 0 else "",
    )


@working(
    key="grist",
    group="malt",
    title="What does a mixture of malts have?",
    question="I mix several malts. What has the whole of a property that mixes by weight?",
    asks={
        "masses": row("Weights, one unit for all", "60 40", 0.0, 1e6),
        "values": row("Property of each, as measured", "100 0", 0.0, 1e5),
    },
    methods=("malt_analysis.blended",),
    limits=f"Extract, protein and power mix by weight; colour only nearly so. {MEASURED}",
)
def grist(g: Given) -> Outcome:
    value = malt_analysis.blended(g["values"], g["masses"])
    parts = " + ".join(f"{kg:g} × {worth:g}" for kg, worth in zip(g["masses"], g["values"], strict=True))
    numbers = f"({parts}) / {sum(g['masses']):g} = {value:.3f}"
    return Outcome("Of the whole", plain(value, decimals=2), ("Σ mᵢ xᵢ / Σ mᵢ", numbers), note="")


@working(
    key="kolbach-and-protein",
    group="malt",
    title="How much of the protein dissolved?",
    question="The laboratory gave nitrogen. How much protein is that, and what is its Kolbach index?",
    asks={
        "soluble": number("Soluble nitrogen", "0.70", "%", 0, 15),
        "total": number("Total nitrogen", "1.75", "%", 0.01, 15),
        "factor": number("Nitrogen to protein", "6.25", "", 5, 7, hint="6.25 for barley and malt; 5.7 for wheat."),
    },
    methods=("malt_analysis.kolbach_index", "malt_analysis.protein_percent"),
    limits="Both nitrogens on the malt’s basis. The factor for wheat is from memory.",
)
def kolbach_and_protein(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return malt_analysis.kolbach_index(v["soluble"], v["total"])

    protein = malt_analysis.protein_percent(g["total"], g["factor"])
    return Outcome(
        "Kolbach index",
        plain(value(g.values), "%", g.half_width(value)),
        ("100 soluble N / total N", f"100 × {g.say('soluble')} / {g.say('total')} = {value(g.values):.2f} %"),
        (("Protein", plain(protein, "%", decimals=2), f"{g.say('factor')} × {g.say('total')}"),),
    )


@working(
    key="kitchen-conversion",
    group="malt",
    title="How strong is it, against a malt I know?",
    question="My malt and a reference malt turned the same gel. How do they compare?",
    asks={
        "minutes": number("Minutes to no blue", "10", "min", 0.5, 600),
        "reference": number("Minutes of the reference malt", "20", "min", 0.5, 600),
    },
    methods=("malt_analysis.conversion_against_reference",),
    limits="Same gel, same heat, same weight of malt, side by side. The house’s own scale, and no diastatic power.",
)
def kitchen_conversion(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return malt_analysis.conversion_against_reference(v["minutes"], v["reference"])

    numbers = f"{g.say('reference')} / {g.say('minutes')} = {value(g.values):.2f}"
    return Outcome(
        "Against the reference",
        plain(value(g.values), "times", g.half_width(value)),
        ("minutes of the reference / minutes of this malt", numbers),
    )
