"""What malt costs its maker: what went into it, over what came out. Any currency, the same throughout."""

from __future__ import annotations

import math
from collections.abc import Mapping

from app.science._checks import between


def cost_per_kg(parts: Mapping[str, float], malt_kg: float) -> float:
    """Spread what a batch cost over the malt that came of it.

    Args: parts: what was spent, by name, each at least 0; malt_kg: dressed malt, kg, above 0.
    Returns: money for each kilogram.
    Source: definition [D].
    Check: 12 for grain, 6 for heat, 30 for work and 2 for sacks over 20 kg: 2.50 for each.
    """
    spent = math.fsum(between(f"What was spent on {name}", each, 0.0) for name, each in parts.items())
    return spent / between("The malt", malt_kg, above=0.0, unit="kg")


def packs_for(malt_kg: float, pack_kg: float) -> int:
    """Count the packs that hold the malt, the last one perhaps not full.

    Args: malt_kg: kg, at least 0; pack_kg: what one holds, kg, above 0.
    Returns: packs.
    Source: definition [D].
    Check: 20 kg in packs of 5 kg: 4; 20.1 kg: 5.
    """
    whole = between("The malt", malt_kg, 0.0, unit="kg") / between("A pack", pack_kg, above=0.0, unit="kg")
    return math.ceil(whole - 1e-9)
