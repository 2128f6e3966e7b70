"""What a batch came to, as a fixed row of measures: for the batch's page, for lists, and for comparison."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, NamedTuple, Protocol

from app.judgement.batch_at import BatchAt, batch_at
from app.judgement.forecasts.moisture import charged
from app.judgement.history.history import History
from app.judgement.measures.account import account_of
from app.judgement.measures.malt import malt_measures
from app.judgement.measures.measure import Measure
from app.judgement.measures.rejects import reject_share
from app.judgement.measures.steep import growth_measures, steep_measures
from app.judgement.measures.tests import TEST_KEYS, tested_measures

__all__ = ["KEYS", "Measure", "Severe", "measures", "measures_from_record", "measures_record"]

SEVERITIES = (("notice", "Notices"), ("caution", "Cautions"), ("act", "Act-now flags"))
KEYS = (
    "charged_kg",
    "reject_share",
    "steep_h",
    "immersion_h",
    "air_rest_h",
    "water_temperature",
    "cast_moisture",
    "cast_chits",
    "germination_h",
    "germination_temperature",
    "germination_temperature_max",
    "turns",
    "acrospire",
    "acrospire_spread",
    "overgrown_share",
    "kiln_h",
    "kiln_grain_max",
    "hours_above_ceiling",
    "degree_hours_above_ceiling",
    "final_moisture",
    "outturn_kg",
    "yield_as_is",
    "malting_loss",
    "culms_share",
    *TEST_KEYS,
    "flags_notice",
    "flags_caution",
    "flags_act",
)


class Counted(NamedTuple):
    """A flag of which a record knows no more."""

    severity: str


class Severe(Protocol):
    """What has a severity: a flag."""

    @property
    def severity(self) -> str: ...


def measures(history: History, now: datetime, flags: Iterable[Severe] | None = None) -> list[Measure]:
    """Every measure in the order of KEYS, known or not. flags: those of the batch, to be counted by severity."""
    by_key = {measure.key: measure for measure in (*batch_at(history, now).once(_unflagged), *_flags(flags))}
    return [by_key[key] for key in KEYS]


def _unflagged(batch: BatchAt) -> list[Measure]:
    return [
        _charged(batch),
        _rejects(batch),
        *steep_measures(batch),
        *growth_measures(batch),
        *malt_measures(batch),
        *tested_measures(batch),
    ]


def measures_record(history: History, now: datetime, flags: Iterable[Severe] | None = None) -> dict[str, Any]:
    """The measures that are known, by key, as plain JSON values."""
    return {measure.key: measure.to_dict() for measure in measures(history, now, flags) if measure.is_known}


def measures_from_record(record: Mapping[str, Any]) -> list[Measure]:
    """The measures of a record, in the order of KEYS; those that this program doesn't know are left out."""
    return [Measure.from_dict(record[key]) for key in KEYS if key in record]


def flags_counted(record: Mapping[str, Any]) -> list[Counted]:
    """The flags of a record, as many as were counted."""
    return [Counted(name) for name, _ in SEVERITIES for _ in range(record[f"flags_{name}"]["n"])]


def _charged(batch: BatchAt) -> Measure:
    start = charged(batch.history, batch.now)
    line = batch.once(account_of).charge
    if start is None or line is None:
        return Measure("charged_kg", "Charged", "kg", note="nothing was charged yet")
    return Measure(
        "charged_kg",
        "Charged",
        "kg",
        start.as_is_kg,
        2.0 * line.scale_relative_sd * start.as_is_kg,
        n=len(line.parts),
        is_estimate=line.is_estimate,
        note=f"at {100 * start.moisture_wb:.1f} % moisture",
    )


def _rejects(batch: BatchAt) -> Measure:
    rejected = reject_share(batch.history, batch.now)
    if rejected is None:
        return Measure("reject_share", "Floated off", "fraction", note="no float test, and nothing skimmed off")
    return Measure(
        "reject_share",
        "Floated off",
        "fraction",
        rejected.share,
        rejected.half_width,
        rejected.n,
        rejected.is_estimate,
        f"by {rejected.basis}: {rejected.way}",
        low=rejected.low if rejected.n else None,
        high=rejected.high if rejected.n else None,
    )


def _flags(flags: Iterable[Severe] | None) -> list[Measure]:
    if flags is None:
        return [Measure(f"flags_{name}", word, "count", note="not judged") for name, word in SEVERITIES]
    counts = Counter(flag.severity for flag in flags)
    return [Measure(f"flags_{name}", word, "count", float(counts[name]), n=counts[name]) for name, word in SEVERITIES]
