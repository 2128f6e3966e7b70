"""The grains of the bench of truth: ranges from which a lot is drawn, each with its mark and source.

P: read in the source's own page or abstract; T: at second hand; C: common practice; M: from memory. What is set so that
a published course comes out says which. Nothing here is asked of app/, and app/ asks nothing of this.

FIRST is used while tuning. SECOND has other ranges and other seeds, is never looked at while tuning, and is reported
beside the first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from types import MappingProxyType

import numpy as np

Range = tuple[float, float]


@dataclass(frozen=True)
class Ranges:
    """What a lot of a grain may be like; of each a value is drawn evenly between the two ends."""

    # Thrice volume to surface. Barley: mean diameter 4.23–4.75 mm over 7–22 % d.b., length 8.9–9.6, width 3.3–3.7,
    # thickness 2.6–3.0 (Tavakoli et al. 2009, Int. J. Agric. Biol. Eng. 2(4):84, P): about 1.8 as an ellipsoid; wheat
    # 7.1 by 3.3 by 3.0 mm (Int. Agrophys. 2003, 17:207, P): about 1.6; rye and oats M.
    radius_mm: Range
    # Kernel mass varies by 20–30 % within samples of wheat, rye and six-rowed barley (Regnér 1995, SLU, P): a third of
    # it in the radius.
    radius_cv: Range
    charged_wb: Range  # 11–14 % (Oxford Companion to Beer, "Steeping", P)
    # Diffusion of liquid water at 15 °C, 1e-12 m²/s. Wheat: 1.4 (Becker 1960, Cereal Chem. 37:309, P), dead and still;
    # here two to three times that, so that barley comes to 30–35 % in 6–10 h and to 43–45 % in three immersions (CMBTC
    # 2012, P) and wheat to about 38 % and more at cast (cards, T); rye and oats M.
    diffusion: Range
    diffusion_kj: Range  # 51.5 kJ/mol, wheat (Becker 1960, P)
    surface_db: Range  # 0.75 beside the water, wheat (Becker 1960, P); barley so that 43–46 % is reached (CMBTC, P)
    imbibed_db: Range  # 0.045 at once, wheat at 22 °C (Becker 1960, P); others M
    film: Range  # Biot number of the film and husk: M
    clinging_db: Range  # water that a drained bed carries between and on its kernels, kg per dry kg: M
    leached: Range  # 1.5 % lost in the steep (Thomson, in Black 4th ed., T); 1 % (M): of the dry matter, by 42 h
    chit_h: Range  # hours at 16 °C with air until the middle kernel chits: over 80 % by 40–48 h of steep (CMBTC, P)
    chit_cv: Range  # M
    # Kernel lengths an hour at 16 °C and 44 %: three quarters to full after 5 d at 15–19 °C (AMBA 2002, Owens 2001, P);
    # wheat like barley, but outside of the kernel (C); rye 5 d at 16 °C (Wang et al. 2018, P); oats 6–8 d (Muñoz-Insa
    # et al. 2011, P).
    growth: Range
    growth_cv: Range  # M
    dead: Range  # malting barley germinates to 95 % and more: C
    dormant: Range  # M: those that wait two days longer
    # Dry matter breathed away over the floor: 3 % (Thomson, T) to 5–7 % (M); 17.4 kJ for a gram of starch (M).
    breathed: Range
    wet_slows: Range  # share of its breath kept under water: 74 % (Davidson & Jangaard 1978, JASBC 36:51, P)
    green_kg_m3: Range  # dry kilograms in a cubic metre of green bed: M
    # The kiln: exchange between core and shell of a kernel at 50 °C, 1/h, and its activation energy, set so that thin
    # layers take 540–840 min at 50–70 °C (Carvalho et al. 2021, P). Drying by diffusion in layers: Bala 1983 (in Kribs
    # 1995, P); three to five times faster than wetting (Becker 1960, P).
    inner_per_h: Range
    inner_kj: Range
    bound_db: Range  # core moisture at which that exchange has fallen to half: M, set with the above
    # Sorption by GAB: monolayer (kg per dry kg at 25 °C), C and K. M, of the size usual for starchy grain; maize has
    # 0.146–0.083 at 30–60 °C, 12.2–13.7 and 0.51–0.65 (Talla et al. 2014, in a public repository, T).
    monolayer: Range
    sorption_c: Range
    sorption_k: Range


@dataclass(frozen=True)
class Grain:
    """One lot, drawn: each number of Ranges as one."""

    name: str
    radius_mm: float
    radius_cv: float
    charged_wb: float
    diffusion: float
    diffusion_kj: float
    surface_db: float
    imbibed_db: float
    film: float
    clinging_db: float
    leached: float
    chit_h: float
    chit_cv: float
    growth: float
    growth_cv: float
    dead: float
    dormant: float
    breathed: float
    wet_slows: float
    green_kg_m3: float
    inner_per_h: float
    inner_kj: float
    bound_db: float
    monolayer: float
    sorption_c: float
    sorption_k: float

    @property
    def charged_db(self) -> float:
        return self.charged_wb / (1.0 - self.charged_wb)


_BARLEY = Ranges(
    radius_mm=(1.70, 1.90), radius_cv=(0.07, 0.10), charged_wb=(0.115, 0.14), diffusion=(3.6, 5.0),
    diffusion_kj=(46.0, 54.0), surface_db=(0.97, 1.08), imbibed_db=(0.03, 0.05), film=(12.0, 40.0),
    clinging_db=(0.06, 0.10), leached=(0.008, 0.015), chit_h=(15.0, 19.0), chit_cv=(0.16, 0.24),
    growth=(0.0060, 0.0078), growth_cv=(0.14, 0.22), dead=(0.005, 0.03), dormant=(0.0, 0.03), breathed=(0.035, 0.055),
    wet_slows=(0.65, 0.80), green_kg_m3=(270.0, 310.0), inner_per_h=(0.40, 0.54), inner_kj=(12.0, 20.0),
    bound_db=(0.105, 0.145), monolayer=(0.062, 0.074), sorption_c=(10.0, 18.0), sorption_k=(0.74, 0.80),
)  # fmt: skip

FIRST: Mapping[str, Ranges] = MappingProxyType(
    {
        "barley": _BARLEY,
        "wheat": replace(
            _BARLEY,
            radius_mm=(1.50, 1.75), diffusion=(3.2, 4.4), surface_db=(0.95, 1.04), imbibed_db=(0.04, 0.05),
            chit_h=(8.5, 11.5), growth=(0.0076, 0.0092), clinging_db=(0.04, 0.07), green_kg_m3=(310.0, 360.0),
            inner_per_h=(0.42, 0.56),
        ),
        "rye": replace(
            _BARLEY,
            radius_mm=(1.30, 1.50), diffusion=(2.6, 3.5), surface_db=(0.97, 1.07), imbibed_db=(0.04, 0.06),
            chit_h=(6.0, 9.0), growth=(0.0068, 0.0084), clinging_db=(0.04, 0.07), green_kg_m3=(310.0, 360.0),
            inner_per_h=(0.44, 0.58),
        ),
        "oats": replace(
            _BARLEY,
            radius_mm=(1.45, 1.65), diffusion=(2.8, 3.9), surface_db=(1.04, 1.16), imbibed_db=(0.05, 0.08),
            chit_h=(12.0, 15.5), chit_cv=(0.18, 0.28), growth=(0.0047, 0.0060), growth_cv=(0.18, 0.26),
            dead=(0.01, 0.05), clinging_db=(0.08, 0.13), green_kg_m3=(200.0, 240.0), monolayer=(0.056, 0.068),
        ),
    }
)  # fmt: skip


def _shifted(ranges: Ranges) -> Ranges:
    """Another year's harvest: what is not known well lies elsewhere, within what the same sources allow."""

    def moved(pair: Range, by: float) -> Range:
        low, high = pair
        return (low + by * (high - low), high + by * (high - low))

    return replace(
        ranges,
        diffusion=moved(ranges.diffusion, -0.1), diffusion_kj=moved(ranges.diffusion_kj, -0.3),
        film=moved(ranges.film, 0.5), radius_cv=moved(ranges.radius_cv, 0.4), chit_h=moved(ranges.chit_h, -0.3),
        growth=moved(ranges.growth, 0.25), growth_cv=moved(ranges.growth_cv, 0.4), breathed=moved(ranges.breathed, 0.2),
        inner_per_h=moved(ranges.inner_per_h, -0.15), inner_kj=moved(ranges.inner_kj, -0.3),
        clinging_db=moved(ranges.clinging_db, 0.4), charged_wb=(0.105, 0.135),
        bound_db=moved(ranges.bound_db, 0.1), monolayer=moved(ranges.monolayer, 0.3),
    )  # fmt: skip


SECOND: Mapping[str, Ranges] = MappingProxyType({name: _shifted(ranges) for name, ranges in FIRST.items()})
SETS: Mapping[str, Mapping[str, Ranges]] = MappingProxyType({"first": FIRST, "second": SECOND})


def draw(name: str, which: str, rng: np.random.Generator) -> Grain:
    """One lot of a grain."""
    ranges = SETS[which][name]
    drawn = {}
    for field in fields(Ranges):
        drawn[field.name] = float(rng.uniform(*getattr(ranges, field.name)))
    return Grain(name=name, **drawn)
