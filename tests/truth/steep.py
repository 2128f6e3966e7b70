"""The steep: water that goes into kernels by spherical diffusion, from the water and from the film that clings.

Each size class of kernels is a sphere in shells of equal thickness. What goes on in it is linear, so that a stretch of
any length is exact: the modes of one sphere of radius 1 are found once, and time runs as D t / R².
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tests.truth.grains import Grain

Array = NDArray[np.float64]
GAS_KJ = 8.314e-3
SHELLS = 16
SIZES = np.array([-1.4, -0.53, 0.0, 0.53, 1.4])
"""Classes of equal number of kernels, in standard deviations of the radius."""

_EDGES = np.linspace(0.0, 1.0, SHELLS + 1)
VOLUMES = np.diff(_EDGES**3)


@dataclass(frozen=True)
class Modes:
    """dx/dτ = A (x − x_surface), by the eigenvectors of A; without a surface the total stays."""

    rates: Array
    forth: Array
    back: Array

    def after(self, x: Array, tau: Array) -> Array:
        """x: classes by shells, less the surface's value; tau: one for each class."""
        return np.asarray((x @ self.forth.T * np.exp(tau[:, None] * self.rates)) @ self.back.T)


@lru_cache(maxsize=64)
def modes(biot: float) -> Modes:
    """The sphere in shells, with a film of this Biot number about it; none for a sealed one."""
    width = 1.0 / SHELLS
    matrix = np.zeros((SHELLS, SHELLS))
    for inner in range(SHELLS - 1):
        flow = 3.0 * _EDGES[inner + 1] ** 2 / width
        matrix[inner, inner] -= flow / VOLUMES[inner]
        matrix[inner, inner + 1] += flow / VOLUMES[inner]
        matrix[inner + 1, inner + 1] -= flow / VOLUMES[inner + 1]
        matrix[inner + 1, inner] += flow / VOLUMES[inner + 1]
    if biot > 0.0:
        matrix[-1, -1] -= 3.0 / (0.5 * width + 1.0 / biot) / VOLUMES[-1]
    # Made symmetric by the volumes, so that its modes are real.
    root = np.sqrt(VOLUMES)
    rates, vectors = np.linalg.eigh(root[:, None] * matrix / root[None, :])
    return Modes(rates, vectors.T * root[None, :], vectors / root[:, None])


@dataclass
class Steep:
    """The grain in the tub: water inside by class and shell, kg per dry kg, and the film that clings to it."""

    grain: Grain
    film_db: float = 0.0
    is_under_water: bool = False
    leached: float = 0.0
    x: Array = field(init=False)
    radii: Array = field(init=False)
    weights: Array = field(init=False)

    def __post_init__(self) -> None:
        self.x = np.full((len(SIZES), SHELLS), self.grain.charged_db)
        relative = 1.0 + self.grain.radius_cv * SIZES
        self.radii = relative * self.grain.radius_mm * 1e-3
        self.weights = relative**3 / np.sum(relative**3)

    @property
    def water_db(self) -> float:
        """Absorbed water per kg of dry matter that is left, mean by mass."""
        return float(self.weights @ (self.x @ VOLUMES))

    def immerse(self) -> None:
        """Water on: the first time the skins fill at once, as far as they are not full yet."""
        self.is_under_water = True
        outer = self.x[:, -1]
        if float(outer.mean()) < 0.5 * self.grain.surface_db:
            # Capillary water of the pericarp, put into the outermost shells where it is.
            shells = VOLUMES[-3:].sum()
            self.x[:, -3:] += self.grain.imbibed_db / shells

    def drain(self) -> None:
        """Water off: the film clings."""
        self.is_under_water = False
        self.film_db = self.grain.clinging_db

    def advance(self, hours: float, water_c: float) -> None:
        """One stretch at one temperature of the grain."""
        grain = self.grain
        per_second = grain.diffusion * 1e-12 * arrhenius(grain.diffusion_kj, water_c, 15.0)
        tau = per_second * 3600.0 * hours / self.radii**2
        before = self.water_db
        if self.is_under_water:
            self.x = grain.surface_db + modes(round(grain.film, 3)).after(self.x - grain.surface_db, tau)
            # Leached at a falling rate, the faster the warmer: M.
            left = max(0.0, grain.leached - self.leached)
            self.leached += left * (1.0 - np.exp(-hours / 9.0 * 1.04 ** (water_c - 15.0)))
        elif self.film_db > 0.0:
            # The film sits in patches: the kernel meets it over a part of its surface, as through a thicker film.
            share = min(1.0, self.film_db / grain.clinging_db)
            wetted = self.x + (modes(round(grain.film * 0.15, 3)).after(self.x - grain.surface_db, tau)
                               - (self.x - grain.surface_db)) * share  # fmt: skip
            taken = float(self.weights @ (wetted @ VOLUMES)) - before
            if taken > self.film_db:
                wetted = self.x + (wetted - self.x) * self.film_db / taken
                taken = self.film_db
            self.x = wetted
            # Some of it drains on, some dries off: M.
            self.film_db = max(0.0, (self.film_db - taken) * np.exp(-hours / 14.0) - 0.0006 * hours)
        else:
            self.x = modes(0.0).after(self.x, tau)


def arrhenius(kj: float, at_c: float, from_c: float) -> float:
    return float(np.exp(-kj / GAS_KJ * (1.0 / (at_c + 273.15) - 1.0 / (from_c + 273.15))))
