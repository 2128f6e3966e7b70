"""Grain in bulk: what a measure of it weighs, how much room it wants once steeped, and the water that takes."""

from __future__ import annotations

from dataclasses import dataclass

from app.science._checks import Quantity, between, one_of
from app.science.moisture import mass_at_moisture_kg

BUSHEL_HL = {"us": 0.35239070, "imperial": 0.36368720}
"""The United States bushel of 2150.42 cubic inches and the imperial one of 8 gallons, in hectolitres."""

_POUND_KG = 0.45359237

_OFFICIAL = {
    "barley": (-0.3063, 0.2089),
    "wheat": (1.4767, 0.2012),
    "rye": (2.2266, 0.1995),
    "oats": (4.3122, 0.1986),
}
"""Lines by which the Canadian Grain Commission tells the hectolitre weight from a struck half litre, in g [P]."""

SWELLS_M3_PER_M3, SWELLS_HALF_WIDTH = 1.3, 0.4
"""Room that a heap gains for each volume of water that goes into the grain: published volumes give 0.9 to 1.6 [D]."""

KERNEL_KG_PER_M3 = 1250.0
"""A kernel without the air around it; published 1100 to 1410 for barley at 10 to 42 % [P], so good to a tenth."""


def hectolitre_weight(mass_kg: Quantity, volume_m3: float) -> Quantity:
    """Weigh a measure of grain and tell the weight of a hectolitre: the test weight.

    Args: mass_kg: grain in the measure, kg, at least 0; volume_m3: of the measure, m³, above 0.
    Returns: kg/hL.
    Source: definition [D].
    Check: 680 g in one litre: 68 kg/hL.
    """
    return between("The mass", mass_kg, 0.0, unit="kg") / between("The volume", volume_m3, above=0.0, unit="m³") / 10.0


def official_hectolitre_weight(grain: str, half_litre_g: Quantity) -> Quantity:
    """Tell what the standard measure would show, in which grain packs closer, from a half litre struck level.

    Args: grain: barley, wheat, rye or oats; half_litre_g: g in half a litre, 100 to 500.
    Returns: kg/hL.
    Source: Canadian Grain Commission, test weight calculators, grainscanada.gc.ca [P].
    Check: wheat 392.5 g: 80.45 kg/hL, 1.9 more than twice the grams give.
    """
    start, slope = _OFFICIAL[one_of("The grain", grain, _OFFICIAL)]
    return start + slope * between("Half a litre", half_litre_g, 100.0, 500.0, unit="g")


def pounds_per_bushel(kg_per_hl: Quantity, bushel: str = "us") -> Quantity:
    """Convert a hectolitre weight to pounds in a bushel.

    Args: kg_per_hl: kg/hL, at least 0; bushel: us or imperial.
    Returns: lb/bu.
    Source: the pound and the two bushels by definition [D].
    Check: 1.247 kg/hL are one pound in an imperial bushel, as the Canadian Grain Commission prints it [P].
    """
    held = BUSHEL_HL[one_of("The bushel", bushel, BUSHEL_HL)]
    return between("The hectolitre weight", kg_per_hl, 0.0, unit="kg/hL") * held / _POUND_KG


@dataclass(frozen=True)
class Steeped:
    """The room of a charge, m³: as it is poured dry, and swollen, from the least to the most that it may be."""

    dry_m3: float
    low_m3: float
    middle_m3: float
    high_m3: float


def steeped_volume(mass_kg: float, moisture_wb: float, target_wb: float, kg_per_hl: float) -> Steeped:
    """Find how much room a charge takes when it has drunk what it should.

    Args: mass_kg: kg, above 0; moisture_wb, target_wb: now and after the steep, 0 to under 1, the target not below;
        kg_per_hl: hectolitre weight as charged, 20 to 100 kg/hL.
    Returns: a Steeped: the dry volume and 1.3 ± 0.4 volumes of room for each volume of water taken up.
    Source: bulk densities of two barleys from 10 to 42 % moisture (J. Agric. Sci. Technol., jast.modares.ac.ir,
        article 10966), which give 1.4 and 1.5; of green wheat from 9 to 42 % (J. Food Eng. 79:1467, 2007), 1.6; and
        550 to 600 kg/m² of barley lying 1.2 m deep once steeped (Owens 2001, Cereals Processing Technology, p. 193),
        about 1.1 [P]; a straight line through them [D].
    Check: one tonne at 12 % and 69 kg/hL steeped to 45 %: 1.99 to 2.47 m³; Owens gives 2.0 to 2.18 m³.
    """
    weight = between("The hectolitre weight", kg_per_hl, 20.0, 100.0, unit="kg/hL")
    charged = between("The mass", mass_kg, above=0.0, unit="kg")
    if target_wb < moisture_wb:
        raise ValueError("The moisture wanted must not be below what the grain has.")
    water_m3 = (mass_at_moisture_kg(charged, moisture_wb, target_wb) - charged) / 1000.0
    dry = charged / (10.0 * weight)
    ends = (dry + (SWELLS_M3_PER_M3 + way * SWELLS_HALF_WIDTH) * water_m3 for way in (-1.0, 0.0, 1.0))
    return Steeped(dry, *ends)


@dataclass(frozen=True)
class Tub:
    """What a charge asks of its tub, m³: how full it stands at the most, the whole tub, and one filling of water."""

    filled_m3: float
    tub_m3: float
    water_m3: float


def tub_for(steeped: Steeped, mass_kg: float, cover: float, headroom: float) -> Tub:
    """Find the tub for a charge: the swollen grain at its most, water over it, and room above.

    Args: steeped: as steeped_volume gives it; mass_kg: the charge, kg, above 0; cover, headroom: water over the grain
        and free room above the water, each as a fraction of what stands below it in straight walls, 0 to 2.
    Returns: a Tub; the water is what the first filling takes: all that stands there but the kernels.
    Source: sum of volumes [D]; kernel density 1250 kg/m³, of published 1100 to 1410 (J. Agric. Sci. Technol.,
        jast.modares.ac.ir, article 10966 [P]).
    Check: 2.5 m³ swollen from 1 t, a tenth over it and a tenth free: 2.75 m³ filled, 3.025 m³ tub, 1.95 m³ water.
    """
    over = 1.0 + between("The water over the grain", cover, 0.0, 2.0)
    filled = steeped.high_m3 * over
    tub = filled * (1.0 + between("The room above", headroom, 0.0, 2.0))
    return Tub(filled, tub, filled - between("The mass", mass_kg, above=0.0, unit="kg") / KERNEL_KG_PER_M3)
