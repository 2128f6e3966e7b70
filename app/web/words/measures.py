"""Measures as a reader wants them: own units, the 95 % interval beside the value, in range or not in a word."""

from __future__ import annotations

from app.judgement.measures.measure import Measure
from app.judgement.programmes.limits import Verdict
from app.judgement.wording import Words
from app.science import units
from app.web.words.figures import Figure, unbroken

TESTED = ("colour", "diastatic_power", "falling_number")
MEASURED_AS = {"kg": "mass", "fraction": "fraction", "wb": "moisture", "c": "temperature", "c_h": "temperature"}
MEASURED_AS |= {"h": "duration"} | {each: each for each in TESTED}
"""What units of measures are units of; the others are bare numbers."""

SIDES = {"hours_above_ceiling", "degree_hours_above_ceiling", "flags_notice", "flags_caution", "flags_act"}
"""Measures that say something only where they are above nothing."""


def measure_value(measure: Measure, words: Words) -> str:
    """The value with its interval and unit; a dash where it isn't known."""
    if measure.value is None:
        return "–"
    if measure.unit == "fraction" and measure.low is not None and measure.high is not None:
        return _in_two(f"{100 * measure.value:.0f} % ({100 * measure.low:.0f}–{100 * measure.high:.0f} %)")
    return quantity(measure.unit, measure.value, words, measure.half_width)


def quantity(unit: str, value: float, words: Words, half_width: float | None = None) -> str:
    """A quantity of a measure's unit."""
    if unit == "kg":
        text = words.mass(value, half_width)
    elif unit in ("fraction", "wb"):
        text = words.percent(value, half_width)
    elif unit == "c":
        text = words.temperature(value, half_width)
    elif unit == "h":
        text = units.format_quantity(value, "h", half_width)
    elif unit == "c_h":
        scale = 1.8 if words.system == "us" else 1.0
        text = f"{scale * value:.1f} {units.UNITS[words.unit('temperature')].symbol} h"
    elif unit == "count":
        text = f"{value:.0f}"
    elif unit in TESTED:
        text = units.format_quantity(value, words.unit(unit), half_width)
    else:
        text = units.format_quantity(value, "fraction", half_width, None if half_width else 2)
    return unbroken(text)


def difference(unit: str, value: float, words: Words, ends: tuple[float, float] | None = None) -> str:
    """A difference of two values of a measure: of temperatures and the like it has no zero to be shifted from."""
    key = words.unit(MEASURED_AS[unit]) if unit in MEASURED_AS else "fraction"
    decimals = 2 if key == "fraction" and not ends else None
    text = units.format_difference(value, key, ends, decimals) + (" h" if unit == "c_h" else "")
    return _in_two(text)


def _in_two(text: str) -> str:
    """A line may break before an interval in brackets, and nowhere else."""
    return unbroken(text).replace("\u00a0(", " (")


def position(measure: Measure) -> tuple[str, str]:
    """Status and word: where the measure lies against its programme; nothing where there is no limit to it."""
    if not measure.position or measure.value is None:
        return ("", "")
    verdict = Verdict(measure.position, measure.severity)
    return (verdict.status, verdict.said)


def measure_said(measure: Measure, words: Words) -> Figure:
    """A measure with its value, its note and where it lies."""
    notes = ["estimated"] if measure.is_estimate else []
    if measure.n is not None and measure.unit in ("fraction", "kernel_lengths", "c", "ratio", *TESTED):
        notes.append(f"n = {measure.n}")
    if measure.note and measure.note not in ("mean over the hours", "standard deviation"):
        notes.append(measure.note)
    key = measure.key if measure.is_known else ""
    return Figure(measure.word, measure_value(measure, words), ", ".join(notes), *position(measure), key=key)
