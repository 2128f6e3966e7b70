"""What can't be quite right in the record itself: asked about, and stored all the same."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from app.judgement.batch_at import BatchAt
from app.judgement.facts.kinds import KINDS, MALT_TESTS
from app.judgement.facts.shapes import Fact, Part, Reading, StageChange, Tally, Weighing
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.forecasts.trusted import HOT_C, is_at_the_fire
from app.judgement.history.history import hours_between
from app.judgement.history.stages import Stage
from app.judgement.slips.questions import looks_like_a_slip

RECORD = "the house's rule"
CLOCK_OFF_S = 120.0
FUTURE_ALLOWED = timedelta(minutes=5)
SILENT_H = 12.0
SILENT_KITCHEN_H = 16.0
LEAST_SILENT = timedelta(hours=min(SILENT_H, SILENT_KITCHEN_H))
"""So little grain hardly warms itself: it is looked at morning and evening, with a long night between. Common practice.
"""
WARM_C = 10.0
WATCHED = frozenset({"immersion", "air_rest", "germination", "stewing", "kilning"})
_TEMPERATURES = ("grain_temperature", "water_temperature", "air_temperature", "air_on_temperature")

FOLLOWS = {
    "charged": frozenset({"immersion", "kilning", "air_rest"}),
    "immersion": frozenset({"air_rest", "germination"}),
    "air_rest": frozenset({"immersion", "germination"}),
    "germination": frozenset({"stewing", "kilning"}),
    "stewing": frozenset({"kilning"}),
    "kilning": frozenset({"cooling"}),
    "cooling": frozenset({"finished", "kilning"}),
}
FIRST = frozenset({"charged", "immersion", "kilning"})
AFTER_THE_END = frozenset(
    {"note", "flag_answer", "pack", "dispatch", "culms", "outturn", "split", "merge", "roast_charge", *MALT_TESTS}
    | {"finished", "abandoned"}
)


def slip(batch: BatchAt) -> Iterator[Flag]:
    """Facts that came unasked and look like another unit or a slip: set aside until somebody answers for them.

    But heat on the kiln is judged as it was read.
    """
    for fact in batch.doubted:
        question = looks_like_a_slip(fact, batch.whole)[0]
        is_hot = is_at_the_fire(fact, batch.whole)
        told_at = _heat_told_at(batch, fact) if is_hot else batch.ended_at
        is_now = is_hot and told_at is None
        meaning = "It is judged as it was read" if is_hot else "It is left out of every flag"
        title = f"Another unit or a slip? {question.message}"
        yield raised(
            batch, "slip", "act" if is_now else "caution", [fact],
            Message(title, f"{meaning} until somebody says what was meant.",
                    f"{'Look at the kiln now. ' if is_now else ''}"
                    "Correct it; or answer “false alarm”, and it counts as it was read."),
            "what is usual for this kind, stage and programme, from memory",
            ends_at=told_at, place=fact.place,
        )  # fmt: skip


def _heat_told_at(batch: BatchAt, hot: Fact) -> datetime | None:
    """When a later reading of the same, or grain that is cool again, told what a hot reading was: heat that is off does
    not put out a fire. None while nobody has looked again."""
    return min(
        (
            fact.at
            for fact in batch.history.facts
            if isinstance(fact, Reading)
            and fact.at > hot.at
            and (
                (fact.kind == hot.kind and fact.place == hot.place)
                or (fact.kind == "grain_temperature" and (fact.value or HOT_C) < HOT_C)
            )
        ),
        default=batch.ended_at,
    )


def silent(batch: BatchAt) -> Iterator[Flag]:
    """Nobody looked for half a day while the grain was warm and wet; the stretches of the past, and the one now."""
    looks = [
        fact
        for fact in batch.history.facts
        if isinstance(fact, Reading | Weighing | Tally) or fact.kind == "inspection"
    ]
    for stage in _watched(batch):
        end = batch.end_of(stage)
        inside = [look for look in looks if stage.starts_at < look.at < end]
        start = batch.history.by_id(stage.fact_id)
        marks = [*([start] if start is not None else []), *inside]
        for look, until in zip(marks, [*[mark.at for mark in marks[1:]], end], strict=True):
            if until - look.at <= LEAST_SILENT:
                continue
            allowed_h = _silent_h(batch, look.at)
            if hours_between(look.at, until) > allowed_h and _is_warm(batch, look.at):
                yield _silent_flag(batch, look, until, allowed_h, is_now=until == end and stage.ends_at is None)


def _watched(batch: BatchAt) -> list[Stage]:
    return [stage for stage in batch.stages if stage.name in WATCHED]


def _is_warm(batch: BatchAt, moment: datetime) -> bool:
    """By the last temperature known then; where none is, it is taken to be warm."""
    last = [batch.history.last_before(moment, batch.history.readings(kind)) for kind in _TEMPERATURES]
    readings = [each for each in last if each is not None and each.value is not None]
    return not readings or (max(readings, key=lambda each: each.at).value or 0.0) > WARM_C


def _silent_h(batch: BatchAt, moment: datetime) -> float:
    programme = batch.programme_at(moment)
    return SILENT_KITCHEN_H if programme is not None and programme.scale == "kitchen" else SILENT_H


def _silent_flag(batch: BatchAt, look: Fact, until: datetime, allowed_h: float, *, is_now: bool) -> Flag:
    lasted = hours_between(look.at, until)
    title = f"No reading for {wording.hours(lasted)}, {batch.span_words(look.at, until)}"
    remedy = (
        "Go and look: temperature first, then smell." if is_now else "Write down what you remember, as a range of time."
    )
    return raised(
        batch, "silent", "caution" if is_now else "notice", [look],
        Message(title, "Warm, wet grain can run away in half a day, and nobody would know.", remedy),
        "from memory: twelve hours" if allowed_h == SILENT_H else "common practice: morning and evening",
        starts_at=look.at + timedelta(hours=allowed_h), ends_at=None if is_now else until,
        worst=lasted, unit="h",
    )  # fmt: skip


def clock_off(batch: BatchAt) -> Iterator[Flag]:
    """A device whose clock is off: one flag for each, open while its last entry shows it."""
    by_device: dict[str, list[Fact]] = {}
    for fact in batch.whole.facts:
        if fact.clock_offset_s is not None:
            by_device.setdefault(fact.device or "", []).append(fact)
    for device, facts in by_device.items():
        facts.sort(key=lambda fact: (fact.written_at or fact.at, fact.id))
        off = [fact for fact in facts if abs(fact.clock_offset_s or 0.0) > CLOCK_OFF_S]
        if not off:
            continue
        worst = max(off, key=lambda fact: abs(fact.clock_offset_s or 0.0))
        after = [fact.at for fact in facts[facts.index(off[-1]) + 1 :]]
        seconds = abs(worst.clock_offset_s or 0.0)
        title = f"The clock of {device or 'a phone'} is off by {wording.hours(seconds / 3600.0)}"
        yield raised(
            batch, "clock_off", "notice", off,
            Message(title, "Times taken as “now” were put right by it; times that were typed were not.",
                    "Set its clock by the network, and look over the times that were typed on it."),
            RECORD, ends_at=after[0] if after else batch.ended_at, worst=seconds / 3600.0, unit="h",
        )  # fmt: skip


def out_of_time(batch: BatchAt) -> Iterator[Flag]:
    """Entries before the batch, in the future, or after the end: each sort as one flag."""
    began_at = _began_at(batch)
    early = [
        fact for fact in batch.history.facts if began_at is not None and fact.at < began_at and _counts_early(fact)
    ]
    coming = [fact for fact in batch.whole.facts if fact.at > batch.now + FUTURE_ALLOWED]
    end = batch.ended_at
    late = [
        fact for fact in batch.history.facts if end is not None and fact.at > end and fact.kind not in AFTER_THE_END
    ]
    for rule, facts, words in (
        ("before_the_batch", early, "before the batch began"),
        ("in_the_future", coming, "still to come"),
        ("after_the_end", late, "after the batch had ended"),
    ):
        if facts:
            yield _time_flag(batch, rule, facts, words)


def _began_at(batch: BatchAt) -> datetime | None:
    begun = [
        fact.at for fact in batch.history.facts if isinstance(fact, Part | StageChange) or fact.kind == "float_count"
    ]
    return min(begun, default=None)


def _counts_early(fact: Fact) -> bool:
    """Bags are weighed and instruments read before the charge is; what grows or is done to the batch can't be."""
    return isinstance(fact, Reading | Tally) or fact.kind in (
        "turned",
        "sprinkled",
        "water_changed",
        "aerated",
        "inspection",
    )


def _time_flag(batch: BatchAt, rule: str, facts: Sequence[Fact], words: str) -> Flag:
    first = KINDS[facts[0].kind].word
    more = f" and {len(facts) - 1} more" if len(facts) > 1 else ""
    title = f"{first} at {batch.hour_words(facts[0].at)}{more}: {words}"
    return raised(
        batch, rule, "notice", facts,
        Message(title, "It is kept, and counts at the time it was given.",
                "If the time is wrong, correct it; a phone's clock may be off, or it is about another batch."),
        RECORD, ends_at=batch.ended_at if rule == "before_the_batch" else None,
    )  # fmt: skip


def strange_order(batch: BatchAt) -> Iterator[Flag]:
    """A stage that seldom follows the one before: it may well be what happened."""
    arrived = {part.kind for part in batch.history.charges}
    if batch.stages and batch.stages[0].name not in FIRST and not arrived & {"split", "merge", "roast_charge"}:
        yield _order_flag(batch, batch.stages[0], f"The batch begins {batch.stages[0].word}")
    for before, after in zip(batch.stages, batch.stages[1:], strict=False):
        if after.name != "abandoned" and after.name not in FOLLOWS.get(before.name, frozenset()):
            yield _order_flag(batch, after, f"From {before.word} to {after.word}")
    yield from _loaded_again(batch)


def _loaded_again(batch: BatchAt) -> Iterator[Flag]:
    """Wet grain set to grain that is drying: neither moisture nor hours are those of one load any more."""
    is_hot = False
    for fact in batch.history.of_kind("loaded", "heat_on", "heat_off", "stripped"):
        if fact.kind == "loaded" and is_hot:
            stage = batch.stage_at(fact.at)
            yield raised(
                batch, "strange_order", "caution", [fact],
                Message("Loaded again while the heat is on", "There are two loads now, one wetter than the other: the "
                        "moisture and the hours said here are those of one load, and of neither.",
                        "Weigh a tray of each load; keep the air to what the wetter one bears. If it was no second "
                        "load, strike the entry out."),
                RECORD, ends_at=stage.ends_at if stage else batch.ended_at,
            )  # fmt: skip
        is_hot = fact.kind == "heat_on" or (is_hot and fact.kind == "loaded")


def _order_flag(batch: BatchAt, stage: Stage, title: str) -> Flag:
    fact = batch.history.by_id(stage.fact_id)
    facts = [fact] if fact is not None else list(batch.history.facts[:1])
    return raised(
        batch, "strange_order", "notice", facts,
        Message(f"{title}, at {batch.hour_words(stage.starts_at)}: is that so?",
                "It may be what happened, or an entry is missing or has a wrong time.",
                "Add or correct an entry; or answer that it is so."),
        RECORD, starts_at=stage.starts_at, ends_at=batch.ended_at,
    )  # fmt: skip


RULES = (
    Rule("slip", "Another unit or a slip?", slip),
    Rule("silent", "No reading while warm", silent),
    Rule("clock_off", "A clock is off", clock_off),
    Rule("before_the_batch", "Before the batch", out_of_time),
    Rule("in_the_future", "In the future", out_of_time),
    Rule("after_the_end", "After the end", out_of_time),
    Rule("strange_order", "Strange order of stages", strange_order),
)
