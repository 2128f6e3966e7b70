"""The form of an entry, filled with what was kept, to be said again rightly."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from app import ports
from app.judgement.facts.fields import FieldSpec, Moment, Quantity
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Subject
from app.judgement.wording import in_zone
from app.science import units
from app.web.entries.forms import EntryForm, entry_form
from app.web.entries.times import local_text


def correction_form(fact: Fact, formdata: Any, system: str, zone: ZoneInfo, now: datetime) -> EntryForm:
    """Blank fields hold what the fact says; formdata, where it was sent, says otherwise."""
    defaults: dict[str, Any] = {
        "id": ports.new_id(),
        "supersedes_id": fact.id,
        "when": "between" if fact.is_range else "at",
        "at": local_text(fact.at, zone),
        "earliest": local_text(fact.earliest_at, zone),
        "latest": local_text(fact.latest_at, zone),
        "fold": "second" if in_zone(fact.at, zone).fold else "first",
        "quality": fact.quality,
    }
    defaults |= {name: getattr(fact, name) or "" for name in ("place", "instrument", "person", "method", "note")}
    defaults |= typed_of(fact, system, zone)
    form = entry_form(fact.kind, formdata, system=system, zone=zone, now=now, **defaults)
    form.exact = {local_text(moment, zone): moment for moment in (fact.at, fact.earliest_at, fact.latest_at)}
    return form


def typed_of(fact: Fact, system: str, zone: ZoneInfo) -> dict[str, str]:
    """What was typed; where only the value is known, that value as one would type it."""
    fields = KINDS[fact.kind].fields
    is_typed = any(name in fact.typed for name in fields)
    typed = _with_units(dict(fact.typed), fields) if is_typed else _from_values(fact, system)
    moments = {spec.target: name for name, spec in fields.items() if isinstance(spec, Moment)}
    known = {name: getattr(fact, target) for target, name in moments.items()}
    return _in_one_unit(typed, fields) | {name: local_text(moment, zone) for name, moment in known.items() if moment}


def _with_units(typed: dict[str, str], fields: Mapping[str, FieldSpec]) -> dict[str, str]:
    """What came without its unit was read as metric, whoever looks at it now."""
    for name, spec in fields.items():
        if isinstance(spec, Quantity) and typed.get(name) and not spec.unit_typed(typed, name):
            typed[f"{spec.unit_of or name}_unit"] = units.DEFAULT_UNITS["metric"][spec.dimension]
    return typed


def _from_values(fact: Fact, system: str) -> dict[str, str]:
    typed: dict[str, str] = {}
    for name, spec in KINDS[fact.kind].fields.items():
        outer, _, inner = spec.target.partition(".")
        value = getattr(fact, outer)
        value = value.get(inner) if inner else value
        if value is None or value == ():
            continue
        if isinstance(spec, Quantity):
            unit = units.DEFAULT_UNITS[system][spec.dimension]
            shown = units.difference_from_si(value, unit) if spec.is_difference else units.from_si(value, unit)
            typed |= {name: f"{shown:.6g}", f"{name}_unit": unit}
        elif isinstance(value, Subject):
            typed[name] = f"{value.type}:{value.id}"
        elif not isinstance(spec, Moment):
            typed[name] = " ".join(f"{each:g}" for each in value) if isinstance(value, tuple) else str(value)
    return typed


def _in_one_unit(typed: dict[str, str], fields: Mapping[str, FieldSpec]) -> dict[str, str]:
    """A number that came with a unit of its own, where the form has one unit for several, said in that unit."""
    for name, spec in fields.items():
        own = typed.get(f"{name}_unit", "")
        if not isinstance(spec, Quantity) or not spec.unit_of or not own or not typed.get(name):
            continue
        shared = typed.setdefault(f"{spec.unit_of}_unit", own)
        if own != shared:
            typed[name] = f"{units.from_si(units.to_si(units.parse_number(typed[name]), own), shared):.8g}"
        del typed[f"{name}_unit"]
    return typed
