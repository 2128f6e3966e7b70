"""Words with figures in them that are shown in the reader's own units.

A text holds marks such as {t:17.3}; they become "17.3 °C" or "63.1 °F" when it is shown.
"""

from __future__ import annotations

import re

from app.judgement.wording import METRIC, Words

_MARK = re.compile(r"\{(t|k|d|h|m):([^}]+)\}")


def temperature(value_c: float) -> str:
    return f"{{t:{value_c!r}}}"


def kiln_temperature(value_c: float) -> str:
    """Shown in both units: on a kiln a slip between them does harm."""
    return f"{{k:{value_c!r}}}"


def spread(difference_c: float) -> str:
    """A difference of temperatures."""
    return f"{{d:{difference_c!r}}}"


def degree_hours(value_c_h: float) -> str:
    """Hours times degrees above something."""
    return f"{{h:{value_c_h!r}}}"


def mass(value_kg: float) -> str:
    return f"{{m:{value_kg!r}}}"


def render(text: str, system: str = "metric") -> str:
    """The text with its figures in that system of units, metric or us."""
    words = METRIC if system == "metric" else Words(system)
    return _MARK.sub(lambda mark: _figure(mark[1], float(mark[2]), words), text)


def _figure(kind: str, value: float, words: Words) -> str:
    if kind == "m":
        return words.mass(value)
    if kind == "h":
        return f"{words.difference(value)} h"
    if kind == "d":
        return words.difference(value)
    text = words.temperature(value)
    return f"{text} ({words.other_temperature(value)})" if kind == "k" else text


def hours(value_h: float) -> str:
    return METRIC.span(value_h)


def percent(fraction: float, half_width: float | None = None) -> str:
    return METRIC.percent(fraction, half_width)


def whole_percent(fraction: float) -> str:
    return METRIC.percent(fraction, decimals=0)


def share(count: int, looked_at: int) -> str:
    """ "12 of 100 (12 %)" """
    return f"{count} of {looked_at} ({100.0 * count / looked_at:.0f} %)"
