"""Moisture from weight: the one number of the steep, and how sure it is.

Moisture is the fraction of the whole that is water (wet basis, wb) unless a name says dry basis (db). Masses are as
they stand on the scale. The first argument may be an array; the others follow numpy's broadcasting.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.science._checks import Quantity, between, one_of


@dataclass(frozen=True)
class FilmCorrection:
    """How much too high a weighing reads for the water on the surface, in points of moisture, with its half-width."""

    points: float
    half_width_points: float
    mark: str = "M"

    @property
    def sd_points(self) -> float:
        """The standard uncertainty: half of the 95 % half-width."""
        return self.half_width_points / 2


FILM_CORRECTIONS: Mapping[str, FilmCorrection] = {
    "drained": FilmCorrection(1.5, 1.0),
    "blotted": FilmCorrection(0.0, 0.3),
    "spun": FilmCorrection(0.0, 0.3),
    "dry": FilmCorrection(0.0, 0.0, "D"),
}
"""Editable defaults, from memory: water left on the grain by the way it was made ready for the scale."""

UNMEASURED_MOISTURE_HALF_WIDTH = 0.005
"""Half-width of the moisture at charging where nobody measured it: half a point, from memory [M]."""


def moisture_wb_from_mass(
    mass_kg: Quantity, initial_mass_kg: float, initial_moisture_wb: float, dry_loss: float = 0.0
) -> Quantity:
    """Find the moisture of grain from what it weighs now and what it was at the start.

    Args: mass_kg: mass now, kg, above 0 and no less than its dry matter; initial_mass_kg: kg, above 0;
        initial_moisture_wb: 0 to under 1; dry_loss: fraction of the dry matter lost since, 0 to under 1.
    Returns: moisture, wet basis: M = (W - W0(1-M0)(1-L)) / W.
    Source: conservation of dry matter [D].
    Check: 100 kg at 12 % weighing 160 kg holds 45.000 %; with 1 % of dry matter lost, 45.550 %.
    """
    mass = between("The mass", mass_kg, above=0.0, unit="kg")
    initial = between("The start weight", initial_mass_kg, above=0.0, unit="kg")
    dry_share = 1.0 - between("The moisture at the start", initial_moisture_wb, 0.0, below=1.0)
    dry = initial * dry_share * (1.0 - between("The dry loss", dry_loss, 0.0, below=1.0))
    moisture = (mass - dry) / mass
    if np.any(np.asarray(moisture) < -1e-9):
        raise ValueError("The mass is less than the dry matter in it: was the tare or the start weight another one?")
    return np.maximum(moisture, 0.0) if isinstance(moisture, np.ndarray) else max(moisture, 0.0)


def moisture_wb_with_sd(
    mass_kg: float,
    initial_mass_kg: float,
    initial_moisture_wb: float,
    dry_loss: float = 0.0,
    *,
    mass_sd_kg: float,
    initial_mass_sd_kg: float,
    initial_moisture_sd: float,
    dry_loss_sd: float,
    film_points: float = 0.0,
    film_sd_points: float = 0.0,
) -> tuple[float, float]:
    """Find the moisture from weight with its standard uncertainty, corrected for the film of water on the surface.

    Args: mass_kg, initial_mass_kg, initial_moisture_wb, dry_loss: as in moisture_wb_from_mass; each *_sd: the standard
        uncertainty of the same quantity, at least 0; film_points, film_sd_points: how many points of moisture the
        film adds to the reading, and their standard uncertainty.
    Returns: (moisture wb, standard uncertainty). The corrected moisture is not let below 0.
    Source: first-order propagation, JCGM 100:2008 (GUM), equation 10 [P]; partial derivatives [D].
    Check: a Monte Carlo of the same inputs gives the same mean and spread.
    """
    sds = (mass_sd_kg, initial_mass_sd_kg, initial_moisture_sd, dry_loss_sd, film_sd_points)
    for sd in sds:
        between("A standard uncertainty", sd, 0.0)
    reading = moisture_wb_from_mass(mass_kg, initial_mass_kg, initial_moisture_wb, dry_loss)
    dry = initial_mass_kg * (1.0 - initial_moisture_wb) * (1.0 - dry_loss)
    slopes = (
        dry / mass_kg**2,
        dry / initial_mass_kg / mass_kg,
        initial_mass_kg * (1.0 - dry_loss) / mass_kg,
        initial_mass_kg * (1.0 - initial_moisture_wb) / mass_kg,
        0.01,
    )
    spread = math.hypot(*(slope * sd for slope, sd in zip(slopes, sds, strict=True)))
    return max(reading - film_points / 100.0, 0.0), spread


def film_correction(method: str) -> FilmCorrection:
    """Look up the correction for the film of water by how the grain was made ready for the scale.

    Args: method: drained (not blotted), blotted, spun or dry.
    Returns: points too high and their half-width: drained 1.5 ± 1, blotted or spun 0 ± 0.3.
    Source: from memory, an editable default [M].
    Check: drained is 1.5 ± 1.0 points.
    """
    return FILM_CORRECTIONS[one_of("The way of weighing", method, FILM_CORRECTIONS)]


def film_excess_points(moisture_wb: Quantity, film_share: float) -> Quantity:
    """Tell how many points too high a weighing reads when a film of water comes with the grain.

    Args: moisture_wb: true moisture, 0 to under 1; film_share: film over mass of grain, 0 to 1.
    Returns: points (percent of moisture): 100(1-M)f/(1+f).
    Source: identity [D].
    Check: 1 % of film at 45 % reads 0.545 point too high.
    """
    true = between("Moisture", moisture_wb, 0.0, below=1.0)
    share = between("The share of film", film_share, 0.0, 1.0)
    return 100.0 * (1.0 - true) * share / (1.0 + share)


def resolution_sd(resolution: float) -> float:
    """Turn the smallest step of a scale into a standard uncertainty.

    Args: resolution: the step, at least 0, in any unit.
    Returns: step / √12, in the same unit.
    Source: JCGM 100:2008 (GUM), section F.2.2.1, rectangular distribution [P].
    Check: a step of 1 g gives 0.289 g.
    """
    return between("The resolution", resolution, 0.0) / math.sqrt(12.0)


def dry_matter_kg(mass_kg: Quantity, moisture_wb: float) -> Quantity:
    """Find the dry matter in a mass of grain.

    Args: mass_kg: kg, at least 0; moisture_wb: 0 to 1.
    Returns: kg of dry matter.
    Source: definition of the wet basis [D].
    Check: 100 kg at 12 % holds 88 kg.
    """
    mass = between("The mass", mass_kg, 0.0, unit="kg")
    return mass * (1.0 - between("Moisture", moisture_wb, 0.0, 1.0))


def mass_at_moisture_kg(initial_mass_kg: Quantity, initial_moisture_wb: float, target_moisture_wb: float) -> Quantity:
    """Find what a charge weighs at another moisture with its dry matter unchanged.

    Args: initial_mass_kg: kg, at least 0; initial_moisture_wb, target_moisture_wb: 0 to under 1.
    Returns: kg: W0(1-M0)/(1-Mt).
    Source: conservation of dry matter [D].
    Check: 100 kg at 12 % weighs 154.386, 160.000 and 162.963 kg at 43, 45 and 46 %.
    """
    dry = dry_matter_kg(initial_mass_kg, between("The first moisture", initial_moisture_wb, 0.0, below=1.0))
    return dry / (1.0 - between("The target moisture", target_moisture_wb, 0.0, below=1.0))


def water_to_reach_kg(mass_kg: Quantity, moisture_wb: float, target_moisture_wb: float) -> Quantity:
    """Find the water to spray on to lift grain to a moisture; negative where water has to leave.

    Args: mass_kg: kg, at least 0; moisture_wb, target_moisture_wb: 0 to under 1.
    Returns: kg of water: W(Mt-M)/(1-Mt).
    Source: conservation of dry matter [D].
    Check: 160 kg from 44 to 45 % takes 2.909 kg.
    """
    return mass_at_moisture_kg(mass_kg, moisture_wb, target_moisture_wb) - between("The mass", mass_kg, 0.0, unit="kg")


def kiln_weight_fraction(green_moisture_wb: Quantity, target_moisture_wb: float) -> Quantity:
    """Find the weight to dry down to, as a fraction of the green weight.

    Args: green_moisture_wb, target_moisture_wb: 0 to under 1.
    Returns: fraction: (1-w0)/(1-w).
    Source: conservation of dry matter [D].
    Check: from 44 % to 4.5 % is 0.5864.
    """
    green = between("The green moisture", green_moisture_wb, 0.0, below=1.0)
    return (1.0 - green) / (1.0 - between("The target moisture", target_moisture_wb, 0.0, below=1.0))


def tray_moisture_wb(gross_kg: Quantity, tare_kg: float, loaded_net_kg: float, loaded_moisture_wb: float) -> Quantity:
    """Find the moisture of a tray or bag from its gross weight and its own start.

    Args: gross_kg, tare_kg: kg, the tare at least 0 (wet, where it is cloth); loaded_net_kg: net when it was loaded,
        kg, above 0; loaded_moisture_wb: moisture then, 0 to under 1.
    Returns: moisture, wet basis.
    Source: conservation of dry matter [D].
    Check: loaded 1000 g net at 44 % on a tray of 500 g, gross 1086.4 g is 4.5 %.
    """
    net = between("The gross mass", gross_kg, unit="kg") - between("The tare", tare_kg, 0.0, unit="kg")
    return moisture_wb_from_mass(net, loaded_net_kg, loaded_moisture_wb)


def gross_to_stop_at_kg(
    tare_kg: Quantity, loaded_net_kg: float, loaded_moisture_wb: float, target_moisture_wb: float
) -> Quantity:
    """Find the gross weight at which a tray has reached its target moisture: the inverse of tray_moisture_wb.

    Args: tare_kg: kg, at least 0; loaded_net_kg: kg; loaded_moisture_wb, target_moisture_wb: 0 to under 1.
    Returns: kg on the scale, tray included.
    Source: conservation of dry matter [D].
    Check: 1000 g at 44 % on a tray of 500 g is at 4.5 % when the scale shows 1086.4 g.
    """
    tare = between("The tare", tare_kg, 0.0, unit="kg")
    return tare + mass_at_moisture_kg(loaded_net_kg, loaded_moisture_wb, target_moisture_wb)


def initial_mass_after_removal_kg(
    initial_mass_kg: Quantity, initial_moisture_wb: float, removed_dry_kg: float
) -> Quantity:
    """Let the start weight follow the grain: skimmings, samples, spills and splits take their share out of it.

    Args: initial_mass_kg: kg; initial_moisture_wb: 0 to under 1; removed_dry_kg: dry matter taken out since, kg, at
        least 0 and no more than there was. Use the result as initial_mass_kg from that hour on.
    Returns: kg, the start weight of the grain that is still there.
    Source: conservation of dry matter [D].
    Check: skimming 3 % of 100 kg at 12 % leaves 97 kg; left out of account, a true 45.0 % reads 43.3 %.
    """
    initial = between("The first mass", initial_mass_kg, above=0.0, unit="kg")
    dry_share = 1.0 - between("The first moisture", initial_moisture_wb, 0.0, below=1.0)
    left = initial - between("The dry matter removed", removed_dry_kg, 0.0, unit="kg") / dry_share
    return between("What is left of the charge", left, 0.0, unit="kg")


def blended_moisture_wb(masses_kg: Sequence[float], moistures_wb: Sequence[float]) -> float:
    """Find the moisture of a charge put together from several lots.

    Args: masses_kg: kg, each at least 0, not all 0; moistures_wb: of each, 0 to 1.
    Returns: moisture, wet basis: the mean weighted by mass.
    Source: conservation of mass [D].
    Check: 60 kg at 12 % and 40 kg at 14 % is 12.8 %.
    """
    masses = between("A mass", np.asarray(masses_kg, dtype=np.float64), 0.0, unit="kg")
    moistures = between("Moisture", np.asarray(moistures_wb, dtype=np.float64), 0.0, 1.0)
    if masses.shape != moistures.shape or masses.sum() == 0:
        raise ValueError("Give one moisture for each mass, and at least one mass above 0.")
    return float(masses @ moistures / masses.sum())


def wb_from_db(moisture_db: Quantity) -> Quantity:
    """Convert moisture from the dry to the wet basis.

    Args: moisture_db: water over dry matter, at least 0.
    Returns: moisture, wet basis: db/(1+db).
    Source: identity [D].
    Check: 1.0 dry basis is 0.5.
    """
    dry_basis = between("Moisture on the dry basis", moisture_db, 0.0)
    return dry_basis / (1.0 + dry_basis)


def db_from_wb(moisture_wb: Quantity) -> Quantity:
    """Convert moisture from the wet to the dry basis.

    Args: moisture_wb: 0 to under 1.
    Returns: water over dry matter: wb/(1-wb).
    Source: identity [D].
    Check: 0.45 is 0.8182 dry basis.
    """
    wet_basis = between("Moisture", moisture_wb, 0.0, below=1.0)
    return wet_basis / (1.0 - wet_basis)
