"""How each field of an entry is read from what was typed: number and unit in, SI value out.

One reading serves the page's form, the sync and the import. Limits here are those of physics and of the keyboard;
what is sensible for malt is judged elsewhere, and only flagged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from app.errors import Rejected
from app.judgement.facts.shapes import Subject
from app.science import units


class BadValues(Rejected, ValueError):
    """What was typed can't be taken: field name -> what is wrong and what to do."""

    def __str__(self) -> str:
        return "; ".join(f"{name}: {message}" for name, message in self.fields.items())


@dataclass(frozen=True, kw_only=True)
class FieldSpec:
    """One field of an entry. target: the attribute of the fact it fills, with a dot for one key of a mapping.

    missing: what is said where it is needed and left empty. asked_at: the stages at which it is asked, and "lot" for
    grain in store; None: asked of everything. moot_by: another field, and its answers that make this no question.
    """

    word: str
    target: str
    required: bool = True
    help: str = ""
    missing: str = ""
    asked_at: frozenset[str] | None = None
    moot_by: tuple[str, ...] = ()

    def is_asked(self, stage: str) -> bool:
        return self.asked_at is None or stage in self.asked_at

    def read(self, typed: Mapping[str, str], name: str) -> Any:
        """The SI value of what was typed, or None where nothing was; ValueError says what to mend."""
        raw = str(typed.get(name) or "").strip()
        if not raw:
            if self.required:
                raise ValueError(self.missing or f"{self.word} is missing.")
            return None
        unit = self.unit_typed(typed, name)
        return self.check_typed(self.parse(raw, unit), unit)

    def unit_typed(self, typed: Mapping[str, str], name: str) -> str:
        """The unit that was typed for this field, empty where none was."""
        return str(typed.get(f"{name}_unit") or "")

    def parse(self, raw: str, unit: str) -> Any:
        return raw

    def check_typed(self, value: Any, unit: str) -> Any:
        """check, with what is wrong said in the unit that was typed."""
        return self.check(value)

    def check(self, value: Any) -> Any:
        return value


@dataclass(frozen=True, kw_only=True)
class Quantity(FieldSpec):
    """A number with a unit; low and high are what physics allows, SI.

    is_difference: 9 °F is 5 °C, not −13 °C. unit_of: the field whose unit it shares where it has none of its own.
    has_minus: False where no unit of it goes below zero, whatever zero it counts from.
    """

    dimension: str
    low: float | None = None
    high: float | None = None
    is_difference: bool = False
    unit_of: str = ""
    has_minus: bool = True

    def parse(self, raw: str, unit: str) -> float:
        key = unit or units.DEFAULT_UNITS["metric"][self.dimension]
        if key not in {known.key for known in units.units_of(self.dimension)}:
            raise ValueError(f"{self.word} can't be given in “{unit}”.")
        number = units.parse_number(raw)
        if number < 0.0 and not self.has_minus:
            raise ValueError(f"{self.word} can't be below 0.")
        return units.difference_to_si(number, key) if self.is_difference else units.to_si(number, key)

    def unit_typed(self, typed: Mapping[str, str], name: str) -> str:
        return str(typed.get(f"{name}_unit") or typed.get(f"{self.unit_of}_unit") or "")

    def check(self, value: Any) -> float:
        return self.check_typed(value, "")

    def check_typed(self, value: Any, unit: str) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
            raise ValueError(f"{self.word} must be a number.")
        if self.low is not None and value < self.low:
            raise ValueError(f"{self.word} can't be below {self._shown(self.low, unit)}.")
        if self.high is not None and value > self.high:
            raise ValueError(f"{self.word} can't be above {self._shown(self.high, unit)}.")
        return float(value)

    def _shown(self, value: float, unit: str) -> str:
        key = unit or units.DEFAULT_UNITS["metric"][self.dimension]
        if not self.is_difference:
            return units.format_quantity(value, key)
        return f"{units.difference_from_si(value, key):g} {units.UNITS[key].symbol}"


@dataclass(frozen=True, kw_only=True)
class Count(FieldSpec):
    """A whole number."""

    low: int = 0
    high: int = 100_000

    def parse(self, raw: str, unit: str) -> Any:
        return units.parse_number(raw)

    def check(self, value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"{self.word} must be a whole number.")
        if not self.low <= value <= self.high:
            raise ValueError(f"{self.word} must be from {self.low} to {self.high}.")
        if value != int(value):
            raise ValueError(f"{self.word} must be a whole number.")
        return int(value)


@dataclass(frozen=True, kw_only=True)
class Choice(FieldSpec):
    """One of a few words. clean: the one that says that nothing is amiss."""

    options: tuple[tuple[str, str], ...]
    clean: str = ""

    def check(self, value: Any) -> str:
        if value not in {key for key, _ in self.options}:
            raise ValueError(f"{self.word}: choose one of {', '.join(word for _, word in self.options)}.")
        return str(value)


@dataclass(frozen=True, kw_only=True)
class Text(FieldSpec):
    """Words of one's own."""

    max_length: int = 200

    def check(self, value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError(f"{self.word} must be text.")
        if len(value) > self.max_length:
            raise ValueError(f"{self.word} is longer than {self.max_length} characters.")
        return value


@dataclass(frozen=True, kw_only=True)
class Moment(FieldSpec):
    """A moment, as ISO 8601; where it has no offset, the unit beside it names its time zone."""

    def parse(self, raw: str, unit: str) -> datetime:
        try:
            moment = datetime.fromisoformat(raw)
            if moment.tzinfo is None:
                moment = moment.replace(tzinfo=ZoneInfo(unit) if unit else UTC)
            return moment.astimezone(UTC)
        except (ValueError, OverflowError, ZoneInfoNotFoundError) as error:
            raise ValueError(f"{self.word} is not a date and time.") from error

    def check(self, value: Any) -> datetime:
        if isinstance(value, str):
            return self.parse(value, "")
        if not isinstance(value, datetime) or value.tzinfo is None:
            raise ValueError(f"{self.word} is not a date and time.")
        return value


@dataclass(frozen=True, kw_only=True)
class Reference(FieldSpec):
    """Another thing of the house, as type:id."""

    types: frozenset[str]

    def check(self, value: Any) -> Subject:
        if isinstance(value, Mapping):
            subject = Subject(str(value.get("type", "")), str(value.get("id", "")))
        elif isinstance(value, Subject):
            subject = value
        else:
            subject = Subject(*[*str(value).split(":", 1), ""][:2])
        if subject.type not in self.types or not subject.id:
            raise ValueError(f"{self.word} is unknown.")
        return subject


@dataclass(frozen=True, kw_only=True)
class Lengths(FieldSpec):
    """Acrospire lengths in kernel lengths, apart by spaces, semicolons or lines."""

    def parse(self, raw: str, unit: str) -> Any:
        return [units.parse_number(part) for part in raw.replace(";", " ").split()]

    def check(self, value: Any) -> tuple[float, ...]:
        if not isinstance(value, list | tuple) or any(not isinstance(each, int | float) for each in value):
            raise ValueError(f"{self.word} must be numbers.")
        if any(not 0 <= each <= 5 for each in value):
            raise ValueError(f"{self.word}: each length is between 0 and 5 kernel lengths.")
        return tuple(float(each) for each in value)
