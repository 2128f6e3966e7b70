"""Moisture measured otherwise than by the weight of the charge: by the oven and by the meter.

Raw grain and malt want different ovens: the heat of ISO 712 makes water out of malt, so malt has its own method
(EBC Analytica 4.2, from memory [M]). The method is kept with each result.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from app.science._checks import Quantity, between


@dataclass(frozen=True)
class OvenMethod:
    """An oven method for moisture: which, what it is for and where it is written down."""

    title: str
    material: str
    source: str
    mark: str


OVEN_METHODS: Mapping[str, OvenMethod] = {
    "raw_grain": OvenMethod("Ground, 130–133 °C, 2 h", "raw grain", "ISO 712; time and heat from memory", "M"),
    "malt": OvenMethod("Ground, 105 °C, 3 h", "malt: its heat at 130 °C makes water", "EBC 4.2, from memory", "M"),
    "green_malt": OvenMethod("Two stages: air-dry whole, then ground in the oven", "green malt", "identity", "D"),
}


def oven_moisture_wb(wet_mass_kg: Quantity, dry_mass_kg: float) -> Quantity:
    """Find the moisture of a sample from its weight before and after the oven.

    Args: wet_mass_kg: kg (or g, both alike), above 0; dry_mass_kg: the same unit, 0 to the wet mass.
    Returns: moisture, wet basis: (wet - dry)/wet.
    Source: definition; which oven, how long and for what grain is in OVEN_METHODS [D].
    Check: 5.000 g to 4.775 g is 4.5 %.
    """
    wet = between("The wet mass", wet_mass_kg, above=0.0)
    return between("Moisture (was the sample heavier after the oven?)", (wet - dry_mass_kg) / wet, 0.0, 1.0)


def two_stage_moisture_wb(first_loss: Quantity, second_loss: float) -> Quantity:
    """Find the moisture of green malt dried in two stages: whole in air, then ground in the oven.

    Args: first_loss: weight lost in the first stage as a fraction of the green weight; second_loss: lost in the
        second as a fraction of what was put in; both 0 to 1.
    Returns: moisture of the green malt, wet basis: a + b(1-a).
    Source: identity [D].
    Check: 38 % lost in air, then 10 % in the oven, is 44.2 %.
    """
    first = between("The first loss", first_loss, 0.0, 1.0)
    return first + between("The second loss", second_loss, 0.0, 1.0) * (1.0 - first)


def meter_moisture_wb(
    reading_wb: float, highest_wb: float = 0.20, grain_temperature_c: float | None = None, is_roasted: bool = False
) -> float:
    """Accept or refuse a reading of a moisture meter.

    Args: reading_wb: 0 to 1; highest_wb: top of the meter's range, mostly 0.20 to 0.25; grain_temperature_c: warm
        grain above 40 °C is refused; is_roasted: no meter is calibrated for roasted malt.
    Returns: the reading, unchanged, when it may be kept.
    Source: common practice; the range is the maker's [C].
    Check: 24 % on a meter made for up to 20 % is refused.
    """
    between("Moisture", reading_wb, 0.0, 1.0)
    if is_roasted:
        raise ValueError("A moisture meter does not read roasted malt: use an oven.")
    if grain_temperature_c is not None and grain_temperature_c > 40.0:
        raise ValueError("The grain is too warm for the meter: let it cool below 40 °C first.")
    if reading_wb > highest_wb:
        raise ValueError(f"{reading_wb:.1%} is above the meter's range of {highest_wb:.1%}: use weights or an oven.")
    return reading_wb
