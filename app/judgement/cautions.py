"""Cautions: what can hurt people, said where it can. Each defers to local codes and to licensed practice.

text is for a page that has room; short for the tub, where hands are wet. The source says where a figure comes from.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

DEFERS = "Local codes and licensed practice come first."


@dataclass(frozen=True)
class Caution:
    """One caution. source: where its figures and advice come from, with their marks."""

    key: str
    title: str
    about: str
    short: str
    source: str

    @property
    def text(self) -> str:
        return f"{self.about} {DEFERS}"

    def __str__(self) -> str:
        return self.short


TREATED_SEED = Caution(
    "treated_seed",
    "Is it food?",
    "That grain has no colour proves nothing: exemptions from dyeing exist, dye washes off, and tipped-out seed has "
    "no label. Ask in writing for seed treatment, store insecticide, fumigant and desiccant, and let a named person "
    "declare the answer. Until then nothing made from this lot is food.",
    "That it has no colour proves nothing. Ask in writing what this grain was treated with; until somebody declares "
    "it, it isn't food.",
    "common practice",
)
MOULD = Caution(
    "mould",
    "Mouldy grain harms lungs, and its toxins stay",
    "Don't turn it, sniff it or shake it. Damp it, put on a mask (FFP3 or N100), bag it, and clean the floor wet. "
    "Fever or a tight chest hours later: see a doctor, and say “mouldy grain” (maltworker's lung). Kilning doesn't "
    "remove toxins. Moulds grow in the steep too, so a clean lot doesn't clear the malt.",
    "Don't turn, sniff or shake it. Damp it, mask on (FFP3/N100), bag it, clean wet. Kilning doesn't remove toxins.",
    "published: Riddle et al. 1968, Thorax 23:271 (maltworker's lung); the rest common practice",
)
TOXIN_LIMITS = Caution(
    "toxin_limits",
    "Limits for mould toxins",
    "European Union, in raw grain: deoxynivalenol 1000 µg/kg (not durum, maize, oats); T-2 and HT-2 together 200 µg/kg "
    "in malting barley, 150 in other barley, 50 in wheat and rye; ochratoxin A 5 µg/kg, and 3 in what is made of it. "
    "United States: deoxynivalenol 1 ppm in finished wheat products. They change: look at your own law.",
    "Mould toxins have limits by law: look at your own law.",
    "published, second-hand: (EU) 2023/915, as amended in 2024 for deoxynivalenol and by 2024/1038 for T-2 and HT-2; "
    "ochratoxin A as in (EU) 2022/1370; FDA. Looked at on 1 December 2026",
)
ERGOT = Caution(
    "ergot",
    "Ergot is poisonous",
    "The black or purple horns hold alkaloids that heat doesn't surely destroy. Pick them out with gloves, weigh "
    "them, and keep them away from food and feed. Above 0.2 g in a kilogram of raw grain the grain is rejected.",
    "Pick out with gloves, weigh, keep from food and feed. Above 0.2 g/kg: reject.",
    "published, second-hand: (EU) 2023/915 as amended by 2024/1808, 0.2 g/kg of raw grain, rye from July 2025; "
    "looked at on 30 November 2026; look at your own law",
)
RAW_SPROUT = Caution(
    "raw_sprout",
    "Green malt and malt flour are not ready to eat",
    "Green malt is raw sprout: never eat it. Salmonella and E. coli, where the grain brought any, grow in the steep "
    "and on the floor, and neither show nor smell. Malt and malt flour are not a ready-to-eat food either: kilning is "
    "no validated kill step. Bake or boil; not for no-bake dough, cold drinks or infants.",
    "Never eat green malt: Salmonella and E. coli grow with it. Malt and malt flour must be baked or boiled.",
    "published: Douglas & Flannigan 1988 (bacteria grow in steep and germination); second-hand: FDA and EFSA on "
    "sprouts",
)
KILN = Caution(
    "kiln",
    "Fire, fumes and the kiln",
    "No gas through the bed, and no wood smoke but for a malt that is to be smoked: it makes NDMA (at most 10 ppb in "
    "malt in the United States). A carbon monoxide alarm with any flame. No gas oven with its door open. Nothing "
    "unattended overnight. Fire in an oven: door shut, power off.",
    "Stay with it. Carbon monoxide alarm with any flame. Oven fire: door shut, power off.",
    "published: FDA, CPG Sec. 578.500, looked at on 1 December 2026; look at your own law. The rest common practice",
)
SMOKE = Caution(
    "smoke",
    "Smoke on malt",
    "Smoke brings nitrosamines (NDMA) and tars, and only a laboratory knows how much. Malt below 12 % first; then a "
    "small smouldering fire of dry, clean, untreated hardwood in a box of its own, the smoke led cool, for hours. No "
    "resinous, painted or glued wood, no lighter fluid. Out of doors or led out; a carbon monoxide alarm; never "
    "unattended.",
    "Clean untreated hardwood, smoke low and cool, malt below 12 % first. Carbon monoxide alarm; stay with it.",
    "common practice; the law on NDMA stands with the kiln",
)
ROAST = Caution(
    "roast",
    "A roast can light",
    "Isolate a drum's power before you reach in, and have a spray ready. Roasts near 230 °C (446 °F) can light on "
    "discharge and again in the sack: cool thin to below 30 °C (86 °F) before bagging. Acrylamide peaks in roasted "
    "malt near 160–170 °C (320–338 °F).",
    "Spray ready; power isolated. Cool thin to below 30 °C (86 °F) before it goes into a sack: it can light again.",
    "from memory",
)
CO2 = Caution(
    "co2",
    "Carbon dioxide lies over steeps and beds",
    "Ventilate before you go in, never go alone into a tank or a pit; nose and candle are no test. Above 5000 ppm "
    "over a working day, or 15 000 ppm at all, leave and air the room.",
    "Air the room first. Never alone into a tank or pit. Nose and candle are no test.",
    "published, second-hand: GB EH40, 5000 ppm over 8 h and 15 000 ppm over 15 min",
)
CO = Caution(
    "co",
    "Carbon monoxide kills unseen",
    "Any flame, glowing charcoal or smouldering malt makes it; it has no smell. An alarm in the kiln's room, another "
    "where people sleep. Headache or dizziness: out, everybody, and only then the fuel off, from outside. Above 20 ppm "
    "over a working day, or 100 ppm at all, nobody stays.",
    "Carbon monoxide has no smell. Headache or dizziness: everybody out, fuel off from outside, call for help.",
    "published: Directive 2004/37/EC, Annex III, as amended by 2022/431: 20 ppm over 8 h, 100 ppm short-term",
)
DUST = Caution(
    "dust",
    "Dust",
    "Grain and malt dust sensitises lungs and skin (amylase is a named sensitiser; the limit in Great Britain is 10 "
    "mg/m³, below 2 usually achievable) and explodes. Mask on, no flame, clean without blowing.",
    "Mask on when you rub, sieve or sweep; no flame near dust.",
    "published: Health and Safety Executive (GB)",
)
MAINS = Caution(
    "mains",
    "Mains and wet hands",
    "Everything electric near the tub hangs on a residual-current device.",
    "Residual-current device on everything near water.",
    "common practice",
)
PHOSPHINE = Caution(
    "phosphine",
    "Fumigated grain and tanks",
    "Phosphine smells of garlic or fish, or of nothing; it sinks, and grain gives it off for days after it was aired. "
    "What bears a fumigation placard is opened, entered and emptied only once a licensed fumigator has cleared it by "
    "meter: above 0.3 ppm over a working day nobody stays. Pellets or grey powder in the grain: leave it, keep it dry "
    "(water makes more gas), ask who sold it.",
    "Fumigated? Only once a licensed fumigator cleared it. Pellets or grey powder in grain: leave it, keep it dry.",
    "published: OSHA's limit, by NIOSH (PEL 7803-51-2); GRDC 2017 (grain goes on giving it off); the rest common "
    "practice",
)
VESSELS = Caution(
    "vessels",
    "What water and wet grain touch",
    "Steep water turns sour and takes metal up. No lead (old paint, solder), no copper or brass, nothing galvanised: "
    "stainless steel, or plastic made for food. Water and hose are those for drinking.",
    "Stainless steel or food plastic: no lead, no copper, nothing galvanised. Drinking water.",
    "published, second-hand: FDA Food Code 4-101.15 (zinc goes into sour food); the rest common practice",
)
LIFTING = Caution(
    "lifting",
    "Lifting",
    "Steeped, grain weighs half as much again, and a full tub holds its water besides. Drain it first; lift in parts, "
    "or in twos; keep the floor where you carry dry.",
    "Steeped, it weighs half as much again: drain first, lift in parts or in twos.",
    "reckoned: from 13 to 45 % of moisture; the rest common practice",
)
SCALDS = Caution(
    "scalds",
    "Scalds",
    "Hot water, steam and hot trays: lids open away from you, gloves on, no child near. A burn goes under cool running "
    "water for twenty minutes; a large one to a doctor.",
    "Steam and hot trays scald: gloves on, lids away from you.",
    "common practice",
)
CLEANERS = Caution(
    "cleaners",
    "Lye, acid, chlorine, peroxide",
    "Never acid and chlorine together, nor one after the other without a rinse between: that makes chlorine gas. Lye "
    "into water, never water into lye. Goggles and gloves on; peroxide stays in its own vented bottle. Go by the "
    "label, then rinse with drinking water until nothing of it is left. In an eye: running water for a quarter of an "
    "hour, and a doctor.",
    "Never mix acid with chlorine. Goggles and gloves; lye into water; rinse well.",
    "common practice",
)
GLUTEN = Caution(
    "gluten",
    "Gluten and cross-contact",
    "Barley, wheat, rye and their malts hold gluten; rules on oats differ by country. Two species in one tub are in "
    "contact: say so on the label.",
    "Two species in one tub are in contact: say so on the label.",
    "common practice",
)
PRUSSIC_ACID = Caution(
    "prussic_acid",
    "Sorghum makes prussic acid as it grows",
    "8–38 µg in a gram of the grain, 78–136 once malted, where 20 µg for each kilogram of body weight is the most at "
    "once. Never eat it green. Rub and sieve off all roots and shoots, and keep them from food and feed. Use the malt "
    "only boiled, uncovered, in moving air. Much that is sold as millet is sorghum, and other millets may hold some: "
    "treat each so until its botanical name says otherwise.",
    "Prussic acid: never eat it green. Remove all roots and shoots; keep them from food and feed. Boil it uncovered.",
    "published: Osuntogun et al. 1989, Cereal Chem. 66:87; second-hand: EFSA 2019; the rest common practice",
)
SORGHUM_NAMES = frozenset(
    {
        *("sorghum", "sorgho", "sorgo", "milo", "jowar", "jowari", "durra", "dhurra", "kafir", "kaoliang", "feterita"),
        *("guinea", "broomcorn", "sudangrass", "millet", "millets", "hirse", "mohrenhirse", "bajra", "ragi"),
    }
)
"""Words by which sorghum and its relations go; a millet counts too, for its name alone tells too little."""

GLUTEN_GRAINS = frozenset({"barley", "wheat", "spelt", "emmer", "einkorn", "durum", "rye", "triticale"})
"""The grains that hold gluten, and their crosses; oats are counted among them in some countries only."""

NOT_READY_TO_EAT = "Not ready to eat: bake or boil it. Not for no-bake dough, cold drinks or infants."
NOT_READY_UNBOILED = "Not ready to eat: boil it. Not for no-bake dough, cold drinks or infants."


def label_texts(species: Iterable[str], others: Iterable[str] = ()) -> tuple[str, ...]:
    """What a label must say, in words short enough for it. others: what else is malted in the same house."""
    own = sorted(set(species))
    holding = [grain for grain in own if grain in GLUTEN_GRAINS]
    gluten = f"Contains gluten: {_listed(holding)}." if holding else f"Made of {_listed(own)}: ask about gluten."
    beside = sorted(set(others) - set(own))
    said = f"{gluten} Malted in a house that also malts {_listed(beside)}." if beside else gluten
    of_grain = (PRUSSIC_ACID.short,) if for_species(own) else ()
    return (NOT_READY_UNBOILED if of_grain else NOT_READY_TO_EAT, said, *of_grain)


def _listed(words: Sequence[str]) -> str:
    return " and ".join([*([", ".join(words[:-1])] if len(words) > 1 else []), *words[-1:]])


BY_STAGE: Mapping[str, tuple[Caution, ...]] = MappingProxyType(
    {
        "charged": (TREATED_SEED, VESSELS, LIFTING, DUST),
        "immersion": (CO2, MAINS),
        "air_rest": (CO2, MAINS),
        "germination": (CO2, RAW_SPROUT),
        "stewing": (KILN, CO, SCALDS, RAW_SPROUT),
        "kilning": (KILN, CO, RAW_SPROUT),
        "cooling": (DUST, RAW_SPROUT),
    }
)


def for_stage(stage: str, purpose: str, species: Iterable[str]) -> tuple[Caution, ...]:
    """What to keep in mind at a stage of this grain, by the programme's purpose."""
    of_roast = (ROAST,) if purpose in ("roasted", "roasted_grain") and stage in ("kilning", "cooling") else ()
    of_stage = BY_STAGE.get(stage, ())
    of_smoke = (SMOKE,) if purpose == "smoked" and stage == "kilning" else ()
    return (*of_roast, *of_smoke, *for_species(species), *of_stage)


def for_species(species: Iterable[str]) -> tuple[Caution, ...]:
    """What a grain brings with it, by whatever programme it is malted."""
    words = {word for each in species for word in re.split(r"[^a-z]+", each.lower())}
    return (PRUSSIC_ACID,) if words & SORGHUM_NAMES else ()
