"""Whether a scale or a hygrometer shows what is so. Its readings stay as they were: only temperatures are corrected."""

from __future__ import annotations

from app.judgement.facts.shapes import Result
from app.judgement.wording import Words

CHECKS = ("scale_checked", "humidity_checked")
SCALE_SHARE = 0.005
HUMIDITY_POINTS = 0.05
"""Farther off, one mends or sets the instrument, or takes another: the house's own, from memory."""


def is_off(fact: Result) -> bool:
    """Whether it shows too much or too little to be gone by."""
    known = fact.beside["known"]
    within = HUMIDITY_POINTS if fact.kind == "humidity_checked" else SCALE_SHARE * known
    return abs(fact.value - known) > within + 1e-9


def check_words(fact: Result, words: Words) -> str:
    """Such as "4 g too much at 1000 g", or "3 points too little at 75 %"."""
    known, off = fact.beside["known"], fact.value - fact.beside["known"]
    if fact.kind == "humidity_checked":
        size, at = f"{abs(100.0 * off):.0f} points", words.percent(known)
        is_right = abs(off) < 0.005
    else:
        size, at = words.mass(abs(off)), words.mass(known)
        is_right = abs(off) < 1e-9
    return f"right at {at}" if is_right else f"{size} too {'much' if off > 0.0 else 'little'} at {at}"
