"""What a typed search means, in every list alike."""

from __future__ import annotations

from typing import Any

from sqlalchemy import ColumnElement, or_

MOST_WORDS = 8


def holding(typed: str, *columns: Any) -> list[ColumnElement[bool]]:
    """That each word typed stands in one of these columns, in capitals or not."""
    return [or_(*(each.icontains(word, autoescape=True) for each in columns)) for word in typed.split()[:MOST_WORDS]]
