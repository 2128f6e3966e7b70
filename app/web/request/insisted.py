"""Insisting on what was asked about: on those values and no others, so that changed ones are asked about anew."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any


def digest_of(values: Mapping[str, Any]) -> str:
    """Names what a form says, for the buttons of a question about it."""
    said = {name: str(value) for name, value in values.items() if value not in (None, "")}
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()[:16]


def chosen_of(sent: Any, digest: str) -> str:
    """Which button of a question was pressed; none where it was about other values than these."""
    choice, _, about = str(sent or "").partition(":")
    return choice if about == digest else ""
