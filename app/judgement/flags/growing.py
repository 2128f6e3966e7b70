"""Growth: uneven, stalled, past its target; too little or too much water for it; and what the rub-out says."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import datetime, timedelta

from app.judgement.batch_at import BatchAt
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.forecasts.band import Z80
from app.judgement.forecasts.moisture import MoistureSample, determinations
from app.judgement.grain.counts import GrowthCount, growth_counts, rub_outs
from app.judgement.history.history import hours_between
from app.judgement.history.stages import Stage
from app.judgement.programmes.programme import Programme, Verdict, provenance

EVEN_SHARE, EVEN_SHARE_CAUTION = 0.7, 0.5
FEWEST_KERNELS = 20
"""From memory: seven kernels in ten within two neighbouring classes; fewer than twenty kernels tell nothing of it."""

STALLED_AFTER_H = 10.0
STALLED_SHARE = 0.5
"""From memory: growth at less than half of the planned pace, by counts at least ten hours apart, has stalled."""

AFTER_CAST = timedelta(hours=1)
HARD_SHARE, PASTY_SHARE = 0.25, 0.25
NEAR_COUNT = timedelta(hours=12)


def _in_growth(batch: BatchAt) -> list[tuple[Stage, list[GrowthCount]]]:
    counts = growth_counts(batch.history)
    return [
        (stage, [count for count in counts if stage.starts_at <= count.at <= batch.end_of(stage)])
        for stage in batch.stages_named("germination")
    ]


def uneven(batch: BatchAt) -> Iterator[Flag]:
    """Too few kernels in any two neighbouring classes, by the last count: a later even count ends it."""
    for stage, counts in _in_growth(batch):
        run: list[GrowthCount] = []
        for count in [*counts, None]:
            if count is not None and count.n < FEWEST_KERNELS:
                continue
            if count is not None and count.evenness < EVEN_SHARE - 1e-9:
                run.append(count)
            elif run:
                yield _uneven_flag(batch, run, count.at if count else stage.ends_at)
                run = []


def _uneven_flag(batch: BatchAt, run: list[GrowthCount], ends_at: datetime | None) -> Flag:
    worst = min(run, key=lambda count: count.evenness)
    title = (
        f"Growth uneven: {wording.whole_percent(worst.evenness)} of {worst.n} kernels in two neighbouring classes, "
        f"spread {worst.sd:.2f}"
    )
    return raised(
        batch, "growth_uneven", "caution" if worst.evenness < EVEN_SHARE_CAUTION else "notice",
        [count.fact for count in run],
        Message(title, "Part runs ahead while part lags: the malt will be mixed.",
                "Turn more often and even out moisture and warmth; look at how the lot germinates."),
        "from memory", ends_at=ends_at, worst=worst.evenness, unit="fraction",
    )  # fmt: skip


def past_target(batch: BatchAt) -> Iterator[Flag]:
    """The mean acrospire is longer than the programme wants it."""
    for stage, counts in _in_growth(batch):
        over = [count for count in counts if _judge(batch, count)[0] == "high"]
        if not over:
            continue
        worst = max(over, key=lambda count: count.mean)
        _, severity, bound, source = _judge(batch, worst)
        title = (
            f"Grown to {worst.mean:.2f} ± {worst.half_width:.2f} kernel lengths, past {bound:g}; "
            f"overgrown {wording.share(worst.overgrown.found, worst.n)}"
        )
        yield raised(
            batch, "past_target", severity, [count.fact for count in over],
            Message(title, "Each hour more burns dry matter, and the malt loses its body.", "Load the kiln now."),
            source, ends_at=stage.ends_at, worst=worst.mean, unit="kernel_lengths",
        )  # fmt: skip


def _judge(batch: BatchAt, count: GrowthCount) -> tuple[str, str, float, str]:
    programme = batch.programme_at(count.at)
    limit = programme.limit("acrospire") if programme else None
    if limit is None:
        return ("in", "notice", 0.0, "")
    verdict = limit.judge(count.mean)
    source = provenance(verdict.mark, verdict.source) if verdict.mark else ""
    return (verdict.position, verdict.severity or "notice", verdict.bound or 0.0, source)


def stalled(batch: BatchAt) -> Iterator[Flag]:
    """Two counts between which it grew at less than half the planned pace, and short of the target.

    Surely: whatever so few kernels and the classes hide.
    """
    for stage, counts in _in_growth(batch):
        for earlier, later in _pairs(counts):
            programme = batch.programme_at(later.at)
            pace = _planned_pace_per_h(programme) if programme else None
            if pace is None or _judge(batch, later)[0] != "low":
                continue
            hours = hours_between(earlier.at, later.at)
            rise, chance = later.mean - earlier.mean, math.hypot(earlier.half_width, later.half_width)
            doubt = chance + earlier.hidden + later.hidden
            if rise + doubt >= STALLED_SHARE * pace * hours:
                continue
            after = [count.at for count in counts if count.at > later.at and count.mean > later.mean + doubt]
            title = (
                f"Growth stalled: {rise:+.2f} ± {doubt:.2f} kernel lengths in {wording.hours(hours)}, "
                f"{pace * hours:.2f} planned"
            )
            yield raised(
                batch, "growth_stalled", "caution", [earlier.fact, later.fact],
                Message(title, "Too dry, too cold, too old, or drowned in the steep.",
                        "Weigh it for moisture, spray if it is dry; a degree or two warmer; rub kernels out."),
                "derived from the programme's own pace; half of it, from memory",
                starts_at=later.at, ends_at=after[0] if after else stage.ends_at, worst=rise, unit="kernel_lengths",
                cause="slow growth",
            )  # fmt: skip
            break


def _pairs(counts: list[GrowthCount]) -> Iterator[tuple[GrowthCount, GrowthCount]]:
    """Counts that lie far enough apart, the soonest told first: what a day hides, three may show."""
    for place, later in enumerate(counts):
        for earlier in reversed(counts[:place]):
            if hours_between(earlier.at, later.at) >= STALLED_AFTER_H:
                yield earlier, later


def _planned_pace_per_h(programme: Programme) -> float | None:
    points = programme.planned_curve("acrospire")
    if len(points) < 2 or points[-1][0] <= points[0][0]:
        return None
    return (points[-1][1] - points[0][1]) / (points[-1][0] - points[0][0])


def rub_out(batch: BatchAt) -> Iterator[Flag]:
    """Hard ends when the acrospire says it is time; pasty or lumpy runs at any time."""
    for stage, counts in _in_growth(batch):
        for test in rub_outs(batch.history):
            if not stage.starts_at <= test.at <= batch.end_of(stage):
                continue
            near = [count for count in counts if abs(count.at - test.at) <= NEAR_COUNT]
            is_grown = bool(near) and _judge(batch, near[-1])[0] != "low"
            soft = test.shares["pasty"].found + test.shares["lumpy"].found
            later = [each.at for each in rub_outs(batch.history) if each.at > test.at]
            ends_at = later[0] if later else stage.ends_at
            if is_grown and test.shares["hard_end"].share > HARD_SHARE:
                hard = wording.share(test.shares["hard_end"].found, test.n)
                message = Message(
                    f"Hard ends in {hard}, though grown to {near[-1].mean:.2f}",
                    "The acrospire is there, the endosperm is not: moisture or time was short.",
                    "Let it go on a little, cool and covered; the rub-out decides.",
                )
            elif soft / test.n > PASTY_SHARE:
                title = f"Rub-out pasty or lumpy in {wording.share(soft, test.n)}"
                message = Message(
                    title, "Too wet or too warm: it was forced.", "No more water; cooler, and turn it more often."
                )
            else:
                continue
            yield raised(batch, "rub_out", "notice", [test.fact], message, "from memory", ends_at=ends_at)


def bed_moisture(batch: BatchAt) -> Iterator[Flag]:
    """The bed surely far wetter or drier than is wanted at the cast; a run of such samples is one flag."""
    for stage in batch.stages_named("germination"):
        run: list[tuple[MoistureSample, Verdict]] = []
        for sample in determinations(batch.history):
            if not stage.starts_at + AFTER_CAST < sample.at <= batch.end_of(stage) or sample.basis == "charged":
                continue
            programme = batch.programme_at(sample.at)
            limit = programme.limit("cast_moisture") if programme else None
            verdict = limit.judge_surely(sample.moisture_wb, Z80 * sample.sd) if limit else Verdict("in")
            is_out = verdict.severity in ("caution", "act")
            if run and (not is_out or verdict.position != run[-1][1].position):
                yield _bed_flag(batch, run, sample.at)
                run = []
            if is_out:
                run.append((sample, verdict))
        if run:
            yield _bed_flag(batch, run, stage.ends_at)


def _bed_flag(batch: BatchAt, run: list[tuple[MoistureSample, Verdict]], ends_at: datetime | None) -> Flag:
    is_dry = run[0][1].position == "low"
    worst, verdict = (min if is_dry else max)(run, key=lambda each: each[0].moisture_wb)
    figure = wording.percent(worst.moisture_wb, worst.half_width)
    bound = wording.percent(verdict.bound or 0.0)
    if is_dry:
        title = f"The bed dries out: {figure}, below {bound}"
        meaning, remedy = "Growth stops early, and the far end stays hard.", "Spray it, turn it, and weigh it again."
    else:
        title = f"The bed is too wet: {figure}, above {bound}"
        meaning, remedy = "It grows fast and unevenly, and heats.", "No more spraying; thin it, air it, turn it."
    return raised(
        batch, "bed_moisture", verdict.severity or "caution", [fact for sample, _ in run for fact in sample.facts],
        Message(title, meaning, remedy), provenance(verdict.mark, verdict.source),
        ends_at=ends_at, worst=worst.moisture_wb, side=verdict.position, unit="wb", place=worst.place,
    )  # fmt: skip


RULES = (
    Rule("bed_moisture", "Bed too dry or too wet", bed_moisture),
    Rule("growth_uneven", "Growth uneven", uneven),
    Rule("growth_stalled", "Growth stalled", stalled),
    Rule("past_target", "Past its target", past_target),
    Rule("rub_out", "Rub-out", rub_out),
)
