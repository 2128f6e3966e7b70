"""What is known of a batch before it is weighed: from its species, its programme, and its lot's earlier batches.

A species' figures are from memory and only where learning begins; no published constant predicts a batch. The spread
about them is wide on purpose: k1 of uptake differs more than twofold between lots of barley (derived: fitted to the
weighings of Molina-Cano et al. 1995).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from app.science.fitting import Posterior, Prior

WITHIN_LOT = 0.2
"""How much of the variance between batches is left between batches of one lot, from memory."""

REFERENCE_WATER_C = 15.0
UPTAKE_HOURS: Mapping[str, float] = {
    **{"barley": 22.0, "wheat": 15.5, "rye": 13.0, "oats": 18.5, "spelt": 15.5, "emmer": 16.5, "triticale": 14.5},
    **{"sorghum": 28.5, "pearl millet": 24.0, "finger millet": 24.0, "buckwheat": 13.0, "quinoa": 9.0},
}
OTHER_UPTAKE_HOURS = 20.0
"""Scale of uptake under water of 15 °C, h, from memory: barley of 12 % is near 30 % after 6 h and 40 % after 24 h."""

GROWTH_PER_C_D: Mapping[str, float] = {
    **{"barley": 0.0098, "wheat": 0.0120, "rye": 0.0115, "oats": 0.0080},
    **{"spelt": 0.0120, "emmer": 0.0115, "triticale": 0.0125},
}
OTHER_GROWTH_PER_C_D = 0.0095
"""Acrospire in kernel lengths for each °C·d over −1.7 °C once it grows, from memory: at 15 °C barley is at ¾ in 5 d."""

REFERENCE_AIR_C = 55.0

LotPrior = Mapping[str, Any]


def uptake_prior(species: str) -> Prior:
    """Weibull in kg/kg dry basis: gain in the end, scale and shape in logarithms; air rest share; Ea in kJ/mol;
    by how much more an hour counts that begins anew after a rest.

    The gain in the end is a prior, and bounded with it: a lot that has not begun to level off would else run away.
    """
    hours = UPTAKE_HOURS.get(species, OTHER_UPTAKE_HOURS)
    return Prior.independent(
        log_gain=(float(np.log(0.80)), 0.14),
        log_hours=(float(np.log(hours)), 0.38),
        log_shape=(float(np.log(0.68)), 0.18),
        air_share=(0.2, 0.1),
        activation_kj=(40.0, 7.0),
        anew=(0.6, 0.5),
    )


def growth_prior(species: str) -> Prior:
    """A lag in °C·d from the cast, then a growth, its rate as a logarithm."""
    rate = GROWTH_PER_C_D.get(species, OTHER_GROWTH_PER_C_D)
    return Prior.independent(log_rate=(float(np.log(rate)), 0.17), lag_c_d=(5.0, 5.0))


def drying_prior() -> Prior:
    """In air of 55 °C: the rate while the air is full, kg/kg dry basis per h, and what is left to go at the break,
    kg/kg over equilibrium, both in logarithms; and the drag of the tail. From memory: the break of a malt kiln comes
    near 25 % moisture, and from 12 to 5 % takes as long as from 22 to 12 %, in hotter air.
    """
    return Prior.independent(
        log_constant=(float(np.log(0.10)), 0.8), log_break=(float(np.log(0.30)), 0.45), drag=(0.45, 0.25)
    )


def for_lot(posterior: Posterior, count: int) -> dict[str, Any]:
    """What the measurements alone say of the first so many parameters: plain values, for the lot's next batches."""
    prior, parameters = posterior.prior, posterior.parameters
    after, before = (np.linalg.inv(each[:count, :count]) for each in (posterior.covariance, prior.covariance))
    gained, axes = np.linalg.eigh(after - before)
    # Where the level was cut off, some direction may be known no better than before: then nothing is told of it.
    precision = (axes * np.maximum(gained, 0.0)) @ axes.T
    weighted = after @ parameters[:count] - before @ prior.mean[:count]
    weighted = (axes * (gained > 0.0)) @ axes.T @ weighted
    return {
        "names": list(prior.names[:count]),
        "precision": np.round(precision, 9).tolist(),
        "weighted": np.round(weighted, 9).tolist(),
    }


def from_lot(prior: Prior, lot: LotPrior | None, name: str) -> Prior:
    """The prior narrowed by the earlier batches of the lot, each of which tells of the lot but is not the lot."""
    batches = [each for each in (lot or {}).get(name, ()) if tuple(each.get("names", ())) == prior.names]
    if not batches:
        return prior
    within, between = WITHIN_LOT * prior.covariance, (1.0 - WITHIN_LOT) * prior.covariance
    precision = np.linalg.inv(between)
    weighted = precision @ prior.mean
    for batch in batches:
        told = np.asarray(batch["precision"], dtype=np.float64)
        through = np.linalg.inv(np.eye(len(told)) + told @ within)
        precision = precision + through @ told
        weighted = weighted + through @ np.asarray(batch["weighted"], dtype=np.float64)
    spread = np.linalg.inv((precision + precision.T) / 2.0)
    return Prior(prior.names, spread @ weighted, spread + within)
