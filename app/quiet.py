"""Quiet hours: the part of the day in which only what must be done at once may be loud."""

from datetime import time


def is_quiet(now_local: time, starts: time, ends: time) -> bool:
    """Whether a time of the house's day lies within the quiet hours, which may span midnight. Starts = ends: none."""
    if starts <= ends:
        return starts <= now_local < ends
    return now_local >= starts or now_local < ends
