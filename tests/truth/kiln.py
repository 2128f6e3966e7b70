"""The kiln: columns of thin layers through which air goes, each kernel a shell that dries and a core that feeds it.

Sorption: GAB. Vapour leaves the shell by its water activity, so that wet grain stands at the wet bulb by itself, and
the falling rate comes of the core (diffusion through the kernel). Heat and water are booked both ways: what the grain
loses, the air has gained. Saturation: Antoine's equation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from tests.truth.floor import DRY_KJ, WATER_KJ
from tests.truth.grains import Grain

# kJ/(kg K) of air and vapour, kJ/kg of evaporation at 0 °C: the usual constants of moist air (M).
AIR_KJ, VAPOUR_KJ, LATENT_KJ = 1.006, 1.86, 2501.0
TAKES_UP = 0.005
"""Dry kernels take vapour up more slowly than they give it (Casada 2002, Trans. ASAE 45:361, P)."""

SHELL = 0.35
"""The share of a kernel's dry matter that its shell is: M."""


def saturated(at_c: float) -> float:
    """Humidity ratio of saturated air at 101.3 kPa, by Antoine's constants for water (M)."""
    pressure = 0.133322 * 10.0 ** (8.07131 - 1730.63 / (233.426 + min(at_c, 99.0)))
    return 0.622 * pressure / max(101.325 - pressure, 1.5)


def humidity_ratio(at_c: float, relative: float) -> float:
    pressure = relative * 0.133322 * 10.0 ** (8.07131 - 1730.63 / (233.426 + at_c))
    return 0.622 * pressure / (101.325 - pressure)


def activity(grain: Grain, db: float, at_c: float) -> tuple[float, float]:
    """Water activity by the GAB isotherm solved for it, and its slope by moisture. Warm grain holds less."""
    c = grain.sorption_c
    layer = grain.monolayer * math.exp(-0.006 * (at_c - 25.0))

    half = (c - 2.0) * db - c * layer
    z = (half + math.sqrt(half * half + 4.0 * (c - 1.0) * db * db)) / (2.0 * (c - 1.0) * db)
    if z >= grain.sorption_k:
        return 1.0, 0.0
    slope = (1.0 + (c - 2.0) * z - (c - 1.0) * z * z) / (2.0 * (c - 1.0) * db * z - half)
    return z / grain.sorption_k, slope / grain.sorption_k


def enthalpy(at_c: float, ratio: float) -> float:
    """Of moist air, kJ per kg dry air."""
    return AIR_KJ * at_c + ratio * (LATENT_KJ + VAPOUR_KJ * at_c)


@dataclass
class Column:
    """One bed or tray, its layers in the way of the air. flow: kg of dry air per second and m²."""

    grain: Grain
    dry_kg_m2: float
    shell_db: list[float]
    core_db: list[float]
    temperature: list[float]
    hardened: list[float] = field(default_factory=list)
    gained_kg: float = 0.0
    gained_kj: float = 0.0
    off_c: float = 20.0
    off_ratio: float = 0.008

    @classmethod
    def loaded(cls, grain: Grain, dry_kg_m2: float, layers: int, db: float, at_c: float) -> Column:
        return cls(grain, dry_kg_m2, [db] * layers, [db] * layers, [at_c] * layers, [0.0] * layers)

    @property
    def layers_db(self) -> list[float]:
        pairs = zip(self.shell_db, self.core_db, strict=True)
        return [SHELL * shell + (1.0 - SHELL) * core for shell, core in pairs]

    @property
    def mean_db(self) -> float:
        return sum(self.layers_db) / len(self.shell_db)

    def advance(self, hours: float, flow: float, air_c: float, ratio: float) -> None:
        """A stretch of a few minutes, in steps so short that no shell loses half of its water in one."""
        layer_kg = self.dry_kg_m2 / len(self.shell_db)
        most = flow * AIR_KJ * max(0.0, air_c - 20.0) / LATENT_KJ
        steps = max(1, math.ceil(3600.0 * hours * most / (0.2 * SHELL * layer_kg)))
        for _ in range(steps):
            self._step(3600.0 * hours / steps, flow, air_c, ratio)

    def _step(self, seconds: float, flow: float, air_c: float, ratio: float) -> None:
        grain = self.grain
        layer_kg = self.dry_kg_m2 / len(self.shell_db)
        inner_50 = grain.inner_per_h / 3600.0
        # Transfer units of one layer: more for thick ones and for slow air; heat and vapour alike (Lewis).
        units = 0.9 * layer_kg / max(flow, 0.01) ** 0.5
        gain = flow * (1.0 - math.exp(-units))
        at_c, y = air_c, ratio
        for i in range(len(self.shell_db)):
            grain_c, shell, core = self.temperature[i], self.shell_db[i], self.core_db[i]
            wet, slope_db = activity(grain, shell, grain_c)
            full = saturated(grain_c)
            slope_c = full * (17.27 * 237.3) / (237.3 + grain_c) ** 2 * (1.0 + full / 0.622) * wet
            latent = LATENT_KJ + (VAPOUR_KJ - WATER_KJ) * grain_c
            inner = inner_50 * (1.0 - 0.75 * self.hardened[i]) * math.exp(
                -grain.inner_kj / 8.314e-3 * (1.0 / (grain_c + 273.15) - 1.0 / 323.15)
            )  # fmt: skip
            # The last water is bound: it wanders the slower, the less there is.
            inner *= (core / (core + grain.bound_db)) ** 2
            # Both balances at the end of the step, by their slopes: temperature and shell are solved together.
            heat_0 = gain * AIR_KJ * (at_c - grain_c)
            passes = gain * (TAKES_UP if y > full * wet and wet < 0.9 else 1.0)
            vapour_0 = passes * (full * wet - y)
            vapour_c, vapour_db = passes * slope_c, passes * full * slope_db
            mass = layer_kg * SHELL
            feed = inner * layer_kg * (1.0 - SHELL)
            decay = 1.0 + seconds * inner
            capacity = layer_kg * (DRY_KJ + WATER_KJ * (SHELL * shell + (1.0 - SHELL) * core))
            m11 = capacity + seconds * (gain * AIR_KJ + latent * vapour_c)
            m12 = seconds * latent * vapour_db
            m21 = seconds * vapour_c
            m22 = mass + seconds * (vapour_db + feed / decay)
            r1 = seconds * (heat_0 - latent * vapour_0)
            r2 = seconds * (-vapour_0 + feed / decay * (core - shell))
            det = m11 * m22 - m12 * m21
            change_c = (r1 * m22 - m12 * r2) / det
            change_db = (m11 * r2 - m21 * r1) / det
            vapour = vapour_0 + vapour_c * change_c + vapour_db * change_db
            # Hot grain that cools fast runs out of the slopes: it takes up no more than the air that comes by has.
            least = -gain * y * (TAKES_UP if wet < 0.9 else 1.0)
            if vapour < least:
                vapour = least
                change_c = seconds * (heat_0 - latent * vapour) / (capacity + seconds * gain * AIR_KJ)
                change_db = seconds * (feed / decay * (core - shell) - vapour) / (mass + seconds * feed / decay)
            heat = gain * AIR_KJ * (at_c - grain_c - change_c)
            fed = feed / decay * (core - shell - change_db)
            shell_after = shell + (seconds * (fed - vapour)) / mass
            if shell_after < 0.002:  # no more than there is
                vapour -= (0.002 - shell_after) * mass / seconds
                shell_after = 0.002
            self.shell_db[i] = shell_after
            self.core_db[i] = core - seconds * fed / (layer_kg * (1.0 - SHELL))
            taken = heat - vapour * latent
            self.temperature[i] = grain_c + seconds * taken / capacity
            # A shell dried hard over a wet core closes.
            if core > 0.35 and shell < 0.12 and air_c > 76.0:
                self.hardened[i] = min(1.0, self.hardened[i] + 0.6 * seconds / 3600.0)
            if flow > 0.0:
                y += vapour / flow
                out = enthalpy(at_c, y - vapour / flow)
                out += (-heat + vapour * (LATENT_KJ + VAPOUR_KJ * grain_c)) / flow
                at_c = (out - y * LATENT_KJ) / (AIR_KJ + y * VAPOUR_KJ)
                # Air that comes to cooler layers than its dew point leaves its water there.
                excess = y - saturated(at_c)
                if excess > 0.0:
                    dew = excess / (1.0 + LATENT_KJ**2 * 18.0 / (8.314 * (at_c + 273.15) ** 2) * saturated(at_c))
                    self.shell_db[i] += dew * flow * seconds / mass
                    y -= dew
                    at_c = (out - dew * WATER_KJ * at_c - y * LATENT_KJ) / (AIR_KJ + y * VAPOUR_KJ)
        self.gained_kg += (y - ratio) * flow * seconds
        self.gained_kj += (enthalpy(at_c, y) - enthalpy(air_c, ratio)) * flow * seconds
        self.off_c, self.off_ratio = at_c, y

    def stand(self, hours: float, room_c: float) -> None:
        """No fan: it cools slowly, evens out between shell and core, and hardly dries."""
        self.advance(hours, 0.004, room_c, humidity_ratio(room_c, 0.6))


@dataclass
class Kiln:
    """Columns side by side (trays of an oven, or one bed) with one air, a heater that ramps, and a fan.

    flow_m2: kg dry air per second and m² of each column. recirculated: how much of the air goes round again. ripple_k:
    by how much the thermostat lets the air swing.
    """

    columns: list[Column]
    flow_m2: list[float]
    room_c: float
    room_humidity: float
    recirculated: float = 0.0
    ramp_k_per_h: float = 40.0
    set_c: float = 20.0
    is_heated: bool = False
    has_fan: bool = True
    ripple_k: float = 0.0
    clock_h: float = 0.0
    on_c: float = field(init=False)
    on_ratio: float = field(init=False)

    def __post_init__(self) -> None:
        self.on_c = self.room_c
        self.on_ratio = humidity_ratio(self.room_c, self.room_humidity)

    @property
    def off_c(self) -> float:
        return sum(column.off_c for column in self.columns) / len(self.columns)

    @property
    def air_c(self) -> float:
        """Air-on as it is now: what it is set to, and the swing of the thermostat."""
        return self.on_c + (self.ripple_k * math.sin(17.0 * self.clock_h) if self.is_heated else 0.0)

    def advance(self, hours: float) -> None:
        self.clock_h += hours
        if not self.has_fan:
            for column in self.columns:
                column.stand(hours, self.room_c)
            self.on_c += (self.room_c - self.on_c) * min(1.0, 0.8 * hours)
            return
        goal = self.set_c if self.is_heated else self.room_c
        step = self.ramp_k_per_h * hours
        self.on_c += max(-1.5 * step, min(step, goal - self.on_c))
        room = humidity_ratio(self.room_c, self.room_humidity)
        off = sum(column.off_ratio for column in self.columns) / len(self.columns)
        self.on_ratio = room + self.recirculated * max(0.0, off - room)
        for column, flow in zip(self.columns, self.flow_m2, strict=True):
            column.advance(hours, flow, self.air_c, self.on_ratio)
