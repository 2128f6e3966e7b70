"""What an entry means that was just kept: it is kept, and is said to be, though nobody should be able to judge it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from flask import current_app

from app.judgement.meaning.meaning import Meaning

Said = TypeVar("Said")

NOT_SAID = Meaning("none", "What it means can’t be said.", "It stands in the record as it was entered.")


def said_if_it_can_be(say: Callable[[], Said]) -> Said | Meaning:
    """What `say` says; where it fails, that it fails, which is logged."""
    try:
        return say()
    except Exception:
        current_app.logger.exception("what was just kept can't be judged")
        return NOT_SAID
