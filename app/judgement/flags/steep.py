"""The steep: too long under water, chits that don't come, too much or too little water, and a steep that spoils."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from app.judgement import cautions
from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact, Remark, StageChange, Tally
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Overrun, Rule, overrun, raised, worse
from app.judgement.forecasts.band import Z80
from app.judgement.forecasts.moisture import determinations
from app.judgement.grain.moisture_samples import MoistureSample
from app.judgement.history.history import hours_between
from app.judgement.history.stages import Stage
from app.judgement.programmes.programme import Programme, provenance
from app.science.proportions import wilson_interval

SAME_LOOK = timedelta(minutes=30)
NEAR_CAST = timedelta(hours=3)
SOAKED_ON = timedelta(hours=1)
"""A count or a weighing this near to the cast tells of the cast."""

CHITS_DUE_H = 30.0


def under_water(batch: BatchAt) -> Iterator[Flag]:
    """One flag for each immersion at most: that the grain has chitted is the graver cause and speaks for both."""
    for stage in batch.stages_named("immersion"):
        programme = batch.programme_at(stage.starts_at)
        if programme is None:
            continue
        start = batch.history.by_id(stage.fact_id)
        is_blown = isinstance(start, StageChange) and start.method == "blown"
        water_c = _water_c(batch, stage)
        plain = overrun(programme.immersion_limit(water_c, None, is_blown), stage.starts_at, stage.hours(batch.now))
        chitted = _chitted_overrun(batch, programme, stage, water_c, is_blown)
        if start is None or (plain is None and chitted is None):
            continue
        is_warm = water_c is not None and water_c > programme.immersion_reference_c
        shorter = f" in water of {wording.temperature(water_c)}" if water_c is not None and is_warm else ""
        yield _under_water_flag(batch, stage, start, plain, chitted, shorter)


def _water_c(batch: BatchAt, stage: Stage) -> float | None:
    readings = batch.within(batch.history.readings("water_temperature"), stage.starts_at, batch.end_of(stage))
    values = [reading.value for reading in readings if reading.value is not None]
    return sum(values) / len(values) if values else None


def _chitted_overrun(
    batch: BatchAt, programme: Programme, stage: Stage, water_c: float | None, is_blown: bool
) -> tuple[Overrun, Tally, float] | None:
    """How long it has been under water since it chitted, with the count that says so, and the hours."""
    chitted = chitted_since(batch, programme.setting("immersion_chitted_from"), batch.end_of(stage))
    if chitted is None:
        return None
    since, count = max(chitted[0], stage.starts_at), chitted[1]
    lasted = hours_between(since, batch.end_of(stage))
    over = overrun(programme.immersion_limit(water_c, 1.0, is_blown), since, lasted)
    return None if over is None else (over, count, lasted)


def chitted_since(batch: BatchAt, share: float | None, until: datetime) -> tuple[datetime, Tally] | None:
    """When the chits passed a share, on a straight line between the counts about it, and the count that tells it."""
    before: Tally | None = None
    for count in batch.history.of_shape(Tally, "chit_count"):
        if share is None or count.at > until:
            return None
        now = chitted_share(count)
        if now >= share:
            if before is None or now <= chitted_share(before):
                return count.at, count
            part = (share - chitted_share(before)) / (now - chitted_share(before))
            return before.at + part * (count.at - before.at), count
        before = count
    return None


def chitted_share(*counts: Tally) -> float:
    return sum(count.counts.get("chitted", 0) for count in counts) / sum(count.looked_at for count in counts)


def _under_water_flag(
    batch: BatchAt,
    stage: Stage,
    start: Fact,
    plain: Overrun | None,
    chitted: tuple[Overrun, Tally, float] | None,
    shorter: str,
) -> Flag:
    """shorter: why less is allowed than the plan says, where the water is warm."""
    if chitted is None and plain is not None:
        lasted = stage.hours(batch.now)
        title = f"Under water for {wording.hours(lasted)}, more than {wording.hours(plain.bound)}{shorter}"
        meaning = (
            "The grain has used up the oxygen in the water: it drowns from inside, and chits unevenly or not at all."
        )
        return raised(
            batch, "long_under_water", plain.severity, [start],
            Message(title, meaning, "Drain now, and let it breathe; draw the carbon dioxide off."), plain.source,
            starts_at=plain.starts_at, ends_at=stage.ends_at, worst=lasted, unit="h",
        )  # fmt: skip
    assert chitted is not None
    over, count, lasted = chitted
    severity = worse(over.severity, plain.severity) if plain else over.severity
    title = (
        f"Chitted and under water for {wording.hours(lasted)}, more than {wording.hours(over.bound)}{shorter}: "
        f"{wording.share(count.counts.get('chitted', 0), count.looked_at)} showed the chit"
    )
    meaning = "A chitted kernel breathes hard and drowns within hours."
    return raised(
        batch, "chitted_under_water", severity, [start, count],
        Message(title, meaning, "Drain now. From here on spray instead of steeping."), over.source,
        starts_at=over.starts_at, ends_at=stage.ends_at, worst=lasted, unit="h",
    )  # fmt: skip


def slow_chit(batch: BatchAt) -> Iterator[Flag]:
    """Too few chits at hour 30 or after, until a later count or the cast."""
    cast_at = _cast_at(batch)
    late = [
        count
        for count in batch.history.of_shape(Tally, "chit_count")
        if batch.history.hour(count.at) >= CHITS_DUE_H - 0.01 and (cast_at is None or count.at < cast_at - NEAR_CAST)
    ]
    run: list[Tally] = []
    for count in [*late, None]:
        programme = batch.programme_at(count.at) if count else None
        limit = programme.limit("chits_h30") if programme else None
        if count is not None and limit is not None and limit.judge(chitted_share(count)).position == "low":
            run.append(count)
        elif run:
            yield _slow_flag(batch, run, count.at if count else cast_at)
            run = []


def _slow_flag(batch: BatchAt, run: Sequence[Tally], ends_at: datetime | None) -> Flag:
    count = run[-1]
    programme = batch.programme_at(run[0].at)
    assert programme is not None
    lowest = min(run, key=chitted_share)
    verdict = programme.limits["chits_h30"].judge(chitted_share(lowest))
    wanted = wording.whole_percent(verdict.bound or 0.0)
    title = f"Slow to chit: {_counted(count)} at {batch.hour_words(count.at)}, target {wanted} by hour 30"
    meaning = "Cold water, too little air, or a lot that is dormant, weak or old. It will grow unevenly."
    remedy = "Longer air rests, water a little warmer, carbon dioxide drawn off; look at the lot's germination."
    return raised(
        batch, "slow_chit", verdict.severity or "caution", run, Message(title, meaning, remedy),
        provenance(verdict.mark, verdict.source), ends_at=ends_at, worst=chitted_share(lowest), unit="fraction",
    )  # fmt: skip


def _counted(count: Tally) -> str:
    chitted = count.counts.get("chitted", 0)
    low, high = (wording.whole_percent(bound) for bound in wilson_interval(chitted, count.looked_at))
    return f"{wording.share(chitted, count.looked_at)[:-1]}, between {low} and {high})"


def _cast_at(batch: BatchAt) -> datetime | None:
    germination = batch.stages_named("germination")
    return germination[0].starts_at if germination else None


def few_chits_at_cast(batch: BatchAt) -> Iterator[Flag]:
    germination = batch.stages_named("germination")
    if not germination:
        return
    stage = germination[0]
    counts = batch.within(
        batch.history.of_shape(Tally, "chit_count"), stage.starts_at - NEAR_CAST, stage.starts_at + timedelta(hours=1)
    )
    programme = batch.programme_at(stage.starts_at)
    limit = programme.limit("cast_chits") if programme else None
    if not counts or limit is None:
        return
    look = [count for count in counts if counts[-1].at - count.at <= SAME_LOOK]
    verdict = limit.judge(chitted_share(*look))
    if verdict.position != "low" or verdict.severity is None:
        return
    chitted, looked_at = sum(count.counts.get("chitted", 0) for count in look), sum(count.looked_at for count in look)
    title = (
        f"Cast with chits on {wording.share(chitted, looked_at)}, target {wording.whole_percent(verdict.bound or 0.0)}"
    )
    meaning = "Part of the grain starts late or never: growth will be uneven."
    yield raised(
        batch, "few_chits_at_cast", verdict.severity, look,
        Message(title, meaning, "Keep the couch together and moist for some hours more; count again."),
        provenance(verdict.mark, verdict.source), ends_at=stage.ends_at,
        worst=chitted_share(*look), unit="fraction",
    )  # fmt: skip


def water_taken_up(batch: BatchAt) -> Iterator[Flag]:
    """Surely oversteeped, as soon as it is weighed, and surely too dry at the cast; until a later weighing is in range.

    The last weighing before growth decides.
    """
    cast_at = _cast_at(batch)
    last = batch.now if cast_at is None else cast_at + timedelta(hours=1)
    weighed = [
        determination
        for determination in determinations(batch.history)
        if determination.basis in ("test_bag", "charge_weighing", "tested") and _is_wet(batch, determination.at)
    ]
    steeped = [each for each in weighed if each.at <= last]
    if not steeped or (
        batch.stage is not None and cast_at is None and batch.stage.name not in ("immersion", "air_rest")
    ):
        return
    sample = steeped[-1]
    programme = batch.programme_at(sample.at)
    limit = programme.limit("cast_moisture") if programme else None
    verdict = limit.judge_surely(sample.moisture_wb, Z80 * sample.sd) if limit else None
    is_low = verdict is not None and verdict.position == "low"
    if limit is None or verdict is None or verdict.severity is None or (is_low and not _tells_the_cast(batch, sample)):
        return
    stages = batch.stages_named("germination")
    ends = [stages[0].ends_at if stages else batch.ended_at]
    ends += [
        each.at for each in weighed if each.at > last and limit.judge_surely(each.moisture_wb, Z80 * each.sd).is_fine
    ]
    if is_low:
        ends.append(_wetted_at(batch, verdict.bound or 0.0))
    rule, words = _taken_up_words(verdict.position, verdict.bound or 0.0, sample.moisture_wb, sample.half_width)
    yield raised(
        batch, rule, verdict.severity, list(sample.facts), words, provenance(verdict.mark, verdict.source),
        ends_at=min((end for end in ends if end is not None), default=None),
        worst=sample.moisture_wb, unit="wb", place=sample.place,
    )  # fmt: skip


def _tells_the_cast(batch: BatchAt, sample: MoistureSample) -> bool:
    """It was weighed near the cast, and the grain was not under water for long after it."""
    cast_at = _cast_at(batch)
    if cast_at is None or cast_at - sample.at > NEAR_CAST:
        return False
    ends = [min(batch.end_of(stage), cast_at) for stage in batch.stages_named("immersion")]
    return all(end - sample.at <= SOAKED_ON for end in ends)


def _wetted_at(batch: BatchAt, bound: float) -> datetime | None:
    """When a bed cast too dry was sprinkled, or was weighed and found wet enough."""
    cast_at = _cast_at(batch)
    times = [fact.at for fact in batch.history.of_kind("sprinkled")]
    times += [each.at for each in determinations(batch.history) if each.moisture_wb >= bound]
    return min((at for at in times if cast_at is not None and at > cast_at), default=None)


def _is_wet(batch: BatchAt, moment: datetime) -> bool:
    stage = batch.stage_at(moment)
    return stage is not None and stage.name in ("immersion", "air_rest", "germination")


def _taken_up_words(position: str, bound: float, moisture_wb: float, half_width: float) -> tuple[str, Message]:
    figure = wording.percent(moisture_wb, half_width)
    if position == "high":
        title = f"Oversteeped: {figure}, above {wording.percent(bound)}"
        meaning = "Too wet, the grain grows fast and unevenly, loses more, and is hard to dry; much above, it drowns."
        return "oversteeped", Message(
            title, meaning, "No more water. Drain well, spread it thin, let dry air through it."
        )
    title = f"Cast at {figure}, below {wording.percent(bound)}"
    meaning = "Too dry, growth stops early and the endosperm stays hard at its far end."
    return "dry_at_cast", Message(
        title, meaning, "Spray the couch to make up the weight, in two goes, and turn in between."
    )


def spoiling(batch: BatchAt) -> Iterator[Flag]:
    """Sour, slimy, foaming or gassy: until it comes out of that water, a later look finds it clear, or the cast."""
    run: list[Remark] = []
    for remark in [*batch.history.of_shape(Remark, "inspection"), None]:
        signs = _signs(batch, remark) if remark else None
        mended = _mended_at(batch, run[-1].at) if run else None
        if run and (remark is None or signs == [] or (mended is not None and mended <= remark.at)):
            ends = (mended, remark.at if remark is not None and signs == [] else None)
            yield _spoiling_flag(batch, run, min((end for end in ends if end is not None), default=None))
            run = []
        if remark is not None and signs:
            run.append(remark)


def _mended_at(batch: BatchAt, foul_at: datetime) -> datetime | None:
    """When the water was next drained or changed."""
    return next((fact.at for fact in batch.history.of_kind("drained", "water_changed") if fact.at > foul_at), None)


def _signs(batch: BatchAt, remark: Remark) -> list[str] | None:
    """The signs seen; none where the look says that it is well; None where it says nothing of it."""
    stage = batch.stage_at(remark.at)
    if stage is None or stage.name not in ("charged", "immersion", "air_rest"):
        return None
    steep, smell, slime = (remark.findings.get(aspect) for aspect in ("steep", "smell", "slime"))
    found = (("foaming", steep), ("gassy", steep), ("sour", smell), ("slimy", slime))
    signs = [word for word, seen in found if word == seen]
    return signs if signs or steep == "clear" or smell == "clean" else None


def _spoiling_flag(batch: BatchAt, run: Sequence[Remark], ended_at: datetime | None) -> Flag:
    seen = list(dict.fromkeys(sign for remark in run for sign in _signs(batch, remark) or ()))
    severity = "act" if len(seen) > 1 else "caution"
    cast_at = _cast_at(batch)
    title = f"The steep is {' and '.join(seen)}, {batch.span_words(run[0].at, run[-1].at)}"
    meaning = "Microbes are at work in the water: they take the oxygen and spoil the malt's smell."
    remedy = "Drain now, rinse with cold potable water, give a long air rest; shorter and cooler steeps from here on."
    return raised(
        batch, "spoiling", severity, run, Message(title, meaning, remedy), "common practice",
        ends_at=ended_at or cast_at or batch.ended_at,
        caution=cautions.CO2 if "gassy" in seen or "foaming" in seen else None,
    )  # fmt: skip


RULES = (
    Rule("long_under_water", "Too long under water", under_water),
    Rule("chitted_under_water", "Chitted and under water", under_water),
    Rule("slow_chit", "Slow to chit", slow_chit),
    Rule("few_chits_at_cast", "Few chits at the cast", few_chits_at_cast),
    Rule("oversteeped", "Oversteeped", water_taken_up),
    Rule("dry_at_cast", "Cast too dry", water_taken_up),
    Rule("spoiling", "Sour, foaming or gassy steep", spoiling),
)
