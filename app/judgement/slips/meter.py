"""A moisture meter asked for more than it can tell: of grain that is warm just now, or of a roast."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from app.judgement.facts.refusals import refused_meter
from app.judgement.history.history import History

STILL_AS_WARM = timedelta(minutes=45)
"""A sample taken this soon after a look is taken to be as warm as the grain was then: from memory."""


def refused_here(
    history: History, at: datetime, kind_name: str, values: Mapping[str, Any], method: str | None
) -> dict[str, str]:
    """Why a meter's reading of this batch can't be kept: field -> what is wrong."""
    programme = history.programme_at(at)
    last = history.last_before(
        at, [reading for reading in history.readings("grain_temperature") if reading.value is not None]
    )
    grain_c = last.value if last is not None and at - last.at <= STILL_AS_WARM else None
    is_roasted = programme is not None and programme.is_roast
    return refused_meter(kind_name, values, method, grain_c, is_roasted)
