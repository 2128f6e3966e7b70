"""The one ranking: of all that is asked for, what to do now, what after, and what is not said beside it.

First what keeps people safe, then fire, food and the batch: that is what flags to act on ask for. Then what is due, and
last the plan. What the first of two makes wrong or moot is left unsaid: nobody is told to do both.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Reading
from app.judgement.flags import Flag
from app.judgement.flags.answers import JudgedFlag
from app.judgement.flags.inspection import smells_on_kiln
from app.judgement.flags.limits import HOT_WATER
from app.judgement.malt.mould import is_mouldy
from app.judgement.steps.step import NextStep
from app.judgement.wording import Words

ORDERS = ("people", "fire", "food", "batch")
HANDLES = frozenset(
    {"turned", "sprinkled", "growth_count", "rub_out", "chit_count", "squeeze_test", "test_bag", "steep_on", "cast",
     "loaded", "stew_on", "heat_on", "raise", "tray", "moisture_test", "stripped", "culms", "outturn", "pack",
     "finished", "grow", "wait", "dry", "cool", "sample"}
)  # fmt: skip
"""Grain that is no food is left as it is: nobody stirs it up, grows it on, dries or bags it."""

PRECLUDES: Mapping[str, frozenset[str]] = {
    "leave": HANDLES
    | {"grain_temperature", "water_temperature", "drained", "water_changed", "stand", "lower", "relight"},
    "hold": HANDLES,
    "keep_apart": frozenset({"turned"}),
    "begin_none": frozenset({"steep_on"}),
    "drained": frozenset({"steep_on", "water_changed", "stand"}),
    "cast": frozenset({"steep_on", "water_changed", "stand", "drained"}),
    "loaded": frozenset({"grow", "wait", "turned", "sprinkled", "growth_count"}),
    "stew_on": frozenset({"grow", "wait", "turned", "sprinkled", "growth_count"}),
    "wait": frozenset({"loaded", "stew_on"}),
    "heat_on": frozenset({"stripped", "culms", "outturn", "pack", "finished"}),
    "heat_off": frozenset({"raise", "heat_on"}),
    "smother": HANDLES | {"heat_off", "lower", "grain_temperature"},
    "lower": frozenset({"raise"}),
    "raise": frozenset({"loaded"}),
    "relight": frozenset({"raise", "lower"}),
    "sprinkled": frozenset({"dry"}),
    "dry": frozenset({"sprinkled", "steep_on", "water_changed", "stand"}),
    "sample": frozenset({"chit_count", "growth_count", "steep_on", "cast", "grow"}),
}
"""By what is done, what would then be wrong or moot."""

RECORDED_AS = {
    "leave": "co2_room", "hold": "inspection", "declare": "note", "lower": "set_point", "raise": "set_point",
    "cool": "grain_temperature", "dry": "inspection", "grow": "growth_count", "wait": "rub_out", "stand": "test_bag",
    "look": "inspection", "smother": "heat_off", "relight": "air_on_temperature",
}  # fmt: skip


@dataclass(frozen=True)
class Ask:
    """What a flag asks for: what it is done for, and what is done, the likeliest first."""

    order: str
    does: tuple[str, ...]


_TURN, _DRY, _HOLD = Ask("batch", ("turned",)), Ask("batch", ("dry",)), Ask("food", ("hold",))
_GROW, _DRAIN = Ask("batch", ("grow",)), Ask("batch", ("drained", "cast"))
_ASKS: Mapping[str, Ask] = {
    "not_sure": Ask("food", ("keep_apart",)),
    "scorch": Ask("fire", ("smother",)),
    "slip": Ask("fire", ("look",)),
    "bagged_warm": Ask("fire", ("look",)),
    **dict.fromkeys(("mould", "mould_counted", "off_smell", "ergot"), _HOLD),
    "lot_undeclared": Ask("food", ("declare",)),
    "not_dry_enough": Ask("food", ("heat_on",)),
    "cool_stew": Ask("food", ("raise",)),
    "air_fell": Ask("food", ("relight",)),
    "spoiling": Ask("food", ("drained", "cast")),
    "long_under_water": _DRAIN,
    "chitted_under_water": _DRAIN,
    "oversteeped": _DRY,
    "heap_waiting": Ask("batch", ("heat_on",)),
    "over_ceiling": Ask("batch", ("lower",)),
    "past_target": Ask("batch", ("loaded", "stew_on")),
    "dry_enough": Ask("batch", ("heat_off", "tray", "moisture_test")),
    "break_point": Ask("batch", ("raise",)),
    **dict.fromkeys(("turning_due", "bed_limit_ahead", "top_to_bottom", "growth_uneven"), _TURN),
    **dict.fromkeys(("growth_stalled", "few_chits_at_cast"), _GROW),
    "dry_at_cast": Ask("batch", ("sprinkled",)),
    "culms_left_on": Ask("batch", ("culms",)),
}
WARM = ("out_of_limits", "warm_and_wet", "top_to_bottom")
"""What a thermometer told, and a turning mends."""

_OF_FLOOR = ("air_rest", "germination")


def ask_of(batch: BatchAt, flag: Flag) -> Ask:
    """What a flag asks for, by its rule; where that leaves it open, by what it was raised on and where the batch is."""
    stage = batch.stage.name if batch.stage is not None else ""
    fact = batch.whole.by_id(flag.fact_ids[0]) if flag.fact_ids else None
    is_high = flag.side == "high"
    match flag.rule:
        case "out_of_limits" if fact is not None and fact.kind == "water_temperature":
            if not HOT_WATER.judge(flag.worst or 0.0).is_fine:
                return Ask("batch", ("drained", "cast") if stage != "charged" else ("water_temperature",))
            return Ask("batch", ("water_changed", "drained", "cast") if is_high else ("stand",))
        case "out_of_limits" if fact is not None and fact.kind == "air_on_temperature":
            return Ask("batch", ("lower",) if is_high else ("raise",))
        case "cool_stew" if stage != "stewing":
            return Ask("food", ())
        case "out_of_limits" if stage == "kilning" and is_high:
            return Ask("fire", ("smother" if flag.severity == "act" else "heat_off",))
        case "out_of_limits" | "warm_and_wet":
            return _TURN if stage in _OF_FLOOR and is_high | (flag.rule == "warm_and_wet") else Ask("batch", ("cool",))
        case "room_air":
            # Only air that is to be left keeps anybody from what is to be done in it.
            return Ask("people", ("leave",) if flag.severity == "act" else ())
        case "off_smell" if flag.caution is not None and (last := batch.whole.by_id(flag.fact_ids[-1])) is not None:
            return Ask("fire", ("heat_off",)) if smells_on_kiln(batch, last) else _HOLD
        case "lot_unfit":
            return Ask("food", () if batch.history.first_water_at is not None else ("begin_none",))
        case "bed_moisture":
            return _DRY if is_high else Ask("batch", ("sprinkled",))
        case "rub_out":
            return Ask("batch", ("wait",)) if flag.message.title.startswith("Hard") else _DRY
        case "not_in_reach":
            return _GROW if stage == "germination" else Ask("batch", ("stand",)) if stage != "kilning" else Ask("", ())
    # What is said of grain that may poison goes before what is said of the batch.
    return _ASKS.get(flag.rule, Ask("food" if flag.caution is not None else "batch", ()))


@dataclass(frozen=True)
class Ranked:
    """steps: the first is what to do now. flags: with their answers, those that ask for the opposite left unsaid."""

    steps: list[NextStep]
    flags: list[JudgedFlag]


def rank(batch: BatchAt, planned: Iterable[NextStep], judged: Sequence[JudgedFlag], words: Words) -> Ranked:
    """What is asked for, in one order. judged: every flag, those that ask for something now first."""
    due = sorted(planned, key=lambda step: (_place(step), step.due_at))
    steps = [step for step in due if step.order]
    asking = [each.flag for each in judged if each.is_open]
    for flag in asking:
        if flag.severity == "act":
            steps.append(_asked(batch, flag, due, words))
    steps += _sampled(batch, judged, words)
    if any(step.doing == "look" for step in steps):
        # Whether a hot reading was read right is asked after what it asks for.
        steps = [replace(step, order="fire") if step.doing == "lower" else step for step in steps]
        steps.sort(key=lambda step: step.doing == "look")
    # What may be mouldy is not turned, whatever else asks for it.
    unsure = {each for flag in asking if flag.rule == "not_sure" for each in ask_of(batch, flag).does}
    kept = _kept(sorted(steps, key=_place), unsure)
    said = _not_against(batch, asking, kept, unsure)
    beside = {doing for flag in said for doing in ask_of(batch, flag).does[:1]}
    rest = [step for step in due if step.is_overdue(batch.now) or not _is_precluded((step.doing,), beside)]
    kept = _kept([*kept, *rest], unsure)
    said = _not_against(batch, said, [step for step in kept if step.order or step.due_at <= batch.now])
    return Ranked(kept, [each for each in judged if not each.is_open or each.flag in said])


def holding(batch: BatchAt) -> list[NextStep]:
    """Mouldy grain is handled by nobody who was not told so."""
    if not is_mouldy(batch.history, batch.now):
        return []
    why = "Damp it, mask on, bag it, clean the floor wet. Until somebody says that it was a false alarm, it is no food."
    what, now = "Leave it lying: don’t turn, sniff or shake it", batch.now
    return [NextStep("inspection", what, now, now, now, why, "facts", does="hold", order="food")]


def _sampled(batch: BatchAt, judged: Sequence[JudgedFlag], words: Words) -> list[NextStep]:
    """Grain that lay in water hot enough to harm it shows that it lives before anybody goes on with it."""
    counted = [fact.at for fact in batch.history.of_kind("chit_count", "growth_count")]
    is_growing = batch.is_live and batch.stage is not None and batch.stage.name in ("immersion", *_OF_FLOOR)
    for each in judged if is_growing else ():
        flag, told = each.flag, batch.whole.by_id(each.flag.fact_ids[-1]) if each.flag.fact_ids else None
        is_false = each.answer is not None and each.holds and each.answer.answer == "false_alarm"
        if flag.rule != "out_of_limits" or each.is_open or is_false or told is None or flag.worst is None:
            continue
        is_hot = told.kind == "water_temperature" and not HOT_WATER.judge(flag.worst).is_fine
        was_in = any(stage.covers(told.at) for stage in batch.stages_named("immersion"))
        if is_hot and was_in and all(at <= told.at for at in counted):
            why = f"It lay in water of {words.temperature(flag.worst)}. Count the chits of it before you go on."
            since = flag.ends_at or told.at
            return [NextStep("chit_count", "See whether a sample still chits", since, since, batch.now, why, "facts",
                             does="sample", order="batch")]  # fmt: skip
    return []


def _place(step: NextStep) -> int:
    return ORDERS.index(step.order) if step.order else len(ORDERS)


def _asked(batch: BatchAt, flag: Flag, planned: Sequence[NextStep], words: Words) -> NextStep:
    """What a flag to act on asks for: as the plan says it, where the plan says it too."""
    ask, told = ask_of(batch, flag), flag.in_units(words.system)
    if ask == _TURN and flag.rule in WARM and _was_turned(batch, flag):
        ask = Ask("batch", ("grain_temperature",))
    # Where it may burn, it is not as planned.
    own = next((step for step in planned if step.doing in ask.does and ask.order != "fire"), None)
    does = own.doing if own is not None else (ask.does or (flag.rule,))[0]
    what = own.what if own is not None else told.remedy.partition(";")[0].partition(". ")[0].rstrip(".")
    kind = own.kind if own is not None else RECORDED_AS.get(does, does if ask.does else "note")
    if does == "grain_temperature":
        what = own.what if own is not None else "Take the grain’s temperature"
    since, why = flag.starts_at, f"{told.title}{'' if told.title.endswith('?') else '.'} {told.meaning}"
    made = own or NextStep(kind, what, since, since, since, why, "facts")
    first = min(since, made.due_at)
    return replace(made, due_at=first, earliest_at=first, latest_at=first, why=why, basis="facts", does=does,
                   order=ask.order or "batch")  # fmt: skip


def _was_turned(batch: BatchAt, flag: Flag) -> bool:
    """Whether its warmest place was turned since it was last read: then the thermometer has the next word."""
    told = [fact for each in flag.fact_ids if isinstance(fact := batch.whole.by_id(each), Reading)]
    place = max(told, key=lambda each: each.value or 0.0).place if told else None
    read_at = [each.at for each in batch.history.readings("grain_temperature") if each.place == place]
    turns = [fact for fact in batch.history.of_kind("turned") if read_at and fact.at > read_at[-1]]
    return any(not fact.place or (place or "").startswith(fact.place) for fact in turns)


def _kept(steps: Iterable[NextStep], done: Set[str]) -> list[NextStep]:
    """In order, without what one before makes wrong, and each thing once."""
    kept: list[NextStep] = []
    for step in steps:
        before = {each.doing for each in kept} | done
        if step.doing not in before and not _is_precluded((step.doing,), before):
            kept.append(step)
    return kept


def _not_against(
    batch: BatchAt, flags: Sequence[Flag], steps: Sequence[NextStep], done: Set[str] = frozenset()
) -> list[Flag]:
    """The flags that ask for nothing that a step, or a graver flag, makes wrong."""
    doing = {step.doing for step in steps} | done
    said: list[Flag] = []
    for flag in flags:
        does = ask_of(batch, flag).does
        if not does or not all(_is_precluded((each,), doing) for each in does):
            said.append(flag)
            doing |= set(does[:1])
    return said


def _is_precluded(does: Iterable[str], done: Iterable[str]) -> bool:
    return any(each in PRECLUDES.get(before, ()) for each in does for before in done)
