"""Figures in sentences."""

from __future__ import annotations

import re


def unbroken_figures(text: str) -> str:
    """A sentence in which no line break parts a number from its unit or its half-width."""
    return re.sub(r"(?<=\d) (?=[%°A-Za-z±])|(?<=±) (?=\d)", "\u00a0", text)
