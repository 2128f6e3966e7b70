"""After the kiln: dry enough to keep, cool enough to bag, culms off, and an account that closes."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from app.judgement import cautions
from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Part, Reading
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, overrun, raised
from app.judgement.forecasts.moisture import MoistureSample, determinations, merged
from app.judgement.grain.charges import part_moisture_sd
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages
from app.judgement.malt.dryness import too_wet
from app.judgement.measures.account import account_of
from app.judgement.programmes.programme import Limit, Verdict, provenance

BAGGING = Limit(high_caution=30.0, unit="c", mark="M", source="from memory: a roast can light again in the sack")
TOLD_WITHIN = timedelta(hours=2)
"""A reading this long before the bagging still tells of it."""

CULMS_H = Limit(high_caution=24.0, unit="h", mark="M", source="from memory: culms draw water from the air")
UNEXPLAINED_SHARE = 0.02
UNEXPLAINED_SDS = 2.0


def final_moisture(batch: BatchAt) -> Iterator[Flag]:
    """The last word on the malt's moisture, once it is off the kiln: too wet to keep, or dried further than planned."""
    told = [sample for sample in _of_malt(batch) if _is_malt(batch, sample.at)]
    if not told:
        yield from _known_too_wet(batch)
        return
    last = told[-1]
    programme = batch.programme_at(last.at)
    limit = programme.limit("final_moisture") if programme else None
    verdict = limit.judge(last.moisture_wb) if limit else None
    if limit is None or verdict is None or verdict.severity is None:
        return
    side = [each for each in told if limit.judge(each.moisture_wb).position == verdict.position]
    figure = wording.percent(last.moisture_wb, last.half_width)
    rule, message = _moisture_message(verdict.position, figure, wording.percent(verdict.bound or 0.0))
    if verdict.position == "high" and verdict.severity == "act":
        message = message._replace(remedy="Back on the kiln at a gentle heat, today; don't seal it, and don't keep it.")
    yield raised(
        batch, rule, verdict.severity, [fact for each in side for fact in each.facts], message,
        provenance(verdict.mark, verdict.source),
        ends_at=batch.ended_at if rule == "overdried" else None, worst=last.moisture_wb, unit="wb",
    )  # fmt: skip


def _known_too_wet(batch: BatchAt) -> Iterator[Flag]:
    """Nobody tested it since the heat went off, and by what is known of it before it is too wet."""
    wet, off = too_wet(batch.history, batch.now), batch.stages_named("cooling", "finished")
    if wet is None:
        return
    start = batch.history.by_id(off[-1].fact_id)
    figure = wording.percent(wet.estimate.moisture_wb, wet.estimate.half_width)
    _, message = _moisture_message("high", f"about {figure}", wording.percent(wet.bound))
    yield raised(
        batch, "not_dry_enough", "act" if batch.is_in("cooling") else wet.severity,
        [fact for fact in (start,) if fact is not None],
        message._replace(remedy="Heat on again, dry on; or use it green, today. Dry for certain? Test its moisture."),
        wet.source, starts_at=off[-1].starts_at, worst=wet.estimate.moisture_wb, unit="wb",
    )  # fmt: skip


def _moisture_message(position: str, figure: str, bound: str) -> tuple[str, Message]:
    if position == "high":
        return "not_dry_enough", Message(
            f"Not dry enough to keep: {figure}, above {bound}",
            "Above 6 % malt goes slack and sours; wetter still, it moulds.",
            "Back on the kiln at a gentle heat, or use it within weeks; keep it sealed meanwhile.",
        )
    return "overdried", Message(
        f"Drier than planned: {figure}, below {bound}",
        "Harmless to keeping; it took more heat than it had to.",
        "Next time stop at the weight that the kiln page names.",
    )


def _of_malt(batch: BatchAt) -> list[MoistureSample]:
    """What was determined or measured of the finished malt's moisture, the packs' own figures too, by time."""
    packs = [
        MoistureSample(pack.at, pack.moisture_wb, part_moisture_sd(pack), pack, "pack")
        for pack in batch.history.of_shape(Part, "pack")
        if pack.method == "measured"
    ]
    told = [
        determination for determination in determinations(batch.history) if determination.basis in ("tested", "outturn")
    ]
    return sorted([*told, *merged(packs)], key=lambda sample: sample.at)


def _is_malt(batch: BatchAt, moment: datetime) -> bool:
    stage = batch.stage_at(moment)
    return stage is not None and stage.name in ("cooling", "finished")


def bagged_warm(batch: BatchAt) -> Iterator[Flag]:
    """Packed while the last reading said that it was still warm."""
    cooling = batch.stages_named("kilning", "cooling", "finished")
    for pack in batch.history.of_shape(Part, "pack"):
        if cooling and pack.source.id == batch.history.batch.id:
            hot = still_hot(batch.history, pack.at)
            if hot is not None:
                yield _bagged_flag(batch, pack, *hot)


def still_hot(history: History, at: datetime) -> tuple[Reading, float, Verdict] | None:
    """The last reading of the grain since the kiln, °C and the verdict on it, where it was lately too hot to bag."""
    begun = next((each for each in all_stages(history) if each.name in ("kilning", "cooling", "finished")), None)
    read = [each for each in history.readings("grain_temperature") if begun and begun.starts_at <= each.at <= at]
    if not read or read[-1].value is None or at - read[-1].at > TOLD_WITHIN:
        return None
    programme = history.programme_at(at)
    own = programme.limit("grain_temperature.bagging") if programme else None
    verdict = (own or BAGGING).judge(read[-1].value)
    return (read[-1], read[-1].value, verdict) if verdict.severity and verdict.position == "high" else None


def _bagged_flag(batch: BatchAt, pack: Part, last: Reading, value_c: float, verdict: Verdict) -> Flag:
    programme = batch.programme_at(pack.at)
    is_roast = programme is not None and programme.is_roast
    title = f"Bagged at {wording.kiln_temperature(value_c)}, above {wording.kiln_temperature(verdict.bound or 0.0)}"
    severity = "act" if is_roast and verdict.severity == "caution" else verdict.severity or "notice"
    return raised(
        batch, "bagged_warm", severity, [pack, last],
        Message(title, "Warm malt sweats in the sack and goes slack; a roast can light again in it.",
                "Out of the sack, spread it thin, cool it, and bag it again."),
        provenance(verdict.mark, verdict.source), caution=cautions.ROAST if is_roast else None, worst=value_c, unit="c",
    )  # fmt: skip


def culms_left_on(batch: BatchAt) -> Iterator[Flag]:
    """A day after the kiln, and nobody has rubbed the culms off."""
    programme = batch.programme_at(batch.now)
    if programme is not None and programme.is_roast:
        return
    cooled = batch.stages_named("cooling")
    if not cooled:
        return
    off = [fact for fact in batch.history.of_kind("heat_off", "stripped") if fact.at >= cooled[-1].starts_at]
    if not off:
        return
    ending = ("culms", "outturn", "finished", "abandoned", "loaded", "heat_on", "pack")
    dressed = next((fact.at for fact in batch.history.facts if fact.kind in ending and fact.at >= off[-1].at), None)
    lasted = (dressed or batch.now) - off[-1].at
    over = overrun(CULMS_H, off[-1].at, lasted.total_seconds() / 3600.0)
    if over is not None:
        yield raised(
            batch, "culms_left_on", over.severity, [off[-1]],
            Message(f"Culms left on for {wording.hours(lasted.total_seconds() / 3600.0)}",
                    "Culms draw water from the air, and taste bitter.", "Rub and sieve them off, and weigh them."),
            over.source, starts_at=over.starts_at, ends_at=dressed, caution=cautions.DUST,
            worst=lasted.total_seconds() / 3600.0, unit="h",
        )  # fmt: skip


def open_account(batch: BatchAt) -> Iterator[Flag]:
    """The dry matter that the account can't explain: more than its uncertainty and more than a fiftieth."""
    account = batch.once(account_of)
    share = account.remainder_share
    if share is None or account.charge is None or not account.lines:
        return
    if abs(share.value) <= max(UNEXPLAINED_SDS * share.sd, UNEXPLAINED_SHARE):
        return
    malt = account.lines[-1]
    is_negative = share.value < 0.0
    figure = wording.percent(abs(share.value), share.half_width)
    title = (
        f"More came out than went in: {figure} of the charge"
        if is_negative
        else f"{figure} of the charge is not accounted for"
    )
    meaning = (
        "Dry matter can't appear: a tare, a moisture or another batch's grain stands behind it."
        if is_negative
        else "More is gone than skimmings, steep, breath, culms and samples explain."
    )
    yield raised(
        batch, "open_account", "caution" if is_negative else "notice", [*malt.facts, *account.charge.facts],
        Message(title, meaning, "Look again at tares, the charge and its moisture, spills, samples, outturn."),
        "derived: more than twice its own standard uncertainty, and more than 2 %", worst=share.value, unit="fraction",
    )  # fmt: skip


RULES = (
    Rule("not_dry_enough", "Not dry enough to keep", final_moisture),
    Rule("overdried", "Drier than planned", final_moisture),
    Rule("bagged_warm", "Bagged warm", bagged_warm),
    Rule("culms_left_on", "Culms left on", culms_left_on),
    Rule("open_account", "Malting-loss account", open_account),
)
