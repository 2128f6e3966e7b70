"""Figures, by themselves and in sentences."""

from __future__ import annotations

import re
from dataclasses import dataclass

NO_BREAK = "\u00a0"


@dataclass(frozen=True)
class Figure:
    """A quantity: name, value, note, and what to think of it, as status and word; key: by which it is explained."""

    name: str
    value: str
    note: str = ""
    status: str = ""
    word: str = ""
    key: str = ""

    @property
    def row(self) -> tuple[str, str, str, str, str, str]:
        """As the macros for figures and stats take it."""
        return (self.name, self.value, self.note, self.status, self.word, self.key)


def unbroken(text: str) -> str:
    """A quantity with a true minus, its number, ± and unit kept on one line."""
    return re.sub(r"(?<!\w)-(?=\d)", "\u2212", text.replace(" ", NO_BREAK))


def unbroken_figures(text: str) -> str:
    """A sentence in which no line break parts a number from its unit or its half-width."""
    return re.sub(r"(?<=\d) (?=[%°A-Za-z±])|(?<=±) (?=\d)", NO_BREAK, text)


def hour_text(hour: float) -> str:
    """An hour of the malthouse clock, with a true minus before first water."""
    return f"{round(hour, 1) + 0.0:.1f}".replace("-", "\u2212")
