"""The other ways in which a typed number can be read: in another unit, or with its decimal mark moved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from typing import NamedTuple

from app.judgement.facts.fields import Quantity
from app.science import units

_CONFUSED: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "temperature": {"c": ("f",), "f": ("c",)},
    "mass": {"kg": ("g", "lb"), "g": ("kg", "oz"), "lb": ("oz", "kg", "g"), "oz": ("lb", "g")},
    "moisture": {"percent": ("fraction", "percent_db"), "fraction": ("percent",), "percent_db": ("percent",)},
    "humidity": {"percent": ("fraction",), "fraction": ("percent",)},
    "co2": {"ppm": ("percent_co2",), "percent_co2": ("ppm",)},
    "length": {"cm": ("mm", "m", "in"), "m": ("cm", "mm"), "mm": ("cm", "m"), "in": ("cm",)},
}
_MOVED_DIMENSIONS = frozenset({"mass", "ph"})
"""Temperatures and shares with a decimal moved are as often right as not: never offered."""


class Other(NamedTuple):
    """Another reading of what was typed: its SI value, its unit, and what to change in what was typed."""

    value: float
    unit: str
    changes: Mapping[str, str]


def other_readings(name: str, spec: Quantity, typed: Mapping[str, str], value: float) -> Iterator[Other]:
    """Other units first, then the decimal mark one and two places to the left and to the right."""
    dimension, unit_field = spec.dimension, f"{name}_unit"
    if spec.unit_of and not typed.get(unit_field):
        unit_field = f"{spec.unit_of}_unit"
    key = spec.unit_typed(typed, name) or units.DEFAULT_UNITS["metric"].get(dimension, "")
    text = str(typed.get(name) or "").strip()
    if key not in units.UNITS:
        return
    number = units.parse_number(text) if text else float(units.from_si(value, key))
    for unit in _CONFUSED.get(dimension, {}).get(key, ()):
        yield Other(float(units.to_si(number, unit)), unit, {name: text or f"{number:.6g}", unit_field: unit})
    if dimension in _MOVED_DIMENSIONS:
        for places in (-1, 1, -2, 2):
            moved = _moved(text or f"{number:.6g}", places)
            if moved is not None:
                yield Other(float(units.to_si(float(moved), key)), key, {name: moved, unit_field: key})


def other_digits(name: str, spec: Quantity, typed: Mapping[str, str], value: float) -> Iterator[Other]:
    """A share with its decimal mark moved; a weight of which two digits changed places, or one is one off, as the key
    beside it makes it. Only for who knows what the number should be near: and even then 5.7 % is never made 4.7 %."""
    key = spec.unit_typed(typed, name) or units.DEFAULT_UNITS["metric"].get(spec.dimension, "")
    if key not in units.UNITS:
        return
    text = str(typed.get(name) or "").strip() or f"{units.from_si(value, key):.6g}"
    is_mass = spec.dimension == "mass"
    for each in [*_swapped(text), *_one_off(text)] if is_mass else [_moved(text, places) for places in (-1, 1)]:
        if each is not None:
            yield Other(float(units.to_si(units.parse_number(each), key)), key, {name: each})


def _swapped(text: str) -> Iterator[str]:
    for place in range(len(text) - 1):
        first, second = text[place], text[place + 1]
        if first.isdigit() and second.isdigit() and first != second:
            yield f"{text[:place]}{second}{first}{text[place + 2 :]}"


def _one_off(text: str) -> Iterator[str]:
    for place, digit in enumerate(text):
        for other in (int(digit) - 1, int(digit) + 1) if digit.isdigit() else ():
            if 0 <= other <= 9:
                yield f"{text[:place]}{other}{text[place + 1 :]}"


def _moved(text: str, places: int) -> str | None:
    """The number with its decimal mark moved, written with a point."""
    try:
        moved = Decimal(text.replace(",", ".").replace(" ", "")).scaleb(places)
    except InvalidOperation:
        return None
    return f"{moved.normalize():f}"
