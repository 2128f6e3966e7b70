"""What every record says beside its values: whose it is, about what, when, by which clock, and how sure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields as dataclass_fields
from datetime import UTC, datetime
from typing import Any

from app.judgement.facts.fields import BadValues
from app.judgement.facts.kind_parts import QUALITIES
from app.judgement.facts.shapes import Fact, Subject

NAMES = tuple(field.name for field in dataclass_fields(Fact))
FORM_VERSION = 1
"""The newest form of an entry that this program knows; every older one is read for ever."""

MOST_OFFSET_S = 1e10
_TIMES = ("earliest_at", "latest_at", "written_at", "received_at")
_TEXT_LIMITS = {"place": 60, "instrument": 60, "person": 80, "entered_by": 80, "method": 40, "device": 80, "note": 5000}
_ID_LENGTH, _SUBJECT_LENGTH = 36, 60


def read_envelope(record: Mapping[str, Any]) -> dict[str, Any]:
    """The envelope's values, as the dataclasses take them; BadValues names each key that can't be read."""
    given = {name: record[name] for name in NAMES if record.get(name) is not None}
    if record.get("at") is not None and "earliest_at" not in given:
        given["earliest_at"] = given["latest_at"] = record["at"]
    given.setdefault("quality", "measured")
    given.setdefault("typed", {})
    for name in ("id", "subject", "earliest_at", "latest_at"):
        given.setdefault(name, None)
    wrong: dict[str, str] = {}
    for name, value in given.items():
        try:
            given[name] = _READERS[name](value) if name in _READERS else value
        except ValueError as error:
            wrong[name] = str(error)
    if not wrong and given["latest_at"] < given["earliest_at"]:
        wrong["latest_at"] = "The end is before the beginning."
    if wrong:
        raise BadValues(wrong)
    return given


def _id(value: object) -> str:
    if not isinstance(value, str) or not 1 <= len(value) <= _ID_LENGTH:
        raise ValueError(f"The id is missing, or longer than {_ID_LENGTH} characters.")
    return value


def _subject(value: object) -> Subject:
    if isinstance(value, Subject):
        named: tuple[object, object] = value
    else:
        named = (value.get("type"), value.get("id")) if isinstance(value, Mapping) else (None, None)
    if not all(isinstance(each, str) and 1 <= len(each) <= _SUBJECT_LENGTH for each in named):
        raise ValueError("What is this about? It needs a type and an id.")
    return Subject(str(named[0]), str(named[1]))


def _time(value: object) -> datetime:
    if value is None:
        raise ValueError("The time is missing.")
    try:
        moment = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
        if moment.tzinfo is None:
            raise ValueError
        return moment.astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise ValueError("This is not a time with its offset, such as 2026-03-01T06:30:00Z.") from error


def _text(limit: int) -> Callable[[object], str]:
    def read(value: object) -> str:
        if not isinstance(value, str) or len(value) > limit:
            raise ValueError(f"This must be text of at most {limit} characters.")
        return value

    return read


def _word(*choices: str) -> Callable[[object], str]:
    def read(value: object) -> str:
        if not isinstance(value, str) or value not in choices:
            raise ValueError(f"This must be one of {', '.join(choices)}.")
        return value

    return read


def _offset(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= MOST_OFFSET_S:
        raise ValueError("The offset of the clock must be a number of seconds.")
    return float(value)


def _version(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise ValueError("The version of the form must be a whole number from 1.")
    if value > FORM_VERSION:
        raise ValueError(
            f"This entry comes from a newer form (version {value}; this program reads up to {FORM_VERSION}). "
            "Bring the program up to date, then send it again."
        )
    return value


def _typed(value: object) -> dict[str, str]:
    if not isinstance(value, Mapping):
        raise ValueError("What was typed must be a set of fields.")
    return {str(key): str(each) for key, each in value.items()}


_READERS: Mapping[str, Callable[[object], Any]] = {
    "id": _id,
    "subject": _subject,
    **dict.fromkeys(_TIMES, _time),
    "clock": _word("now", "typed"),
    "clock_offset_s": _offset,
    **{name: _text(limit) for name, limit in _TEXT_LIMITS.items()},
    "quality": _word(*dict(QUALITIES)),
    "supersedes_id": _id,
    "v": _version,
    "typed": _typed,
}
