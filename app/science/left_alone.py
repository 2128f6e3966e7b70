"""What grain does while nobody looks: how fast a bed warms, when it comes to a limit, and what a day takes from it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.science._checks import between
from app.science.growth import ClassCounts, class_shares, respiration

READING_SD_C = 0.3
"""One reading of a bed against another at the same spot, from memory: the probe never stands quite where it stood."""

WARMING_Q10 = 2.0
"""How many times more heat living grain makes 10 °C warmer, from memory."""

DRY_GRAIN_KJ_PER_KG_K, WATER_KJ_PER_KG_K = 1.55, 4.19
"""Specific heats: of the dry matter of grain from memory, of water published (CRC Handbook)."""

_EDGES = ((0.0, 0.25), (0.25, 0.5), (0.5, 0.75), (0.75, 1.0), (1.0, 1.25))


@dataclass(frozen=True)
class Warming:
    """A straight line through readings. level_c: where it ends, at the last reading; sds: standard uncertainties."""

    per_h: float
    per_h_sd: float
    level_c: float
    level_sd: float


def warming(hours: Sequence[float], temperatures_c: Sequence[float], reading_sd_c: float = READING_SD_C) -> Warming:
    """Find how fast a bed warms from its readings since it was last turned.

    Args: hours: when each was read, h, at least 2 different ones; temperatures_c: °C, -100 to 1000, one for each;
        reading_sd_c: standard uncertainty of one reading, °C, above 0.
    Returns: a Warming: least squares; the scatter about the line counts where it is more than that of a reading.
    Source: straight line by least squares [D]; uncertainty of a reading from memory [M].
    Check: 14, 15, 16 °C at 0, 2, 4 h warm by 0.5 °C an hour, ± 2 × 0.3/√8 = 0.21.
    """
    at = between("Hours", np.asarray(hours, dtype=np.float64), unit="h")
    read = between("A temperature", np.asarray(temperatures_c, dtype=np.float64), -100.0, 1000.0, unit="°C")
    reading_sd = between("The uncertainty of a reading", reading_sd_c, above=0.0, unit="°C")
    if at.shape != read.shape or at.ndim != 1 or len(set(at.tolist())) < 2:
        raise ValueError("How fast a bed warms takes readings at two times at least, one temperature for each.")
    middle = float(at.mean())
    spread = float(((at - middle) ** 2).sum())
    per_h = float(((at - middle) * (read - read.mean())).sum()) / spread
    left = read - read.mean() - per_h * (at - middle)
    scatter = math.sqrt(float(left @ left) / (len(at) - 2)) if len(at) > 2 else 0.0
    sd, ahead = max(reading_sd, scatter), float(at.max()) - middle
    level_sd = sd * math.sqrt(1.0 / len(at) + ahead**2 / spread)
    return Warming(per_h, sd / math.sqrt(spread), float(read.mean()) + per_h * ahead, level_sd)


def hours_to_limit(level_c: float, limit_c: float, per_h: float, q10: float = 1.0) -> float | None:
    """Find how long it takes a bed to come to a limit.

    Args: level_c, limit_c: °C, -3000 to 3000, of the bed now and of the limit above it (a bed that falls to a limit is
        asked about with all signs turned); per_h: how fast it warms now, °C/h; q10: how many times faster it warms
        10 °C warmer, 1 (a straight line) to 5.
    Returns: hours; 0 where it is there already; None where it doesn't warm.
    Source: dT/dt = r·q10^((T - T0)/10), integrated [D]; a q10 of 2 for the heat of living grain from memory [M].
    Check: 5 °C at 0.5 °C an hour take 10 h on a straight line, and (20/ln 2)·(1 - 2^-0.5) = 8.4510 h with a q10 of 2.
    """
    level = between("The temperature", level_c, -3000.0, 3000.0, unit="°C")
    rise = between("The limit", limit_c, -3000.0, 3000.0, unit="°C") - level
    factor = between("The q10", q10, 1.0, 5.0)
    if rise <= 0.0:
        return 0.0
    if per_h <= 1e-9:
        return None
    if factor == 1.0:
        return rise / per_h
    steep = math.log(factor) / 10.0
    return -math.expm1(-steep * rise) / (steep * per_h)


def warming_without_loss_c_per_h(dry_loss_per_h: float, moisture_wb: float) -> float:
    """Find how fast a bed warms at the most: by all the heat that its grain makes, none of which gets away.

    Args: dry_loss_per_h: what it breathes away, as a fraction of its dry matter each hour, 0 to 0.01; moisture_wb: of
        the grain, fraction wet basis, 0 to below 1.
    Returns: °C/h.
    Source: heat of respiration over the heat that grain and water take up [D]; specific heat of dry grain
        1.55 kJ/(kg·K) from memory [M], of water 4.19 (CRC Handbook of Chemistry and Physics [P]).
    Check: 1 % a day at 44 % moisture: 7.204 kJ/(kg·h) over 4.842 kJ/(kg·K) is 1.488 °C/h.
    """
    burnt = between("The loss", dry_loss_per_h, 0.0, 0.01)
    moisture = between("The moisture", moisture_wb, 0.0, below=1.0)
    takes_kj = DRY_GRAIN_KJ_PER_KG_K + WATER_KJ_PER_KG_K * moisture / (1.0 - moisture)
    return respiration(burnt).heat_kj / takes_kj


def dry_matter_lost_kg_with_sd(
    dry_kg: float, shares: Mapping[str, float], relative_sds: Mapping[str, float]
) -> tuple[float, float]:
    """Find what breath and rootlets take in a stretch of time, with its standard uncertainty.

    Args: dry_kg: dry matter at its beginning, kg, at least 0; shares: of it that each takes, by name, 0 to 1;
        relative_sds: how far each may be off, as a fraction of itself, by the same names.
    Returns: (kg, standard uncertainty); the parts are taken to be off together, for one warm bed is behind them all.
    Source: sum of estimates that go together [D].
    Check: 22 kg losing 1.1 % and 0.7 %, each ± 25 %: 0.396 kg with 0.099 kg.
    """
    dry = between("The dry matter", dry_kg, 0.0, unit="kg")
    lost = {name: dry * between(f"The share of {name}", share, 0.0, 1.0) for name, share in shares.items()}
    return sum(lost.values()), sum(abs(relative_sds[name]) * kg for name, kg in lost.items())


def overgrown_after(class_counts: ClassCounts, gain: float) -> float:
    """Find which share of kernels is overgrown once all that were counted in classes have grown on by the same length.

    Args: class_counts: kernels (or per cent) in the five classes of a growth count, in which they are taken to lie
        evenly; gain: kernel lengths, at least 0.
    Returns: fraction longer than the kernel.
    Source: a count moved along as a whole [D]; that all grow alike is common practice [C].
    Check: 2/3/15/75/5 % is 5 % overgrown after 0, and 5 % + 75 % × 0.4 = 35 % after 0.1.
    """
    more = between("The gain", gain, 0.0)
    past = [min(max((high + more - 1.0) / (high - low), 0.0), 1.0) for low, high in _EDGES]
    return float(sum(share * part for share, part in zip(class_shares(class_counts), past, strict=True)))


def overgrown_lengths_after(lengths: Sequence[float], gain: float) -> float:
    """Find the same from lengths that were measured one by one.

    Args: lengths: of each acrospire, kernel lengths, at least one; gain: kernel lengths, at least 0.
    Returns: fraction longer than the kernel.
    Source: as overgrown_after [D].
    Check: 0.7, 0.85, 0.95 and 1.0 are half overgrown after 0.1.
    """
    measured = between("A length", np.asarray(lengths, dtype=np.float64), 0.0)
    if measured.ndim != 1 or not len(measured):
        raise ValueError("At least one length is needed.")
    return float(np.mean(measured + between("The gain", gain, 0.0) > 1.0))
