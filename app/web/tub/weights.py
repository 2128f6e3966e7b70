"""In which unit something is typed beside this tub, until somebody chooses another."""

from __future__ import annotations

from app.judgement.facts.fields import Quantity
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Weighing
from app.judgement.grain.charges import charged
from app.judgement.history.history import History
from app.judgement.slips.masses import most_of
from app.science import units
from app.web.entries.fields import SMALL_MASSES, SMALL_UNITS

KITCHEN_SCALE_KG = 10.0
"""So much a kitchen scale holds, and it shows grams or ounces: whatever is weighed of so small a charge lies on one.
Common practice."""


def mass_units(history: History, kind: str, last: Fact | None, system: str) -> dict[str, str]:
    """For each weight of this kind: the unit that was used last where it is one of the reader's own and the weight
    could be, else the one that a scale of the fitting size shows. Nothing before anything was charged.
    """
    whole = charged(history)
    if whole is None:
        return {}
    small, large = SMALL_UNITS[system], units.DEFAULT_UNITS[system]["mass"]
    unit_by_field = {}
    for name, spec in KINDS[kind].fields.items():
        if not isinstance(spec, Quantity) or spec.target not in ("gross_kg", "of_kg", "ergot_kg"):
            continue
        is_little = kind in SMALL_MASSES and spec.target != "of_kg"
        usual = small if is_little or whole.as_is_kg <= KITCHEN_SCALE_KG else large
        used = last.typed.get(f"{name}_unit") if last is not None and _weight(last, spec) <= most_of(whole) else None
        unit_by_field[f"{name}_unit"] = used if used in (small, large) else usual
    return unit_by_field


def own_units(last: Fact, system: str) -> dict[str, str]:
    """The units that somebody's last entry was typed in: all, where it names the instrument that shows them; else none
    of another system than the reader's.
    """
    own = units.DEFAULT_UNITS[system].values()
    other = {unit for each in units.DEFAULT_UNITS.values() for unit in each.values() if unit not in own}
    typed = {name: unit for name, unit in last.typed.items() if name.endswith("_unit")}
    return {name: unit for name, unit in typed.items() if last.instrument or unit not in other}


def tare_typed(weighing: Weighing, unit: str) -> str:
    """What a bag or tray weighed empty, as one would type it in this unit: as it was typed where it was in the same."""
    was_in = KINDS[weighing.kind].fields["tare"].unit_typed(weighing.typed, "tare") or "kg"
    typed = weighing.typed.get("tare", "")
    return typed if was_in == unit or not typed else f"{units.from_si(weighing.tare_kg or 0.0, unit):.6g}"


def _weight(fact: Fact, spec: Quantity) -> float:
    """What of it is grain."""
    return float(getattr(fact, "net_kg" if spec.target == "gross_kg" else spec.target, None) or 0.0)
