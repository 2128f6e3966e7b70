"""Where every fact is put together: of what was written here, and of a record that came from elsewhere.

A record is plain JSON, the one format of sync, export and import: the envelope's keys, `subject` as {"type", "id"},
times as ISO 8601 with offset, `typed` (what was typed, with units) and `values` (SI). One that has only `typed` is read
by the same fields as the page.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields as dataclass_fields
from datetime import datetime
from typing import Any

from app.judgement.facts.envelope import NAMES, read_envelope
from app.judgement.facts.fields import BadValues, FieldSpec
from app.judgement.facts.kind_parts import VALUELESS_QUALITIES, Kind
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.refusals import contradictions, refused_meter
from app.judgement.facts.shapes import Analysis, Answer, Fact, Part, Reading, Result, Subject, Tally, Weighing


def kind_named(name: object) -> Kind:
    """The kind of that name; BadValues where there is none."""
    if not isinstance(name, str) or name not in KINDS:
        raise BadValues({"kind": f"“{name}” is not a kind of entry that this program knows."})
    return KINDS[name]


def written(
    kind_name: str,
    typed: Mapping[str, str],
    about: tuple[str, str],
    at: tuple[datetime, datetime],
    *,
    entry_id: str | None,
    clock: str,
    written_at: datetime,
    by: str | None,
    values: Mapping[str, Any] | None = None,
    **beside: str | None,
) -> Fact:
    """The fact of an entry that somebody writes here; BadValues names each field that can't be taken.

    about: type and id of its subject; at: not before, not after; clock: now or typed; by: who writes it, who also read
    or did it unless `person` is given. values: what was typed, where that was read already. beside: what else a record
    may say, such as place or note.
    """
    record = {"id": entry_id, "kind": kind_name, "subject": Subject(*about), "typed": typed, "clock": clock}
    times = {"earliest_at": at[0], "latest_at": at[1], "written_at": written_at}
    return _fact({**record, **times, "person": by, "entered_by": by, **beside}, values)


def read_typed(kind: Kind, typed: Mapping[str, str], quality: str) -> tuple[dict[str, Any], dict[str, str]]:
    """What was typed in the kind's fields as SI values, each by itself; and, by field, what can't be read."""
    values: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for name, spec in kind.fields.items():
        try:
            may_lack = _may_lack_values(kind, quality) or _is_moot(spec, typed)
            if may_lack and not str(typed.get(name) or "").strip():
                continue
            value = spec.read(typed, name)
        except ValueError as error:
            wrong[name] = str(error)
            continue
        if value is not None:
            _put(values, spec.target, value)
    return values, wrong


def _may_lack_values(kind: Kind, quality: str) -> bool:
    """Whether somebody may say that there is no number; not of grain that was moved, nor of an answer to something."""
    return quality in VALUELESS_QUALITIES and kind.shape not in (Part, Answer)


def _is_moot(spec: FieldSpec, told: Mapping[str, Any]) -> bool:
    """Whether another answer makes it no question now."""
    return bool(spec.moot_by) and told.get(spec.moot_by[0]) in spec.moot_by[1:]


def values_from_typed(kind: Kind, typed: Mapping[str, str], quality: str = "measured") -> dict[str, Any]:
    """Read what was typed into the SI values of the kind's fields; BadValues names each field that can't be read."""
    values, wrong = read_typed(kind, typed, quality)
    _refuse(wrong)
    return completed(kind, values, quality)


def checked_values(kind: Kind, values: Mapping[str, Any], quality: str = "measured") -> dict[str, Any]:
    """Check SI values that came ready, by the same limits; BadValues names each field that is wrong."""
    checked: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    told = {name: _take(values, spec.target) for name, spec in kind.fields.items()}
    for name, spec in kind.fields.items():
        value = told[name]
        try:
            if value is not None:
                _put(checked, spec.target, spec.check(value))
            elif spec.required and not _may_lack_values(kind, quality) and not _is_moot(spec, told):
                raise ValueError(f"{spec.word} is missing.")
        except (ValueError, TypeError) as error:
            wrong[name] = str(error)
    _refuse(wrong)
    return completed(kind, checked, quality)


def completed(kind: Kind, values: dict[str, Any], quality: str) -> dict[str, Any]:
    """Fill what follows from the other values, and refuse what they contradict."""
    if kind.shape is Weighing:
        return _completed_weighing(values)
    if kind.shape is Tally:
        return _completed_tally(kind, values)
    if kind.shape is Part:
        return values | {"dry_kg": values["as_is_kg"] * (1.0 - values["moisture_wb"])}
    if kind.shape is Reading and values.get("value") is None and quality not in VALUELESS_QUALITIES:
        raise BadValues({"value": f"{kind.word} is missing."})
    if kind.shape is Analysis and not values.get("found") and quality not in VALUELESS_QUALITIES:
        raise BadValues({next(iter(kind.fields)): "Give at least one figure."})
    if kind.shape is Result:
        _refuse(contradictions(kind.name, values) if "value" in values else {"value": f"{kind.word} is missing."})
    return values


def _refuse(wrong: Mapping[str, str]) -> None:
    if wrong:
        raise BadValues(wrong)


def _completed_weighing(values: dict[str, Any]) -> dict[str, Any]:
    gross, tare, net = (values.get(name) for name in ("gross_kg", "tare_kg", "net_kg"))
    if net is None:
        if gross is None:
            raise BadValues({"gross": "Give the gross weight, or the net weight."})
        if tare is not None and tare > gross:
            raise BadValues({"tare": "The tare is more than the gross weight: the other way round?"})
        net = gross - (tare or 0.0)
    elif gross is not None and net > gross + 1e-9:
        raise BadValues({"net": "The net weight is more than the gross weight: the other way round?"})
    elif gross is not None and tare is not None and abs(gross - tare - net) > 1e-6 + 1e-3 * abs(gross):
        raise BadValues({"net": "Gross less tare is not this net weight: leave one of them out."})
    of = values.get("of_kg")
    if of is not None and net > of:
        raise BadValues({"of": "More was skimmed off than was looked through."})
    return values | {"net_kg": net}


def _completed_tally(kind: Kind, values: dict[str, Any]) -> dict[str, Any]:
    counts = dict(values.get("counts", {}))
    lengths = tuple(values.get("lengths", ()))
    if not counts and not lengths:
        raise BadValues({_first_class(kind): "Nothing was counted yet."})
    if lengths and any(key in counts for key in ("to_quarter", "three_quarters_to_full", "over")):
        raise BadValues({"lengths": "Give either lengths or a tally, not both."})
    total = sum(counts.values()) + len(lengths)
    looked_at = values.get("looked_at")
    if looked_at is None:
        if total == 0:
            raise BadValues({_first_class(kind): "Nothing was counted yet."})
        looked_at = total
    if total > looked_at:
        raise BadValues({"looked_at": f"{total} were counted, more than the {looked_at} looked at."})
    return values | {"counts": counts, "lengths": lengths, "looked_at": looked_at}


def _first_class(kind: Kind) -> str:
    return next(name for name, spec in kind.fields.items() if spec.target.startswith("counts."))


def _put(values: dict[str, Any], target: str, value: Any) -> None:
    outer, _, inner = target.partition(".")
    if inner:
        values.setdefault(outer, {})[inner] = value
    else:
        values[outer] = value


def _take(values: Mapping[str, Any], target: str) -> Any:
    outer, _, inner = target.partition(".")
    value = values.get(outer)
    if inner:
        return value.get(inner) if isinstance(value, Mapping) else None
    return None if isinstance(value, list | tuple) and not value else value


def fact_from_record(record: Mapping[str, Any]) -> Fact:
    """The fact of a record; BadValues names each key that can't be read."""
    return _fact(record, None)


def _fact(record: Mapping[str, Any], values: Mapping[str, Any] | None) -> Fact:
    """values: SI, where what was typed was read already."""
    kind = kind_named(record.get("kind"))
    envelope = read_envelope(record)
    if envelope["subject"].type not in kind.subjects:
        raise BadValues({"subject": f"{kind.word} is not about a {envelope['subject'].type}."})
    if values is None:
        values = _read(kind, record.get("values"), envelope)
    _refuse(refused_meter(kind.name, values, envelope.get("method")))
    return kind.shape(**envelope, **values)


def _read(kind: Kind, values: Any, envelope: Mapping[str, Any]) -> dict[str, Any]:
    if not values:
        return values_from_typed(kind, envelope["typed"], envelope["quality"])
    if not isinstance(values, Mapping):
        raise BadValues({"values": "The values must be a set of fields."})
    return checked_values(kind, values, envelope["quality"])


def record_from_fact(fact: Fact) -> dict[str, Any]:
    """The record of a fact: plain JSON that fact_from_record reads back as an equal fact."""
    record: dict[str, Any] = {}
    values: dict[str, Any] = {}
    for field in dataclass_fields(fact):
        value = getattr(fact, field.name)
        if value is None:
            continue
        (record if field.name in NAMES else values)[field.name] = _plain(value)
    record["values"] = values
    return record


def _plain(value: Any) -> Any:
    if isinstance(value, Subject):
        return {"type": value.type, "id": value.id}
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    if isinstance(value, Mapping):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    return value
