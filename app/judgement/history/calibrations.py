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
    latest = None
    for calibration in calibrations:
        if (
            not isinstance(calibration, Action)
            or calibration.kind != "calibrated"
            or calibration.subject.id != instrument
        ):
            continue
        if calibration.at <= moment and (calibration.until_at is None or moment <= calibration.until_at):
            latest = calibration
    return latest
