"""The mass account: where the dry matter of a charge went."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.science._checks import Quantity, between
from app.science.moisture import dry_matter_kg


def dry_loss(
    initial_mass_kg: Quantity, initial_moisture_wb: float, final_mass_kg: float, final_moisture_wb: float
) -> Quantity:
    """Find the share of the dry matter that was lost between two weighings.

    Args: initial_mass_kg, final_mass_kg: kg, above 0 (thousand-kernel weights in g do as well); initial_moisture_wb,
        final_moisture_wb: 0 to under 1.
    Returns: fraction, 1 - m(1-w)/(m0(1-w0)); below 0 where more came out than went in, which is shown, not hidden.
    Source: conservation of dry matter [D].
    Check: thousand kernels 42 g at 15 % to 32 g at 2 %: 12.157 %. (The encyclopaedia that gives these inputs prints
        12.5 %, which does not follow from them.)
    """
    initial = between("The first mass", initial_mass_kg, above=0.0, unit="kg")
    final = between("The last mass", final_mass_kg, 0.0, unit="kg")
    dry_share_first = 1.0 - between("The first moisture", initial_moisture_wb, 0.0, below=1.0)
    dry_share_last = 1.0 - between("The last moisture", final_moisture_wb, 0.0, below=1.0)
    return 1.0 - final * dry_share_last / (initial * dry_share_first)


def dry_loss_with_sd(initial_dry: tuple[float, float], final_dry: tuple[float, float]) -> tuple[float, float]:
    """Find the share of the dry matter that was lost, with its standard uncertainty.

    Args: initial_dry, final_dry: (dry matter, standard uncertainty), kg, as dry_matter_with_sd gives them.
    Returns: (fraction, standard uncertainty).
    Source: first-order propagation, JCGM 100:2008 (GUM), equation 10 [P].
    Check: a Monte Carlo of the same inputs gives the same mean and spread.
    """
    first, first_sd = between("The first dry matter", initial_dry[0], above=0.0, unit="kg"), initial_dry[1]
    last, last_sd = between("The last dry matter", final_dry[0], 0.0, unit="kg"), final_dry[1]
    return 1.0 - last / first, math.hypot(last_sd, last / first * first_sd) / first


def dry_matter_with_sd(
    mass_kg: float, moisture_wb: float, mass_sd_kg: float, moisture_sd: float
) -> tuple[float, float]:
    """Find the dry matter in a mass of grain with its standard uncertainty.

    Args: mass_kg: kg, at least 0; moisture_wb: 0 to 1; mass_sd_kg, moisture_sd: standard uncertainties, at least 0.
    Returns: (kg, standard uncertainty in kg).
    Source: first-order propagation, JCGM 100:2008 (GUM), equation 10 [P].
    Check: 100 kg exactly at 12 ± 0.5 % (sd 0.25 point) holds 88 kg with sd 0.25 kg.
    """
    between("A standard uncertainty", mass_sd_kg, 0.0)
    between("A standard uncertainty", moisture_sd, 0.0)
    dry = dry_matter_kg(mass_kg, moisture_wb)
    return dry, math.hypot((1.0 - moisture_wb) * mass_sd_kg, mass_kg * moisture_sd)


@dataclass(frozen=True)
class Balance:
    """The masses of a malting planned from its losses, kg."""

    dry_kg: float
    green_kg: float
    evaporated_kg: float
    rootlets_kg: float
    malt_dry_kg: float
    malt_kg: float


def balance(
    initial_mass_kg: float,
    initial_moisture_wb: float,
    steep_loss: float,
    respiration_loss: float,
    rootlet_loss: float,
    green_moisture_wb: float,
    malt_moisture_wb: float,
) -> Balance:
    """Follow a charge from sack to sack by its expected losses.

    Args: initial_mass_kg: kg, above 0; initial_moisture_wb, green_moisture_wb, malt_moisture_wb: 0 to under 1;
        steep_loss, respiration_loss, rootlet_loss: fractions of the initial dry matter, together under 1.
    Returns: a Balance. Green malt still has its rootlets; they dry to the malt's moisture and come off after.
    Source: conservation of dry matter and water [D].
    Check: 1000 kg at 12 %, losses 1/5.5/3.5 %: 1496.0 kg green at 45 %, 634.4 kg evaporated, 829.3 kg malt at 4.5 %.
    """
    dry = dry_matter_kg(between("The first mass", initial_mass_kg, above=0.0, unit="kg"), initial_moisture_wb)
    for name, loss in (("steep", steep_loss), ("respiration", respiration_loss), ("rootlet", rootlet_loss)):
        between(f"The {name} loss", loss, 0.0, 1.0)
    between("All losses together", steep_loss + respiration_loss + rootlet_loss, 0.0, below=1.0)
    green_dry = dry * (1.0 - steep_loss - respiration_loss)
    green = green_dry / (1.0 - between("The green moisture", green_moisture_wb, 0.0, below=1.0))
    kilned = green_dry / (1.0 - between("The malt's moisture", malt_moisture_wb, 0.0, below=1.0))
    rootlets = dry * rootlet_loss / (1.0 - malt_moisture_wb)
    malt_dry = green_dry - dry * rootlet_loss
    return Balance(dry, green, green - kilned, rootlets, malt_dry, kilned - rootlets)


def grain_needed_kg(malt_kg: Quantity, malt_moisture_wb: float, grain_moisture_wb: float, loss: float) -> Quantity:
    """Find how much grain a weight of malt takes.

    Args: malt_kg: malt wanted, dressed, kg, at least 0; malt_moisture_wb, grain_moisture_wb: 0 to under 1; loss: all
        that is lost on the way, a fraction of the dry matter charged, 0 to under 1.
    Returns: kg of grain.
    Source: balance, solved for the first mass [D].
    Check: 829.3 kg of malt at 4.5 % after losses of 10 % take 1000 kg at 12 %.
    """
    kept = 1.0 - between("The loss", loss, 0.0, below=1.0)
    charged = dry_matter_kg(malt_kg, between("The malt's moisture", malt_moisture_wb, 0.0, below=1.0)) / kept
    return charged / (1.0 - between("The grain's moisture", grain_moisture_wb, 0.0, below=1.0))


def unexplained(
    initial_dry_kg: float, initial_sd_kg: float, lines: Sequence[tuple[float, float]]
) -> tuple[float, float]:
    """Find what an account leaves unexplained.

    Args: initial_dry_kg, initial_sd_kg: dry matter charged and its standard uncertainty, kg; lines: (dry kg, standard
        uncertainty) of everything that came out or was lost, weighed or estimated.
    Returns: (remainder kg, its standard uncertainty); below 0 where more is accounted for than was charged.
    Source: independent uncertainties add as squares, JCGM 100:2008 (GUM), equation 11a [P].
    Check: 88 kg in, 79.2 and 8.8 kg out leaves 0.
    """
    charged = between("The dry matter charged", initial_dry_kg, above=0.0, unit="kg")
    sds = [between("A standard uncertainty", sd, 0.0) for sd in (initial_sd_kg, *(sd for _, sd in lines))]
    return charged - math.fsum(kg for kg, _ in lines), math.hypot(*sds)


def skimmings_share(
    skimmings_kg: Quantity, skimmings_moisture_wb: float, charge_kg: float, charge_moisture_wb: float
) -> Quantity:
    """Find the rejects of a float test by weight, both on the dry basis, so that wet skimmings compare with dry grain.

    Args: skimmings_kg: as weighed, kg, at least 0; skimmings_moisture_wb: of what was skimmed, drained and blotted or
        dried: say which; charge_kg: all grain floated, skimmings included, kg, above 0; charge_moisture_wb: 0 to
        under 1.
    Returns: fraction of the dry matter charged.
    Source: conservation of dry matter [D]; 0.1 to 1 % of cleaned barley, from memory of Kunze [M]. No published limit
        for raw grain was found.
    Check: 1.1 kg of skimmings at 20 % from 100 kg at 12 % is 1.0 %.
    """
    charged = dry_matter_kg(between("The charge", charge_kg, above=0.0, unit="kg"), charge_moisture_wb)
    skimmed = dry_matter_kg(skimmings_kg, skimmings_moisture_wb)
    return between("The share skimmed", skimmed / charged, 0.0, 1.0)
