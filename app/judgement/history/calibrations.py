"""What has to be added to the readings of an instrument, and from when until when."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Action, Fact


def is_corrected(kind: str) -> bool:
    """Whether readings of this kind are seen with the correction of their instrument: a correction is a temperature."""
    return KINDS[kind].has_instrument and KINDS[kind].dimension == "temperature"


def calibration_at(calibrations: Iterable[Fact], instrument: str, moment: datetime) -> Action | None:
    """The calibration that holds for an instrument then: of these, in order of time, the last one that covers it."""
    found = None
    for each in calibrations:
        if not isinstance(each, Action) or each.kind != "calibrated" or each.subject.id != instrument:
            continue
        if each.at <= moment and (each.until_at is None or moment <= each.until_at):
            found = each
    return found
