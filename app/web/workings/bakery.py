"""Workings of the bakery: falling numbers of blends, and the dose of malt flour."""

from __future__ import annotations

from app.judgement.cautions import Caution
from app.science import flour
from app.web.workings.asking import mass, number, row, share
from app.web.workings.working import Given, Outcome, Values, masses, percent, plain, working

US_FLOUR = Caution(
    "us_flour",
    "Sold as flour, eaten raw",
    f"In the United States a product sold as flour may hold at most {100 * flour.HIGHEST_US_FLOUR_SHARE:.2f} % of "
    "malted barley flour (21 CFR 137.105). It is no limit on a baker's own dose. Malt flour is not ready to eat: bake "
    "or boil it; not for no-bake dough, cold drinks or infants.",
    "Sold as flour in the US: at most 0.75 %. Bake or boil malt flour.",
    "published: 21 CFR 137.105; Douglas & Flannigan 1988",
)


@working(
    key="falling-number-of-a-blend",
    group="bakery",
    title="What falling number has a blend?",
    question="I mix flours. What falling number has the blend?",
    asks={
        "numbers": row("Falling numbers, s", "400 220", flour.FLOOR_S + 0.01, 2000.0),
        "shares": row("Parts by weight", "50 50", 0.0, 1e6),
    },
    methods=("flour.blend_falling_number_s", "flour.liquefaction_number", "flour.falling_number_s"),
    limits="At or below 62 s the instrument tells nothing: take such a malt’s number from a trial blend.",
    caution=US_FLOUR,
)
def falling_number_of_a_blend(g: Given) -> Outcome:
    value = flour.blend_falling_number_s(g["numbers"], g["shares"])
    loosening = [flour.liquefaction_number(each) for each in g["numbers"]]
    total = sum(g["shares"])
    parts = " + ".join(f"{part:g} × {each:.2f}" for part, each in zip(g["shares"], loosening, strict=True))
    blended = flour.liquefaction_number(value)
    numbers = f"({parts}) / {total:g} = {blended:.2f}; 6000 / {blended:.2f} + 50 = {value:.1f} s"
    return Outcome(
        "Falling number",
        plain(value, "s", decimals=1),
        ("LN = 6000 / (FN − 50), which mixes by weight; FN = 6000 / LN + 50", numbers),
        (("Liquefaction number", plain(blended, decimals=2)),),
        note="",
    )


@working(
    key="dose-of-malt-flour",
    group="bakery",
    title="How much malt flour do I add?",
    question="How much malt flour brings my flour to the falling number I want?",
    asks={
        "flour": number("Falling number of the flour", "400", "s", flour.FLOOR_S + 0.01, 2000),
        "trial": number("Falling number of a trial blend", "300", "s", flour.FLOOR_S + 0.01, 2000),
        "trial_share": share("Malt flour in that trial blend", "0.2", 1e-6, 1.0),
        "target": number("Falling number to reach", "250", "s", flour.FLOOR_S + 0.01, 2000),
        "mass": mass("Flour and malt together", "1000", "35"),
    },
    methods=("flour.share_for_liquefaction", "flour.malt_liquefaction_from_trial", "flour.share_for_target"),
    limits="Malt flour alone reads the instrument’s floor, so its strength comes from a trial blend of this malt and "
    "this flour. Too much makes a sticky crumb: go up in small steps.",
    caution=US_FLOUR,
)
def dose_of_malt_flour(g: Given) -> Outcome:
    def value(v: Values) -> float:
        strength = flour.malt_liquefaction_from_trial(v["flour"], v["trial"], v["trial_share"])
        return flour.share_for_liquefaction(v["flour"], strength, v["target"])

    told = value(g.values)
    strength = flour.malt_liquefaction_from_trial(g["flour"], g["trial"], g["trial_share"])
    start, target = flour.liquefaction_number(g["flour"]), flour.liquefaction_number(g["target"])
    numbers = f"({target:.2f} − {start:.2f}) / ({strength:.1f} − {start:.2f}) = {percent(g, told, decimals=3)}"
    is_over = told > flour.HIGHEST_US_FLOUR_SHARE
    return Outcome(
        "Malt flour, of the whole",
        percent(g, told, g.half_width(value)),
        ("(LN target − LN flour) / (LN malt − LN flour), LN = 6000 / (FN − 50)", numbers),
        (
            ("Malt flour", masses(g, told * g["mass"])),
            ("Liquefaction number of the malt", plain(strength, decimals=1)),
        ),
        status="caution" if is_over else "",
        word="above 0.75 %: not to be sold as flour in the US" if is_over else "",
    )
