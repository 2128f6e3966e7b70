"""A calculation done by hand: what it is given, what it answers, and how far the digits typed allow to trust it."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from app.judgement.cautions import Caution
from app.judgement.facts.fields import Quantity
from app.judgement.wording import Words
from app.science import units
from app.science.moisture import resolution_sd
from app.web.words.figures import unbroken
from app.web.workings.asking import Ask, Number

Values = Mapping[str, Any]
FROM_DIGITS = (
    "± is half of the 95 % interval that the digits typed leave open. Type as many as your scale or thermometer shows."
)
_CUBIC_FEET = 1.0 / (60.0 * units.UNITS["cfm"].scale)
"""In a cubic metre; the registry knows the foot by its flow in a minute."""

_DECIMALS = re.compile(r"[.,](\d*)")


@dataclass(frozen=True)
class Given:
    """What was typed, and the SI values of it."""

    asks: Mapping[str, Ask]
    typed: Mapping[str, str]
    values: Values
    words: Words

    def __getitem__(self, key: str) -> Any:
        return self.values[key]

    def say(self, key: str) -> str:
        """A number as it was typed, with its unit."""
        text = " ".join(self.typed.get(key, "").split())
        return unbroken(f"{text} {self.symbol(key)}".rstrip())

    def symbol(self, key: str) -> str:
        ask = self.asks[key]
        unit = self.typed.get(f"{key}_unit", "")
        return units.UNITS[unit].symbol if unit in units.UNITS else ask.symbol

    def sd(self, key: str) -> float:
        """The standard uncertainty that the last digit typed leaves open."""
        spec, text = self.asks[key].spec, self.typed.get(key, "")
        if not isinstance(spec, Quantity | Number) or self.values.get(key) is None:
            return 0.0
        decimals = _DECIMALS.search(text)
        step = 10.0 ** -len(decimals[1]) if decimals else 1.0
        unit = self.typed.get(f"{key}_unit") or ("percent" if isinstance(spec, Quantity) else "")
        return resolution_sd(units.difference_to_si(step, unit) if unit else step)

    def half_width(self, value: Callable[[Values], float], *more_sds: float) -> float:
        """The 95 % half-width of a result: first-order propagation of the digits typed, and what else is unsure."""
        middle = value(self.values)
        moves = [self._move(value, middle, key) for key in self.asks if self.sd(key) > 0.0]
        return 2.0 * math.hypot(*moves, *more_sds)

    def _move(self, value: Callable[[Values], float], middle: float, key: str) -> float:
        """How far the result moves with this input; one step to the side that is allowed."""
        for side in (1.0, -1.0):
            try:
                moved = value({**self.values, key: self.values[key] + side * self.sd(key)})
            except ValueError:
                continue
            return moved - middle
        return 0.0


@dataclass(frozen=True)
class Outcome:
    """What came out. formula: first the formula, then the same with the person's numbers in it.

    rows: further results as the table macro takes them: name, value, note, status, word.
    """

    name: str
    value: str
    formula: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    note: str = FROM_DIGITS
    status: str = ""
    word: str = ""
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class Working:
    """One calculation. methods: the formulas it uses; limits: where it stops being true."""

    key: str
    group: str
    title: str
    question: str
    asks: Mapping[str, Ask]
    methods: tuple[str, ...]
    limits: str
    work: Callable[[Given], Outcome]
    caution: Caution | None = None


def working(**about: Any) -> Callable[[Callable[[Given], Outcome]], Working]:
    """Make a working of the function below it."""

    def made(work: Callable[[Given], Outcome]) -> Working:
        return Working(work=work, **about)

    return made


def plain(value: float, symbol: str = "", half_width: float | None = None, decimals: int | None = None) -> str:
    """A number with a unit that is the same for every reader."""
    if not math.isfinite(value):
        raise ValueError("These numbers give no answer: look for a mistyped one.")
    text = units.format_quantity(value, "fraction", half_width, decimals).replace("-", "\u2212")
    return unbroken(f"{text} {symbol}".rstrip())


def span(low: float, high: float, symbol: str, decimals: int = 0) -> str:
    """From the least to the most that it may be; one number where both are shown alike."""
    ends = dict.fromkeys(plain(each, decimals=decimals) for each in (low, high))
    return unbroken(f"{' to '.join(ends)} {symbol}")


def percent(g: Given, value: float, half_width: float | None = None, decimals: int | None = None) -> str:
    if not math.isfinite(value):
        raise ValueError("These numbers give no answer: look for a mistyped one.")
    return unbroken(g.words.percent(value, half_width, decimals))


def masses(g: Given, kg: float, half_width: float | None = None, *, like: str = "") -> str:
    """A mass in the unit that another was typed in, or in the reader's own."""
    unit = g.typed.get(f"{like}_unit", "") if like else ""
    if unit in units.UNITS and units.UNITS[unit].dimension == "mass":
        return unbroken(units.format_quantity(kg, unit, half_width))
    return unbroken(g.words.mass(kg, half_width))


def heat(g: Given, celsius: float, half_width: float | None = None) -> str:
    """A temperature in the reader's unit."""
    return unbroken(g.words.temperature(celsius, half_width))


def hours(value: float, half_width: float | None = None) -> str:
    return unbroken(units.format_quantity(value, "h", half_width))


def room(g: Given, *m3: float) -> str:
    """A volume in the reader's unit, or from the least to the most that it may be."""
    unit = units.UNITS[g.words.unit("volume")]
    low, high = m3[0] / unit.scale, m3[-1] / unit.scale
    return span(low, high, unit.symbol, decimals=0 if high >= 20.0 else 1)


def per_dry_air(g: Given, ratio: float) -> str:
    """Water carried by dry air."""
    return plain(1000.0 * ratio, "lb per 1000 lb" if g.words.system == "us" else "g/kg", decimals=2)


def air_volume(g: Given, m3: float) -> str:
    return plain(m3 * _CUBIC_FEET, "ft³", decimals=0) if g.words.system == "us" else plain(m3, "m³", decimals=0)


def air_flow_said(g: Given, m3_per_h: float, half_width: float | None = None) -> str:
    """A flow of air in the reader's unit."""
    width = None if half_width is None else half_width / 3600.0
    return unbroken(units.format_quantity(m3_per_h / 3600.0, g.words.unit("air_flow"), width))


def specific_volume(g: Given, m3_per_kg: float) -> str:
    """Volume of moist air to each kilogram, or pound, of dry air in it."""
    if g.words.system == "us":
        return plain(m3_per_kg * _CUBIC_FEET * units.UNITS["lb"].scale, "ft³/lb", decimals=2)
    return plain(m3_per_kg, "m³/kg", decimals=3)


def interval(low: float, high: float) -> str:
    """A range of shares."""
    return unbroken(f"{100 * low:.2f} – {100 * high:.2f} %")
