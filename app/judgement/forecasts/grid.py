"""How many points a curve is followed at: close enough for its bends, and never so many that nobody waits for them."""

from __future__ import annotations

MOST_POINTS = 5000
"""At half an hour apart more than three months. A stage that nobody ended, or one of a wrong year, is followed more
coarsely."""


def bounded(points: int) -> int:
    """So many points, but two at least, and no more than anybody waits for."""
    return max(2, min(points, MOST_POINTS))
