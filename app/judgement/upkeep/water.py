"""What an analysis of the water means for a steep: each figure with what it does, and by whose word."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

from app.judgement.facts.fields import Quantity
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Analysis
from app.judgement.wording import Words
from app.science.units import to_si

GRAVITY = ("none", "fine", "notice", "caution", "act")
NOT_TO_STEEP_IN = "Don’t steep in it until it is put right: what touches food is drinking water."
LOOKED_AT = "Looked at on 1 December 2026; look at your own law"
SECONDARY = f"a secondary level for drinking water (40 CFR 143.3); the rest from memory. {LOOKED_AT}"
UNUSUAL = "Outside what is usual of drinking water: ask why."


@dataclass(frozen=True)
class WaterFigure:
    """One figure of an analysis. status: none, fine, notice, caution or act; source: whose word it is, and its mark."""

    key: str
    word: str
    shown: str
    status: str
    meaning: str
    source: str


class Bound(NamedTuple):
    """What is said of a figure beyond it, and how grave that is."""

    value: float
    status: str
    remedy: str


@dataclass(frozen=True)
class Rule:
    """What a figure does to a steep, by whose word; and what is said below and above its bounds, the mildest first."""

    matters: str
    source: str
    below: tuple[Bound, ...] = ()
    above: tuple[Bound, ...] = ()

    def told(self, value: float) -> tuple[str, str]:
        """Status and meaning."""
        beyond = [bound for bound in self.below if value < bound.value]
        beyond += [bound for bound in self.above if value > bound.value * (1.0 + 1e-9)]
        if beyond:
            return beyond[-1].status, f"{beyond[-1].remedy} {self.matters}"
        return "fine" if self.below or self.above else "none", self.matters


RULES: Mapping[str, Rule] = MappingProxyType(
    {
        "ph": Rule(
            "Grain sours the steep by itself, so that the pH of the water matters little.",
            f"published: 6.5–8.5, {SECONDARY}",
            (Bound(6.5, "notice", UNUSUAL),),
            (Bound(8.5, "notice", UNUSUAL),),
        ),
        "hardness_mg_l": Rule("Hardness matters little to a steep; it furs kettles and pipes.", "from memory"),
        "iron_mg_l": Rule(
            "Iron darkens husk and wort, and makes haze.",
            f"published: 0.3 mg/L, {SECONDARY}",
            above=(Bound(0.3, "caution", "Air it and filter it first."),),
        ),
        "chlorine_mg_l": Rule(
            "With phenols of the husk chlorine makes a smell of medicine.",
            "published, second-hand: 4 mg/L in the United States (by COMAR 26.04.01.23); 0.5 mg/L and the rest from "
            f"memory. {LOOKED_AT}",
            above=(
                Bound(
                    0.5, "notice", "Let it stand open overnight, or filter it through charcoal (chloramine needs it)."
                ),
                Bound(4.0, "caution", "More than drinking water may hold: ask the supplier before you steep in it."),
            ),
        ),
        "nitrate_mg_l": Rule(
            "Nitrate harms infants; bacteria in a warm steep turn it into nitrite.",
            "published: 50 mg/L as NO₃ (Directive 98/83/EC, Annex I, which (EU) 2020/2184 replaced); second-hand: 10 "
            f"mg/L as N in the United States; the rest from memory. {LOOKED_AT}",
            above=(
                Bound(to_si(10.0, "mg_l_n"), "caution", "In some countries that is no drinking water."),
                Bound(50.0, "act", NOT_TO_STEEP_IN),
            ),
        ),
        "e_coli_100_ml": Rule(
            "E. coli tells of dung in the water, and grows in a steep.",
            "drinking water holds none in 100 mL: from memory; look at your own law",
            above=(Bound(0.0, "act", NOT_TO_STEEP_IN),),
        ),
    }
)
"""By the name that the figure has in the analysis."""


def water_figures(fact: Analysis, words: Words) -> list[WaterFigure]:
    """Each figure that was found, in the order of the form."""
    specs = [spec for spec in KINDS[fact.kind].fields.values() if isinstance(spec, Quantity)]
    keys = {spec.target.removeprefix("found."): spec for spec in specs}
    return [_figure(key, spec, fact.found[key], words.quantity) for key, spec in keys.items() if key in fact.found]


def _figure(key: str, spec: Quantity, value: float, shown: Callable[[str, float], str]) -> WaterFigure:
    status, meaning = RULES[key].told(value)
    text = f"{value:g}" if spec.dimension in ("number", "ph") else shown(spec.dimension, value)
    return WaterFigure(key, spec.word, text, status, meaning, RULES[key].source)


def gravest(figures: list[WaterFigure]) -> WaterFigure | None:
    """The one that one must act on first; none where nothing was found."""
    return max(figures, key=lambda each: GRAVITY.index(each.status), default=None)
