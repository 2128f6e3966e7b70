"""Workings of the mass account: what was lost, and what to expect."""

from __future__ import annotations

from app.science import mass_balance
from app.web.workings.asking import mass, share
from app.web.workings.asking import moisture as moist
from app.web.workings.working import Given, Outcome, Values, masses, percent, working


@working(
    key="dry-loss",
    group="account",
    title="How much was lost?",
    question="So much grain became so much malt. How much of the dry matter was lost?",
    asks={
        "initial": mass("Grain, or the weight of a thousand kernels", "42", lab=True),
        "moisture": moist("Its moisture", "15"),
        "final": mass("Malt, or the weight of a thousand of its kernels", "32", lab=True, zero=True),
        "final_moisture": moist("Its moisture", "2"),
    },
    methods=("mass_balance.dry_loss", "mass_balance.dry_loss_with_sd", "mass_balance.dry_matter_with_sd"),
    limits="Samples, spills and skimmings count as lost here: the account of a batch keeps them apart.",
)
def dry_loss(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return mass_balance.dry_loss(v["initial"], v["moisture"], v["final"], v["final_moisture"])

    loss = value(g.values)
    numbers = (
        f"1 − {g.say('final')} × (1 − {g.say('final_moisture')}) / ({g.say('initial')} × (1 − {g.say('moisture')}))"
    )
    return Outcome(
        "Malting loss, dry",
        percent(g, loss, g.half_width(value)),
        ("1 − m (1 − w) / (m₀ (1 − w₀))", f"{numbers} = {percent(g, loss, decimals=3)}"),
        (("Yield as is", percent(g, g["final"] / g["initial"], decimals=1)),),
        status="caution" if loss < 0 else "",
        word="more came out than went in" if loss < 0 else "",
    )


@working(
    key="mass-balance",
    group="plan",
    title="What comes of so much grain?",
    question="I charge so much. How much green malt, water to drive off, and malt should I expect?",
    asks={
        "initial": mass("Grain", "1000"),
        "moisture": moist("Its moisture", "12"),
        "steep": share("Lost in the steep, of the dry matter", "1", high=0.5),
        "respiration": share("Respiration", "5.5", high=0.5),
        "rootlets": share("Rootlets", "3.5", high=0.5),
        "green_moisture": moist("Moisture of the green malt", "45"),
        "malt_moisture": moist("Moisture of the malt", "4.5"),
    },
    methods=("mass_balance.balance",),
    limits="The losses are yours to know: rye lost 5.6 to 16.4 % as its moisture went from 40 to 48 % (Wang et al. "
    "2018). Rootlets dry to the malt’s moisture and come off after.",
)
def balance(g: Given) -> Outcome:
    def found(v: Values) -> mass_balance.Balance:
        losses = (v["steep"], v["respiration"], v["rootlets"])
        return mass_balance.balance(v["initial"], v["moisture"], *losses, v["green_moisture"], v["malt_moisture"])

    out = found(g.values)
    if out.evaporated_kg < 0:
        raise ValueError("The malt can't be moister than the green malt.")

    def shown(kg: float) -> str:
        return masses(g, kg, like="initial")

    losses = f"1 − {g.say('steep')} − {g.say('respiration')} − {g.say('rootlets')}"
    numbers = f"{g.say('initial')} × (1 − {g.say('moisture')}) × ({losses}) / (1 − {g.say('malt_moisture')})"
    return Outcome(
        "Malt",
        masses(g, out.malt_kg, g.half_width(lambda v: found(v).malt_kg), like="initial"),
        ("m₀ (1 − w₀) (1 − losses) / (1 − w)", f"{numbers} = {shown(out.malt_kg)}"),
        (
            ("Green malt", shown(out.green_kg)),
            ("Water to drive off", shown(out.evaporated_kg)),
            ("Culms", shown(out.rootlets_kg)),
            ("Dry matter charged", shown(out.dry_kg)),
            ("Dry matter in the malt", shown(out.malt_dry_kg)),
        ),
    )
