"""Measures of the steep and of the growth."""

from __future__ import annotations

from datetime import timedelta

from app.judgement.batch_at import BatchAt
from app.judgement.grain.counts import GrowthCount, ShareCount, chit_counts, growth_counts
from app.judgement.measures.measure import Measure, highest, hours_in, judged, mean_over_time, readings_in
from app.judgement.watch.bed_ahead import beds_of

STEEPING = ("immersion", "air_rest")
CHITS_BEFORE, CHITS_AFTER = timedelta(hours=12), timedelta(hours=6)
"""A chit count within these of the cast tells how it was cast (common practice)."""

COUNTED_AFTER = timedelta(hours=6)
"""A growth count may be looked at this long after the growth was stopped, and still be of it."""


def steep_measures(batch: BatchAt) -> list[Measure]:
    return [
        _hours(batch, "steep_h", "Steep in all", *STEEPING),
        _hours(batch, "immersion_h", "Under water", "immersion"),
        _hours(batch, "air_rest_h", "Air rests", "air_rest"),
        _mean(batch, "water_temperature", "Steep water, mean", "water_temperature", "immersion"),
        judged(batch, _cast_moisture(batch), "cast_moisture"),
        judged(batch, _cast_chits(batch), "cast_chits"),
    ]


def growth_measures(batch: BatchAt) -> list[Measure]:
    grown = last_growth(batch)
    hours = _hours(batch, "germination_h", "Germination", "germination")
    return [
        hours if batch.is_in("germination") else judged(batch, hours, "germination_d", 1.0 / 24.0),
        _mean(batch, "germination_temperature", "Grain while it grew, mean", "grain_temperature", "germination"),
        highest_measure(batch, "germination_temperature_max", "Grain while it grew, hottest", "germination"),
        _turns(batch),
        *_growth(batch, grown),
    ]


def _hours(batch: BatchAt, key: str, word: str, *names: str) -> Measure:
    hours = hours_in(batch, *names)
    if hours is None:
        return Measure(key, word, "h", note="has not begun")
    n, note = len(batch.stages_named(*names)), "so far" if batch.is_in(*names) else ""
    return Measure(key, word, "h", hours, n=n, note=note)


def _mean(batch: BatchAt, key: str, word: str, kind: str, *names: str) -> Measure:
    mean = mean_over_time(batch, kind, *names)
    if mean is None:
        return Measure(key, word, "c", note="no reading")
    return Measure(key, word, "c", mean[0], n=mean[1], note="mean over the hours")


def highest_measure(batch: BatchAt, key: str, word: str, *names: str) -> Measure:
    hottest = highest(readings_in(batch, "grain_temperature", *names))
    if hottest is None:
        return Measure(key, word, "c", note="no reading")
    return Measure(key, word, "c", hottest[0], n=hottest[1])


def _cast_moisture(batch: BatchAt) -> Measure:
    casts = batch.stages_named("germination")
    moisture = batch.moisture_at(casts[0].starts_at) if casts else None
    if moisture is None or moisture.sample is None or moisture.sample.basis == "charged":
        note = "not weighed" if casts else "not cast yet"
        return Measure("cast_moisture", "Moisture at cast", "wb", note=note)
    note = "between weighings" if moisture.is_estimate else ""
    return Measure(
        "cast_moisture",
        "Moisture at cast",
        "wb",
        moisture.moisture_wb,
        moisture.half_width,
        None,
        moisture.is_estimate,
        note,
    )


def _cast_chits(batch: BatchAt) -> Measure:
    count = chits_at_cast(batch)
    if count is None:
        note = "not counted" if batch.stages_named("germination") else "not cast yet"
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


def chits_at_cast(batch: BatchAt) -> ShareCount | None:
    """The chit count nearest to the cast."""
    casts = batch.stages_named("germination")
    if not casts:
        return None
    cast_at = casts[0].starts_at
    near = [
        count
        for count in chit_counts(batch.history)
        if cast_at - CHITS_BEFORE <= count.at <= min(cast_at + CHITS_AFTER, batch.now)
    ]
    return min(near, key=lambda count: abs(count.at - cast_at), default=None)


def _turns(batch: BatchAt) -> Measure:
    """Of several beds that which was turned least."""
    grown = batch.stages_named("germination")
    if not grown:
        return Measure("turns", "Turned", "count", note="not cast yet")
    beds = [beds_of(batch.history, stage, batch.end_of(stage)) for stage in grown]
    turned = sum(min(sum(turn.kind == "turned" for turn in bed.turns) for bed in each) for each in beds)
    return Measure("turns", "Turned", "count", float(turned), n=turned)


def last_growth(batch: BatchAt) -> GrowthCount | None:
    """The last count of the growth: before the heat, or soon after it came."""
    heated = batch.stages_named("stewing", "kilning")
    until = min(heated[0].starts_at + COUNTED_AFTER, batch.now) if heated else batch.now
    return next((count for count in reversed(growth_counts(batch.history)) if count.at <= until), None)


def _growth(batch: BatchAt, grown: GrowthCount | None) -> list[Measure]:
    if grown is None:
        return [
            Measure("acrospire", "Acrospire, mean", "kernel_lengths", note="not counted"),
            Measure("acrospire_spread", "Acrospire, spread", "kernel_lengths", note="not counted"),
            Measure("overgrown_share", "Overgrown", "fraction", note="not counted"),
        ]
    way = "measured" if grown.is_from_lengths else "by classes"
    mean = Measure(
        "acrospire", "Acrospire, mean", "kernel_lengths", grown.mean, grown.half_width, grown.n, note=way,
        freedom=grown.n - 1,
    )  # fmt: skip
    over = grown.overgrown
    return [
        mean if batch.is_in("germination") else judged(batch, mean, "acrospire"),
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
