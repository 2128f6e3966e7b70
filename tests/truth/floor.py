"""The floor: kernels that each start and grow in their own time, and a bed that heats itself, layer by layer.

Growth of a kernel is a clock of its own that runs by temperature and moisture; the breath of all of them heats the bed
and eats dry matter; the bed loses heat at its top and to the floor, and dries a little. Turning mixes and cools it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.truth.grains import Grain

Array = NDArray[np.float64]
KERNELS = 240
STARCH_KJ_PER_KG = 17_400.0  # burnt to water and carbon dioxide: M
WATER_PER_STARCH = 0.556  # what burning it leaves as water: 5 H2O for C6H10O5
DRY_KJ, WATER_KJ = 1.5, 4.19  # kJ/(kg K), of dry grain (M) and of water
EVAPORATION_KJ = 2460.0
THINNEST_M = 0.025
"""No layer of a bed is thinner: that much grain evens out by itself between two looks."""
COLDEST_C, BEST_C, HOTTEST_C = 2.0, 27.0, 38.0
"""Growth: workable up to 24 °C (Müller et al. 2014, P), none near freezing nor close to 40 °C (M)."""


def _beta(at_c: Array) -> Array:
    power = (HOTTEST_C - BEST_C) / (BEST_C - COLDEST_C)
    return np.asarray((at_c - COLDEST_C) * ((HOTTEST_C - at_c) / (HOTTEST_C - BEST_C)) ** power)


_DEGREES = np.linspace(COLDEST_C, HOTTEST_C, 73)
_WARMTH = _beta(_DEGREES) / _beta(np.array([16.0]))


def warmth(grain_c: float | Array) -> Array:
    """How fast life goes at a temperature: 1 at 16 °C, best at 27 °C, none when too cold or too hot."""
    return np.asarray(np.interp(grain_c, _DEGREES, _WARMTH))


def wetness(wb: float | Array) -> Array:
    """How fast it goes at a moisture: none below 28 %, 1 at 44 %, hardly more above."""
    return np.asarray(np.interp(wb, [0.28, 0.38, 0.44, 0.50], [0.0, 0.72, 1.0, 1.08]))


@dataclass
class Kernels:
    """A few hundred kernels of the lot: when each chits, how fast it grows, how far it is."""

    grain: Grain
    rng: np.random.Generator
    slow: float = 1.0
    clock: float = 0.0
    length: Array = field(init=False)
    starts: Array = field(init=False)
    rates: Array = field(init=False)

    def __post_init__(self) -> None:
        grain, rng = self.grain, self.rng
        self.starts = grain.chit_h / self.slow * np.exp(grain.chit_cv * rng.standard_normal(KERNELS))
        self.rates = grain.growth * self.slow * np.exp(grain.growth_cv * rng.standard_normal(KERNELS))
        kind = rng.random(KERNELS)
        self.starts[kind < grain.dormant + grain.dead] += 48.0
        self.starts[kind < grain.dead] = np.inf
        self.length = np.zeros(KERNELS)

    def advance(self, hours: float, grain_c: float | Array, wb: float | Array, air: float = 1.0) -> None:
        """air: 1 in the open, less under water. grain_c, wb: of all, or of each kernel."""
        pace = warmth(grain_c) * wetness(wb) * air * hours
        self.clock += float(pace.sum() / pace.size)
        # The acrospire shows some ten hours after the root.
        growing = self.clock > self.starts + 10.0
        self.length = np.where(growing, np.minimum(1.8, self.length + self.rates * pace), self.length)

    def state(self) -> tuple[float, float, float]:
        """Mean length, the share that outgrew its kernel, and the share that has chitted."""
        share = 1.0 / KERNELS
        over, chitted = np.count_nonzero(self.length > 1.0), np.count_nonzero(self.clock > self.starts)
        return float(self.length.sum()) * share, over * share, chitted * share

    @property
    def busy(self) -> float:
        """How strongly the lot breathes, against its best: it wakes with the roots, and tires when grown."""
        awake = np.minimum(1.0, np.maximum(0.0, (self.clock - self.starts) / 30.0))
        return 0.12 + 0.88 * float((awake * (1.0 - 0.35 * np.minimum(self.length, 1.0))).sum()) / KERNELS


@dataclass
class Bed:
    """Green grain in layers, the lowest first. depth_m as it lies now; air_c: the room's."""

    grain: Grain
    kernels: Kernels
    dry_kg: float
    water_db: Array
    temperature: Array
    depth_m: float
    is_covered: bool = False
    corner_k: float = 0.0
    film_db: float = 0.0
    breathed_kg: float = 0.0

    @classmethod
    def cast(cls, kernels: Kernels, dry_kg: float, db: float, at_c: float, depth_m: float, is_covered: bool) -> Bed:
        layers = max(2, round(depth_m / THINNEST_M))
        wet, warm = np.full(layers, db), np.full(layers, at_c)
        return cls(kernels.grain, kernels, dry_kg, wet, warm, depth_m, is_covered)

    @property
    def mean_c(self) -> float:
        return float(self.temperature.mean())

    @property
    def mean_db(self) -> float:
        return float(self.water_db.mean())

    @property
    def mean_wb(self) -> float:
        return self.mean_db / (1.0 + self.mean_db)

    def advance(self, hours: float, air_c: float, air_humidity: float = 0.8) -> None:
        """One short stretch, half an hour or so."""
        grain, n = self.grain, len(self.temperature)
        wb = self.water_db / (1.0 + self.water_db)
        pace = warmth(self.temperature) * wetness(wb)
        # Set so that what is breathed over 120 h at the best pace is grain.breathed of the dry matter.
        burnt = grain.breathed / 120.0 / 0.62 * self.kernels.busy * pace * hours
        capacity = DRY_KJ + WATER_KJ * self.water_db
        per_layer_kg_m2 = grain.green_kg_m3 * self.depth_m / n
        # W/m²K: still air above, less under a cloth; the floor below. M, so that 15 cm stand some 5 K above the room.
        top = 5.0 if self.is_covered else 8.0
        below = 2.0 if self.is_covered else 4.0
        # Conduction and the slow draught through the bed, in steps short enough for thin layers.
        through = 0.35 / (self.depth_m / n)
        per_w = 3.6 * hours / per_layer_kg_m2 / capacity
        steps = int(np.ceil(4.0 * through * float(per_w.max())))
        losses = np.zeros((n, n))
        inner = np.arange(n - 1)
        losses[inner, inner] += through
        losses[inner + 1, inner + 1] += through
        losses[inner, inner + 1] -= through
        losses[inner + 1, inner] -= through
        losses[-1, -1] += top
        losses[0, 0] += below
        step = np.eye(n) - (per_w / steps)[:, None] * losses
        self.temperature = air_c + np.linalg.matrix_power(step, steps) @ (self.temperature - air_c)
        evaporated = np.zeros(n)
        evaporated[-1] = (0.05 if self.is_covered else 0.12) * (1.0 - air_humidity) * hours
        self.temperature = (
            self.temperature
            + burnt * STARCH_KJ_PER_KG / capacity
            - evaporated / per_layer_kg_m2 * EVAPORATION_KJ / capacity
        )
        # Of the film that came along, a third goes in within the day; the rest drains and dries off.
        gone = self.film_db * (1.0 - np.exp(-hours / 6.0))
        self.film_db -= gone
        lost = float(burnt.mean())
        gained = 0.3 * gone + WATER_PER_STARCH * burnt - evaporated / per_layer_kg_m2
        self.water_db = (self.water_db + gained) / (1.0 - burnt)
        self.breathed_kg += lost * self.dry_kg
        self.dry_kg *= 1.0 - lost
        each = self.temperature[np.arange(KERNELS) % n]
        if self.corner_k:
            # A twentieth of the kernels lies in the corner.
            each = np.where(np.arange(KERNELS) < KERNELS // 20, each + self.corner_k, each)
        self.kernels.advance(hours, each, wb[np.arange(KERNELS) % n])

    def turn(self, air_c: float, share: float = 0.3) -> None:
        """Mixed all through; it goes a share of the way to the room's temperature, and loses a little water."""
        mean = self.mean_c + share * (air_c - self.mean_c)
        self.temperature = np.full_like(self.temperature, mean)
        self.water_db = np.full_like(self.water_db, self.mean_db - 0.0015)

    def sprinkle(self, litres: float) -> float:
        """Water given, of which a tenth runs off; what was taken in, kg."""
        taken = 0.9 * litres
        self.water_db = self.water_db + taken / self.dry_kg
        return taken

    def places(self) -> dict[str, float]:
        """The temperature at each place where one may put a probe."""
        n = len(self.temperature)
        return {
            "top": float(self.temperature[-1]),
            "middle": float(self.temperature[n // 2]),
            "bottom": float(self.temperature[0]),
            "corner": float(self.temperature[n // 2]) + self.corner_k,
        }
