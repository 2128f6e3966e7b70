"""What a working asks for: each number with its dimension, its unit in either system, and what stands there first."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from app.judgement.facts.fields import Choice, Count, FieldSpec, Quantity
from app.science import units

_APART = re.compile(r"[,;]\s+|[;/\s]+")
_SMALL = {"metric": "g", "us": "oz"}
_GRAMS = {"metric": "g", "us": "g"}
_KILOGRAMS = {"metric": "kg", "us": "lb"}


@dataclass(frozen=True, kw_only=True)
class Number(FieldSpec):
    """A number in one fixed unit, which is only shown."""

    low: float
    high: float

    def parse(self, raw: str, unit: str) -> float:
        return units.parse_number(raw)

    def check(self, value: float) -> float:
        if not self.low <= value <= self.high:
            raise ValueError(f"{self.word} must be from {self.low:g} to {self.high:g}.")
        return value


@dataclass(frozen=True, kw_only=True)
class Row(FieldSpec):
    """Several numbers, apart by spaces, semicolons or lines; with a dimension they have one unit beside them."""

    low: float
    high: float
    fewest: int = 1
    most: int = 60
    dimension: str = ""

    def parse(self, raw: str, unit: str) -> tuple[float, ...]:
        numbers = [units.parse_number(part) for part in _APART.split(raw.strip()) if part]
        return tuple(units.to_si(each, unit) for each in numbers) if self.dimension and unit else tuple(numbers)

    def check(self, value: tuple[float, ...]) -> tuple[float, ...]:
        if not self.fewest <= len(value) <= self.most:
            raise ValueError(f"{self.word}: give from {self.fewest} to {self.most} numbers, with spaces between them.")
        if not all(self.low <= each <= self.high for each in value):
            raise ValueError(f"{self.word}: each must be from {self._shown(self.low)} to {self._shown(self.high)}.")
        return value

    def unit_typed(self, typed: Mapping[str, str], name: str) -> str:
        unit_keys = {each.key for each in units.units_of(self.dimension)} if self.dimension else set()
        unit = super().unit_typed(typed, name)
        if unit and unit not in unit_keys:
            raise ValueError(f"{self.word} can't be given in “{unit}”.")
        return unit

    def _shown(self, value: float) -> str:
        if not self.dimension:
            return f"{value:g}"
        return units.format_quantity(value, units.DEFAULT_UNITS["metric"][self.dimension])


@dataclass(frozen=True)
class Ask:
    """One field of a working. units: its unit in either system, empty where it has none to be chosen.

    symbol: a unit that is only shown; filled: what stands there at first, by system.
    """

    spec: FieldSpec
    filled: Mapping[str, str]
    units: Mapping[str, str]
    symbol: str = ""

    @property
    def dimension(self) -> str:
        return str(getattr(self.spec, "dimension", ""))


def mass(word: str, filled: str, us: str = "", *, lab: bool = False, zero: bool = False, hint: str = "") -> Ask:
    """A mass in kg or lb; in g or oz where a number of ounces is given too; lab: in g; zero: may be nothing."""
    spec = Quantity(word=word, target="", dimension="mass", low=0.0 if zero else 1e-6, high=1e6, help=hint)
    return Ask(spec, {"metric": filled, "us": us or filled}, _GRAMS if lab else _SMALL if us else _KILOGRAMS)


def share(
    word: str, filled: str, low: float = 0.0, high: float = 1.0, *, optional: bool = False, hint: str = ""
) -> Ask:
    """A fraction, typed in per cent."""
    spec = Quantity(word=word, target="", dimension="fraction", low=low, high=high, required=not optional, help=hint)
    return Ask(spec, _both(filled), {}, "%")


def moisture(word: str, filled: str, low: float = 0.0, high: float = 0.95, hint: str = "") -> Ask:
    """A moisture, typed in per cent of the whole."""
    return share(word, filled, low, high, hint=hint)


def temperature(word: str, metric: str, us: str, low: float = -40.0, high: float = 150.0) -> Ask:
    spec = Quantity(word=word, target="", dimension="temperature", low=low, high=high)
    return Ask(spec, {"metric": metric, "us": us}, {"metric": "c", "us": "f"})


def difference(word: str, metric: str, us: str, low: float = 0.0, high: float = 55.0) -> Ask:
    """A difference of temperatures."""
    spec = Quantity(word=word, target="", dimension="temperature", low=low, high=high, is_difference=True)
    return Ask(spec, {"metric": metric, "us": us}, {"metric": "c", "us": "f"})


def altitude() -> Ask:
    spec = Number(
        word="Height above the sea", target="", low=-500, high=4000, required=False, help="1000 ft are 305 m."
    )
    return Ask(spec, _both("0"), {}, "m")


def air_flow(word: str, metric: str, us: str) -> Ask:
    """An air flow that need not be known."""
    spec = Quantity(word=word, target="", dimension="air_flow", low=1e-5, high=300.0, required=False)
    return Ask(spec, {"metric": metric, "us": us}, {"metric": "m3_h", "us": "cfm"})


def volume(word: str, litres: str, us: str) -> Ask:
    """A volume in L or gal."""
    spec = Quantity(word=word, target="", dimension="volume", low=1e-6, high=1000.0)
    return Ask(spec, {"metric": litres, "us": us}, {"metric": "l", "us": "gal"})


def length(word: str, cm: str, inches: str) -> Ask:
    spec = Quantity(word=word, target="", dimension="length", low=1e-3, high=100.0)
    return Ask(spec, {"metric": cm, "us": inches}, {"metric": "cm", "us": "in"})


def number(
    word: str, filled: str, symbol: str, low: float, high: float, *, optional: bool = False, hint: str = ""
) -> Ask:
    spec = Number(word=word, target="", low=low, high=high, required=not optional, help=hint)
    return Ask(spec, _both(filled), {}, symbol)


def count(word: str, filled: str, low: int = 0, high: int = 10_000) -> Ask:
    return Ask(Count(word=word, target="", low=low, high=high), _both(filled), {})


def row(word: str, filled: str, low: float, high: float, *, fewest: int = 1, optional: bool = False) -> Ask:
    spec = Row(word=word, target="", low=low, high=high, fewest=fewest, required=not optional)
    return Ask(spec, _both(filled), {})


def temperatures(word: str, metric: str, us: str, low: float, high: float) -> Ask:
    spec = Row(word=word, target="", low=low, high=high, dimension="temperature")
    return Ask(spec, {"metric": metric, "us": us}, {"metric": "c", "us": "f"})


def choice(word: str, *options: tuple[str, str]) -> Ask:
    """One of a few; the first stands there at first."""
    return Ask(Choice(word=word, target="", options=options), _both(options[0][0]), {})


def _both(text: str) -> Mapping[str, str]:
    return {"metric": text, "us": text}
