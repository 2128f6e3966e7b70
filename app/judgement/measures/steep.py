"""Measures of the steep and of the growth."""

from __future__ import annotations

from datetime import timedelta

from app.judgement.forecasts.moisture import moisture_at
from app.judgement.grain.counts import GrowthCount, ShareCount, chit_counts, growth_counts
from app.judgement.measures.measure import Measure, View, highest, mean_over_time

STEEPING = ("immersion", "air_rest")
CHITS_BEFORE, CHITS_AFTER = timedelta(hours=12), timedelta(hours=6)
"""A chit count within these of the cast tells how it was cast (common practice)."""

COUNTED_AFTER = timedelta(hours=6)
"""A growth count may be looked at this long after the growth was stopped, and still be of it."""


def steep_measures(view: View) -> list[Measure]:
    return [
        _hours(view, "steep_h", "Steep in all", *STEEPING),
        _hours(view, "immersion_h", "Under water", "immersion"),
        _hours(view, "air_rest_h", "Air rests", "air_rest"),
        _mean(view, "water_temperature", "Steep water, mean", "water_temperature", "immersion"),
        view.judged(_cast_moisture(view), "cast_moisture"),
        view.judged(_cast_chits(view), "cast_chits"),
    ]


def growth_measures(view: View) -> list[Measure]:
    grown = _last_growth(view)
    hours = _hours(view, "germination_h", "Germination", "germination")
    return [
        hours if view.is_in("germination") else view.judged(hours, "germination_d", 1.0 / 24.0),
        _mean(view, "germination_temperature", "Grain while it grew, mean", "grain_temperature", "germination"),
        highest_measure(view, "germination_temperature_max", "Grain while it grew, hottest", "germination"),
        _turns(view),
        *_growth(view, grown),
    ]


def _hours(view: View, key: str, word: str, *names: str) -> Measure:
    hours = view.hours(*names)
    if hours is None:
        return Measure(key, word, "h", note="has not begun")
    return Measure(key, word, "h", hours, n=len(view.of(*names)), note="so far" if view.is_in(*names) else "")


def _mean(view: View, key: str, word: str, kind: str, *names: str) -> Measure:
    found = mean_over_time(view, kind, *names)
    if found is None:
        return Measure(key, word, "c", note="no reading")
    return Measure(key, word, "c", found[0], n=found[1], note="mean over the hours")


def highest_measure(view: View, key: str, word: str, *names: str) -> Measure:
    found = highest(view.readings_in("grain_temperature", *names))
    if found is None:
        return Measure(key, word, "c", note="no reading")
    return Measure(key, word, "c", found[0], n=found[1])


def _cast_moisture(view: View) -> Measure:
    casts = view.of("germination")
    known = moisture_at(view.history, casts[0].starts_at) if casts else None
    if known is None or known.sample is None or known.sample.basis == "charged":
        note = "not weighed" if casts else "not cast yet"
        return Measure("cast_moisture", "Moisture at cast", "wb", note=note)
    note = "between weighings" if known.is_estimate else ""
    return Measure(
        "cast_moisture", "Moisture at cast", "wb", known.moisture_wb, known.half_width, None, known.is_estimate, note
    )


def _cast_chits(view: View) -> Measure:
    count = _chits_at_cast(view)
    if count is None:
        note = "not counted" if view.of("germination") else "not cast yet"
        return Measure("cast_chits", "Chits at cast", "fraction", note=note)
    share = count.shares["chitted"]
    return Measure(
        "cast_chits",
        "Chits at cast",
        "fraction",
        share.share,
        share.half_width,
        share.n,
        low=share.low,
        high=share.high,
    )


def _chits_at_cast(view: View) -> ShareCount | None:
    casts = view.of("germination")
    if not casts:
        return None
    cast_at = casts[0].starts_at
    near = [
        count
        for count in chit_counts(view.history)
        if cast_at - CHITS_BEFORE <= count.at <= min(cast_at + CHITS_AFTER, view.now)
    ]
    return min(near, key=lambda count: abs(count.at - cast_at), default=None)


def _turns(view: View) -> Measure:
    spans = [(stage.starts_at, stage.ends_at or view.now) for stage in view.of("germination")]
    if not spans:
        return Measure("turns", "Turned", "count", note="not cast yet")
    turned = [fact for fact in view.history.of_kind("turned") if any(start <= fact.at <= end for start, end in spans)]
    return Measure("turns", "Turned", "count", float(len(turned)), n=len(turned))


def _last_growth(view: View) -> GrowthCount | None:
    """The last count of the growth: before the heat, or soon after it came."""
    heated = view.of("stewing", "kilning")
    until = min(heated[0].starts_at + COUNTED_AFTER, view.now) if heated else view.now
    return next((count for count in reversed(growth_counts(view.history)) if count.at <= until), None)


def _growth(view: View, grown: GrowthCount | None) -> list[Measure]:
    if grown is None:
        return [
            Measure("acrospire", "Acrospire, mean", "kernel_lengths", note="not counted"),
            Measure("acrospire_spread", "Acrospire, spread", "kernel_lengths", note="not counted"),
            Measure("overgrown_share", "Overgrown", "fraction", note="not counted"),
        ]
    way = "measured" if grown.is_from_lengths else "by classes"
    mean = Measure("acrospire", "Acrospire, mean", "kernel_lengths", grown.mean, grown.half_width, grown.n, note=way)
    over = grown.overgrown
    return [
        mean if view.is_in("germination") else view.judged(mean, "acrospire"),
        Measure(
            "acrospire_spread", "Acrospire, spread", "kernel_lengths", grown.sd, n=grown.n, note="standard deviation"
        ),
        Measure(
            "overgrown_share",
            "Overgrown",
            "fraction",
            over.share,
            over.half_width,
            over.n,
            low=over.low,
            high=over.high,
        ),
    ]
