"""Keeping: how much of its storage life a lot has used up, how it dies slowly, and how dry malt must be.

Moistures here are per cent of the whole (wet basis), as the tables are written, where the name says percent.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from app.science._checks import Array, Quantity, between, in_kind, one_of

_TABLES = Path(__file__).parent / "tables"
_LONGEST_IN_TABLE_DAYS = 300.0
_DRIEST_OF_EQUATION, _COLDEST_OF_EQUATION_C = 5.0, -20.0
_ALIVE_AT_FIRST, _ALIVE_AT_LEAST = 99.0, 95.0

MALT_KEEPS_TO_WB = 0.06
"""Malt at or below this moisture keeps (Oxford Companion [P])."""


@dataclass(frozen=True)
class Bracket:
    """Two methods asked the same: the shorter and the longer answer, d."""

    low_days: float
    high_days: float


@dataclass(frozen=True)
class ViabilityConstants:
    """The four constants of the improved viability equation for a species, and whose they are."""

    ke: float
    cw: float
    ch: float
    cq: float
    reference: str


def fraction_used(days: float | Sequence[float] | Array, lives_days: float | Sequence[float] | Array) -> float:
    """Add up the part of its storage life that a lot has used, period by period.

    Args: days: length of each period, d, at least 0; lives_days: how long the grain would have kept in the
        conditions of each, d, above 0.
    Returns: fraction: sum of days/life; 1 and above means used up.
    Source: NDSU Extension 2019 [P].
    Check: 15 d at 17 % (life 30 d) is 0.5, and leaves 135 of the 270 d at 13 %.
    """
    spent = np.atleast_1d(between("A period", np.asarray(days, dtype=np.float64), 0.0, unit="d"))
    lives = np.atleast_1d(between("A storage life", np.asarray(lives_days, dtype=np.float64), above=0.0, unit="d"))
    if spent.shape != lives.shape:
        raise ValueError("Give one storage life for each period.")
    return float(np.sum(spent / lives))


def remaining_days(used_fraction: Quantity, life_days: float) -> Quantity:
    """Find how long a lot still keeps in its present conditions.

    Args: used_fraction: used so far, at least 0, as fraction_used gives it; life_days: storage life in the present
        conditions had they been so from the start, d, above 0.
    Returns: d; 0 where the life is used up.
    Source: NDSU Extension 2019 [P].
    Check: half used, life 270 d: 135 d.
    """
    used = between("The fraction used", used_fraction, 0.0)
    left = 1.0 - used
    rest = np.maximum(left, 0.0) if isinstance(left, np.ndarray) else max(left, 0.0)
    return rest * between("The storage life", life_days, above=0.0, unit="d")


def storage_life_days(moisture_percent: float, temperature_c: float) -> float:
    """Look up how long cereal grain keeps before its quality suffers.

    Args: moisture_percent: up to 30 % wb; below 14 % the row of 14 % is taken; temperature_c: up to 26.7 °C (80 °F);
        below -1.1 °C (30 °F) the column of 30 °F is taken.
    Returns: d, at most 300: the table says no more than "over 300".
    Source: Hellevang 2019, NDSU Extension, table of cereals [P]; between its values straight in the logarithm of the
        days [D].
    Check: 16 % at 50, 60 and 70 °F: 230, 120 and 70 d.
    """
    moistures, temperatures, days = _cereal_table()
    wet = max(between("The moisture", moisture_percent, 0.0, float(moistures[-1]), unit="%"), float(moistures[0]))
    warm = between("The temperature", temperature_c, -60.0, float(temperatures[-1]) + 1e-9, unit="°C")
    by_moisture = [float(np.interp(warm, temperatures, row)) for row in np.log(days)]
    return float(np.exp(np.interp(wet, moistures, by_moisture)))


def malting_life_days(moisture_percent: float, temperature_c: float) -> float:
    """Find how long malting barley keeps its germination.

    Args: moisture_percent: up to 17 % wb; below 13 % the value of 13 % is taken; temperature_c: up to 26.7 °C (80 °F);
        below 15.6 °C (60 °F) the value of 60 °F is taken: drier and colder keeps longer.
    Returns: d.
    Source: NDSU Extension 2009 and 2019: 14 % at 80, 70, 60 °F, and 13 and 17 % at 70 °F [P]; elsewhere the effects of
        heat and moisture multiply, each straight in the logarithm of the days [D].
    Check: 14 % at 80, 70 and 60 °F: 70, 175 and 430 d; 17 % at 70 °F: 30 d.
    """
    rows = _malting_table()
    at_14 = sorted((_celsius(f), d) for m, f, d in rows if m == 14)
    at_70f = sorted((m, d) for m, f, d in rows if f == 70)
    warm = between("The temperature", temperature_c, -60.0, at_14[-1][0] + 1e-9, unit="°C")
    wet = between("The moisture", moisture_percent, 0.0, at_70f[-1][0], unit="%")
    by_heat = np.interp(warm, [c for c, _ in at_14], np.log([d for _, d in at_14]))
    by_moisture = np.interp(wet, [m for m, _ in at_70f], np.log([d for _, d in at_70f]))
    reference = next(d for m, d in at_70f if m == 14)
    return float(np.exp(by_heat + by_moisture) / reference)


def viability_constants(species: str) -> ViabilityConstants:
    """Look up the constants of the viability equation for a species.

    Args: species: barley, wheat, rye, maize or rice (oats are not tabulated).
    Returns: ViabilityConstants.
    Source: the viabilitymetrics package, which names the first source of each [T].
    Check: barley 9.144, 5.342, 0.0329, 0.000478.
    """
    table = _viability_table()
    return table[one_of("The species", species, table)]


def sigma_days(moisture_percent: Quantity, temperature_c: float, species: str) -> Quantity:
    """Find the time in which a lot loses one probit of viability in closed storage.

    Args: moisture_percent: 5 to 25 % wb; temperature_c: -20 to 90 °C; species: as viability_constants.
    Returns: d: 10^(KE - CW·log10 m - CH·t - CQ·t²).
    Source: Ellis & Roberts 1980, Ann. Bot. 45:13 [P].
    Check: rice at 10 % and 5 °C: 98 % falls to 97.648 % in 365 d (viability_percent).
    """
    k = viability_constants(species)
    moisture = between("The moisture", moisture_percent, _DRIEST_OF_EQUATION, 25.0, unit="%")
    warm = between("The temperature", temperature_c, _COLDEST_OF_EQUATION_C, 90.0, unit="°C")
    exponent = k.ke - k.cw * np.log10(moisture) - k.ch * warm - k.cq * warm**2
    return in_kind(10.0**exponent, moisture)


def viability_percent(
    initial_percent: Quantity, moisture_percent: float, temperature_c: float, days: float, species: str
) -> Quantity:
    """Predict the living share of a lot after a time in closed storage.

    Args: initial_percent: above 0 and below 100 % (for a dish where all or none grew: percent_for_probit);
        moisture_percent: 5 to 25 % wb; temperature_c: -20 to 90 °C; days: d, at least 0; species: as
        viability_constants.
    Returns: per cent.
    Source: Ellis & Roberts 1980, Ann. Bot. 45:13: probit v = Ki - p/sigma [P]; constants as viability_constants [T].
    Check: rice, 98 % after 365 d at 10 % and 5 °C: 97.648 % (the viabilitymetrics package).
    """
    from scipy.special import ndtr, ndtri

    initial = between("The viability at the start", initial_percent, above=0.0, below=100.0, unit="%")
    waited = between("The time", days, 0.0, unit="d")
    sigma = sigma_days(moisture_percent, temperature_c, species)
    return in_kind(100.0 * ndtr(ndtri(np.asarray(initial) / 100.0) - waited / sigma), initial)


def viability_life_days(
    initial_percent: float, lowest_percent: float, moisture_percent: float, temperature_c: float, species: str
) -> float:
    """Find how long closed storage takes to bring a lot's viability down to a limit.

    Args: initial_percent, lowest_percent: above 0 and below 100 %, the lowest not above the initial; moisture_percent:
        5 to 25 % wb; temperature_c: -20 to 90 °C; species: as viability_constants.
    Returns: d.
    Source: Ellis & Roberts 1980, Ann. Bot. 45:13, solved for the time [D]; constants as viability_constants [T].
    Check: the days it gives, put into viability_percent, leave the limit.
    """
    from scipy.special import ndtri

    initial = between("The viability at the start", initial_percent, above=0.0, below=100.0, unit="%")
    lowest = between("The lowest viability", lowest_percent, high=initial, above=0.0, unit="%")
    probits = float(ndtri(initial / 100.0) - ndtri(lowest / 100.0))
    return probits * sigma_days(moisture_percent, temperature_c, species)


def malting_bracket_days(moisture_percent: float, temperature_c: float) -> Bracket:
    """Find how long malting barley keeps its germination by two methods that know nothing of each other.

    Args: moisture_percent: up to 17 % wb; temperature_c: up to 26.7 °C (80 °F); below 5 % and -20 °C, where the
        equation ends, it is taken as there.
    Returns: a Bracket: malting_life_days, and the days in which the viability equation takes barley from 99 to 95 %.
        Wet they agree, dry they lie twofold apart, and no measurement says which is right.
    Source: as malting_life_days [P, D] and viability_life_days [D, T]; 99 and 95 % common practice of malting [C].
    Check: 17 % at 21.1 °C: 30 and 31 d; 14 %: 89 and 175 d; 13 %: 132 and 270 d.
    """
    table = malting_life_days(moisture_percent, temperature_c)
    wet, warm = max(moisture_percent, _DRIEST_OF_EQUATION), max(temperature_c, _COLDEST_OF_EQUATION_C)
    equation = viability_life_days(_ALIVE_AT_FIRST, _ALIVE_AT_LEAST, wet, warm, "barley")
    return Bracket(*sorted((table, equation)))


def percent_for_probit(germinated: float, kernels: float) -> float:
    """Give a percentage that has a probit, also where all kernels grew or none did.

    Args: germinated: 0 to all; kernels: the true number, at least 1.
    Returns: per cent; for none a quarter of a kernel, for all a quarter of a kernel less.
    Source: Miller & Tainter 1944, from memory [M].
    Check: 50 of 50 is 99.5.
    """
    laid_out = between("The number of kernels", float(kernels), 1.0)
    grown = between("The number grown", float(germinated), 0.0, laid_out)
    return 100.0 * min(max(grown, 0.25), laid_out - 0.25) / laid_out


def malt_keeps(moisture_wb: float) -> bool:
    """Tell whether malt is dry enough to keep.

    Args: moisture_wb: 0 to 1.
    Returns: whether it is at or below 6 %.
    Source: Oxford Companion [P].
    Check: 5 % keeps, 7 % does not.
    """
    return between("The moisture", moisture_wb, 0.0, 1.0) <= MALT_KEEPS_TO_WB


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) * 5.0 / 9.0


def _rows(name: str) -> list[dict[str, str]]:
    lines = (_TABLES / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(lines[1:]))


@cache
def _cereal_table() -> tuple[Array, Array, Array]:
    rows = _rows("storage_life_cereals.csv")
    columns = [name for name in rows[0] if name != "moisture_percent"]
    days = [[float(row[name] or _LONGEST_IN_TABLE_DAYS) for name in columns] for row in rows]
    moistures = np.array([float(row["moisture_percent"]) for row in rows])
    return moistures, np.array([_celsius(float(name.removesuffix("F"))) for name in columns]), np.array(days)


@cache
def _malting_table() -> tuple[tuple[float, float, float], ...]:
    rows = _rows("storage_life_malting_barley.csv")
    return tuple((float(r["moisture_percent"]), float(r["temperature_f"]), float(r["days"])) for r in rows)


@cache
def _viability_table() -> dict[str, ViabilityConstants]:
    return {
        row["species"]: ViabilityConstants(
            float(row["ke"]), float(row["cw"]), float(row["ch"]), float(row["cq"]), row["reference"]
        )
        for row in _rows("viability_constants.csv")
    }
