"""What an entry means, the moment it is kept: one line, and what follows from it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Action, Fact, Reading, Remark, Tally, Weighing, Withdrawal
from app.judgement.flags import STANDS_WHENEVER_TOLD, Flag
from app.judgement.forecasts.band import Z80
from app.judgement.forecasts.foreseen import until_dry, until_grown
from app.judgement.forecasts.moisture import charged, determination_of, dry_kg_of, judged_wb, moisture_at
from app.judgement.forecasts.trusted import trusted
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import fired_at
from app.judgement.history.stages import all_stages, stage_at
from app.judgement.history.told_late import is_told_late
from app.judgement.malt.dry_enough import SURE_WB
from app.judgement.malt.looks import GRAVITY, KEEP_APART, NOT_JUDGED, amiss_in_batch, in_one, not_said
from app.judgement.malt.mould import ergot_share, is_mouldy, is_spreading_in
from app.judgement.malt.no_moisture import no_moisture
from app.judgement.malt.tests import told
from app.judgement.meaning.raised import LEAST, raised_by
from app.judgement.measures.account import account
from app.judgement.programmes.programme import Limit
from app.judgement.slips.questions import looks_like_a_slip
from app.judgement.steps.kiln import PULL, PULL_AT
from app.judgement.steps.next_steps import next_steps
from app.judgement.watch.exposure import ACT_EXCESS_C, as_on_kiln, is_over
from app.judgement.watch.layers import as_read
from app.judgement.watch.waiting import is_heat_off
from app.judgement.wording import METRIC, Words
from app.science.proportions import wilson_interval

KG_PER_M3 = 1000.0


@dataclass(frozen=True)
class Meaning:
    """status: none, fine, notice, caution or act. text: what it is; detail: what follows.

    says_what_to_do: that text and detail do, where something is amiss.
    """

    status: str
    text: str
    detail: str = ""
    says_what_to_do: bool = False


def meaning(
    history: History, fact: Fact, now: datetime, words: Words = METRIC, standing: Sequence[Flag] | None = None
) -> Meaning:
    """What this fact of the batch means now: never milder than a caution that it raises, and then with its remedy.

    standing: what flags.each_for_itself gives of this history, where somebody has it.
    """
    # Who asks may have read the fact by itself: the history's own is the one that its instrument's correction is in.
    fact = history.by_id(fact.id) or fact
    said = by_itself(history, fact, now, words)
    flag = None if isinstance(fact, Withdrawal) else raised_by(history, fact, now, standing)
    if is_told_late(history, fact):
        said = _as_it_was(said)
        flag = flag if flag is not None and flag.rule in STANDS_WHENEVER_TOLD else None
    if flag is None:
        return said
    gravity = GRAVITY.index(said.status) if said.status in GRAVITY else 0
    is_told = gravity > GRAVITY.index(flag.severity) or (said.status == flag.severity and said.says_what_to_do)
    return said if is_told else _of_flag(flag, said, fact, words)


def _as_it_was(said: Meaning) -> Meaning:
    """Of what is told long after it was so: there is nothing to be done of it any more."""
    if said.says_what_to_do or said.status not in LEAST:
        return said
    return Meaning("notice", f"{said.text.removesuffix(': act now')}, then")


def _of_flag(flag: Flag, said: Meaning, fact: Fact, words: Words) -> Meaning:
    """Where one must act at once, and wherever there is gas, what to do comes before what was found."""
    told = flag.in_units(words.system)
    caution = flag.caution.short if flag.caution is not None else ""
    if flag.severity == "act" or flag.rule == "room_air":
        return Meaning(flag.severity, told.remedy, f"{told.title}. {caution}".strip(), says_what_to_do=True)
    if said.says_what_to_do:
        return replace(said, status=flag.severity)
    own = "" if isinstance(fact, Reading) else f" {said.text.removesuffix('.')}."
    return Meaning(flag.severity, told.title, f"{told.remedy}{own}")


def by_itself(history: History, fact: Fact, now: datetime, words: Words = METRIC) -> Meaning:
    """What this fact means against the programme, whatever flags it raises."""
    if isinstance(fact, Withdrawal):
        return Meaning("none", "Struck out. It stays in the record.")
    tell = TELLERS.get(KINDS[fact.kind].teller)
    # A look says what is amiss whatever was said of its quality.
    if tell is not _inspection and fact.quality not in ("measured", "estimated"):
        return Meaning("none", f"{KINDS[fact.kind].word} kept: {_quality_word(fact)}.")
    of_malt = told(fact, words)
    if of_malt is not None:
        return Meaning(*of_malt)
    return tell(history, fact, now, words) if tell else Meaning("none", f"{KINDS[fact.kind].word} kept.")


def _quality_word(fact: Fact) -> str:
    return fact.quality.replace("_", " ")


def judged(limit: Limit | None, value: float, off: float = 0.0) -> str:
    """The status of a value against a limit, though it be off by so much: none where there is no limit."""
    if limit is None:
        return "none"
    return limit.judge_surely(value, off).status


def range_words(limit: Limit | None, show: Callable[[float], str]) -> str:
    """The target of a limit, in words."""
    if limit is None or (limit.target_low is None and limit.target_high is None):
        return ""
    if limit.target_low is None:
        return f"target at most {show(limit.target_high or 0.0)}"
    if limit.target_high is None:
        return f"target at least {show(limit.target_low)}"
    low, high = show(limit.target_low), show(limit.target_high)
    return f"target {low.split(' ')[0]}–{high}"


def reading_limit(history: History, reading: Reading) -> Limit | None:
    """The programme's limit for a reading, by the stage and moisture of its moment."""
    programme = history.programme_at(reading.at)
    stage = stage_at(all_stages(history), reading.at)
    if programme is None or stage is None:
        return None
    moisture = moisture_at(history, reading.at)
    return programme.limit_for(reading.kind, stage.name, moisture.moisture_wb if moisture else None)


def _reading(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    assert isinstance(fact, Reading)
    if fact.value is None:
        return Meaning("none", f"{KINDS[fact.kind].word} kept.")
    kind = KINDS[fact.kind]
    shown = words.quantity(kind.dimension, fact.value)
    if kind.name == "grain_temperature":
        hot = _over_ceiling(history, fact, words)
        if hot:
            return hot
    limit = reading_limit(history, fact)
    status = judged(limit, fact.value)
    wanted = range_words(limit, lambda value: words.quantity(kind.dimension, value))
    text = f"{kind.word} {shown}" + (f": {limit.judge(fact.value).said}" if limit is not None else "")
    bears_c = _borne_c(history, fact) if kind.name == "air_on_temperature" else None
    if bears_c is not None and is_over(fact.value, bears_c):
        both = f"{words.temperature(bears_c)} ({words.other_temperature(bears_c)})"
        joint = ": " if limit is None else ", but " if status == "fine" else ", and "
        status, text = ("none" if status == "fine" else status), f"{text}{joint}above the grain’s ceiling of {both}"
        wanted = f"Read the grain before it comes to that. {wanted[:1].upper()}{wanted[1:]}".strip()
    if fact.correction:
        wanted = f"Corrected by {words.difference(fact.correction)} for its instrument. {wanted}"
    return Meaning(status, text, wanted[:1].upper() + wanted[1:])


def _borne_c(history: History, air: Reading) -> float | None:
    """The ceiling of the grain when its air was read; None off the kiln, and where the programme has none."""
    programme, stage = history.programme_at(air.at), stage_at(all_stages(history), air.at)
    if programme is None or stage is None or stage.name != "kilning":
        return None
    return programme.ceiling_c(judged_wb(moisture_at(history, air.at)))


def _over_ceiling(history: History, fact: Reading, words: Words) -> Meaning | None:
    read, told = fact, as_on_kiln(history, fact)
    if told is None:
        return None
    fact, is_off = told, told is not read
    programme, moisture = history.programme_at(fact.at), moisture_at(history, fact.at)
    if programme is None or fact.value is None:
        return None
    bed_wb, layer_wb = judged_wb(moisture), as_read(history, fact)
    ceiling = programme.ceiling_c(layer_wb)
    if ceiling is None:
        return None
    both = f"{words.temperature(fact.value)} ({words.other_temperature(fact.value)})"
    limit = f"{words.temperature(ceiling)} ({words.other_temperature(ceiling)})"
    if layer_wb != bed_wb:
        at = f"By its heat this layer holds about {words.percent(layer_wb, decimals=0)}: its ceiling is {limit}."
    elif moisture is not None and moisture.is_told:
        at = f"Ceiling at {words.percent(moisture.where_wettest_wb, moisture.half_width)} moisture: {limit}."
    else:
        at = f"Its moisture is not known, and the ceiling of wet grain is {limit}."
    if is_over(fact.value, ceiling):
        status = "act" if fact.value - ceiling >= ACT_EXCESS_C else "caution"
        remedy = "Cool it, thin and moving." if is_off else "Lower the air, or open the kiln."
        return Meaning(status, f"Grain {both}: over its ceiling", f"{at} {remedy}")
    if is_off:
        return None
    return Meaning("fine", f"Grain {both}: {'at' if fact.value > ceiling else 'under'} its ceiling", at)


def _moisture(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    if history.by_id(fact.id) is not None and trusted(history).by_id(fact.id) is None:
        (question, *_) = looks_like_a_slip(fact, history)
        return Meaning(
            "caution", "Another unit or a slip?", f"{question.message} It is left out until it is corrected."
        )
    sample = determination_of(history, fact)
    if sample is None:
        status, text, detail = no_moisture(trusted(history), fact)
        return Meaning(status, text, detail, says_what_to_do=status != "none")
    shown = words.percent(sample.moisture_wb, sample.half_width) + sample.together
    programme = history.programme_at(fact.at)
    stage = stage_at(all_stages(history), fact.at)
    name = stage.name if stage else "charged"
    key = "final_moisture" if name in ("kilning", "cooling", "finished") else "cast_moisture"
    limit = programme.limit(key) if programme else None
    if limit is None or limit.target_low is None or limit.target_high is None:
        return Meaning("none", f"Moisture {shown}")
    target = f"{100 * limit.target_low:g}–{100 * limit.target_high:g} %"
    if sample.moisture_wb < limit.target_low and name in ("charged", "immersion", "air_rest"):
        return Meaning("none", f"Moisture {shown}", _with_next(f"On its way to {target}.", history, now, words))
    surely = limit.judge_surely(sample.moisture_wb, Z80 * sample.sd)
    if key == "cast_moisture" and surely.is_fine and not limit.is_told_by(sample.moisture_wb, sample.half_width):
        unsure = f"Too unsure to say whether it is inside {target}: weigh more of it, or on a finer scale."
        return Meaning("none", f"Moisture {shown}", _with_next(unsure, history, now, words))
    reach = (sample.moisture_wb - sample.half_width, sample.moisture_wb + sample.half_width)
    may_be_dry = reach[0] <= limit.target_high and limit.target_low <= reach[1]
    if may_be_dry and key == "final_moisture" and sample.half_width > SURE_WB:
        return Meaning("none", f"Moisture {shown}", "Known too little to say whether it is dry enough: test the malt.")
    if sample.moisture_wb > limit.target_high and stage is not None and name == "kilning":
        if fired_at(history, stage, now) is None or is_heat_off(history, now):
            return Meaning("none", f"Moisture {shown}", f"Without heat it does not dry: its target is {target}.")
        return Meaning("none", f"Moisture {shown}", f"Still drying, to {target}{until_dry(history, now, words)}.")
    verdict = limit.judge_surely(sample.moisture_wb, Z80 * sample.sd if key == "cast_moisture" else 0.0)
    bare = limit.judge(sample.moisture_wb)
    side = f"perhaps {bare.said}" if verdict.is_fine and not bare.is_fine else verdict.said
    said = f"Moisture {shown}, {side}: target {target}"
    return Meaning(verdict.status, said, _with_next("", history, now, words))


def _with_next(said: str, history: History, now: datetime, words: Words) -> str:
    """What was said, and what is to be done next; that comes first where it is urgent."""
    steps = next_steps(history, now, words)
    if not steps:
        return said
    line = steps[0].line(words, now)
    if steps[0].order:
        return f"{line}. {said}".strip()
    return f"{said} {'Now' if steps[0].is_due(now) else 'Next'}: {line[:1].lower()}{line[1:]}.".strip()


def _tally(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    assert isinstance(fact, Tally)
    counted, spec = next(each for each in KINDS[fact.kind].fields.items() if each[1].target.startswith("counts."))
    word, hits = _SHARE_WORDS.get(fact.kind, spec.word), fact.counts.get(counted, 0)
    low, high = wilson_interval(hits, fact.looked_at)
    share = hits / fact.looked_at
    text = f"{word} {100 * share:.0f} % of {fact.looked_at} ({100 * low:.0f}–{100 * high:.0f} %)"
    programme = history.programme_at(fact.at)
    if fact.kind == "chit_count" and programme is not None:
        limit = programme.limit("cast_chits")
        wanted = range_words(limit, lambda value: f"{100 * value:g} %")
        is_there = limit is not None and limit.target_low is not None and share >= limit.target_low
        return Meaning("fine" if is_there else "none", text, f"{wanted[:1].upper()}{wanted[1:]} when it is cast.")
    if fact.kind == "float_count":
        return Meaning("none", text, "Light corn, chaff and hollow kernels float; it is no test of life.")
    return Meaning("none", text)


def _rub_out(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    assert isinstance(fact, Tally)
    chalky = fact.counts.get("chalky", 0) / fact.looked_at
    hard = fact.counts.get("hard_end", 0)
    return Meaning(
        "none", f"Chalky {100 * chalky:.0f} % of {fact.looked_at}", f"{hard} with a hard end." if hard else ""
    )


def _growth(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    from app.judgement.grain.counts import growth_of

    assert isinstance(fact, Tally)
    grown = growth_of(fact)
    text = f"Mean acrospire {grown.mean:.2f}, spread {grown.sd:.2f}" if grown is not None else ""
    if fact.counts.get("mouldy"):
        return _mouldy(fact, text)
    if grown is None:
        return Meaning("none", "Growth count kept: nothing could be judged.")
    programme = history.programme_at(fact.at)
    limit = programme.limit("acrospire") if programme else None
    if limit is None or limit.target_low is None or limit.target_high is None:
        return Meaning("none", text)
    target = f"{limit.target_low:g}–{limit.target_high:g}"
    if grown.mean < limit.target_low:
        return Meaning("none", text, f"Growing on to {target}{until_grown(history, now, words)}.")
    status = judged(limit, grown.mean)
    return Meaning(
        status,
        text,
        f"In its range of {target}: rub out, and stop it." if status == "fine" else f"Past {target}: stop it now.",
    )


def _mouldy(fact: Tally, grown: str) -> Meaning:
    """What is mouldy goes before what is grown."""
    text = f"Mouldy {fact.counts['mouldy']} of {fact.looked_at}"
    if is_spreading_in(fact):
        what = f"{text}: don’t turn, sniff or shake it"
        return Meaning("act", what, f"Too many to be dead kernels. {KEEP_APART}", says_what_to_do=True)
    look = "From arm’s length, and record the inspection."
    return Meaning("caution", f"{text}: look at all of it", f"{look} {grown}".strip(), says_what_to_do=True)


def _skimmings(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    assert isinstance(fact, Weighing)
    start = charged(history)
    whole = fact.of_kg * (1 - start.moisture_wb) if fact.of_kg and start else (start.dry_kg if start else None)
    if not whole:
        return Meaning("none", f"Skimmings {words.mass(fact.net_kg)} kept.")
    share = dry_kg_of(history, fact) / whole
    detail = (
        "Weighed dry."
        if fact.method == "dried"
        else "Put on the dry basis of the charge: an estimate, as they were weighed wet."
    )
    return Meaning("none", f"Skimmed off {100 * share:.1f} % of the charge", detail)


def _outturn(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    assert isinstance(fact, Weighing)
    start = charged(history)
    if start is None:
        return Meaning("none", f"Outturn {words.mass(fact.net_kg)}")
    return Meaning(
        "none", f"Outturn {words.mass(fact.net_kg)}: {words.percent(fact.net_kg / start.as_is_kg, decimals=1)} as is"
    )


def _sprinkled(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    """How many points the water lifts the grain, if it takes all of it up."""
    assert isinstance(fact, Action)
    before, left_dry_kg = moisture_at(history, fact.at), account(history, fact.at).left_dry_kg
    if not fact.amount or before is None or not left_dry_kg:
        return Meaning("none", f"{KINDS[fact.kind].word} kept.")
    grain_kg = left_dry_kg / (1.0 - before.moisture_wb)
    lifted = 1.0 - left_dry_kg / (grain_kg + KG_PER_M3 * fact.amount) - before.moisture_wb
    water = words.quantity("volume", fact.amount)
    return Meaning(
        "none", f"Sprinkled {water}: lifts it by about {100.0 * lifted:.1f} points",
        "An estimate, if the grain takes up all of it.",
    )  # fmt: skip


def _roast_colour(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    """What the eye says decides; a number says beside it where it lies in the programme's band."""
    assert isinstance(fact, Action)
    programme = history.programme_at(fact.at)
    limit = programme.limit_for(fact.kind, "kilning") if programme else None
    detail = range_words(limit, lambda value: words.quantity("colour", value))
    number = f" ({words.quantity('colour', fact.amount)})" if fact.amount is not None else ""
    if fact.what not in PULL_AT:
        above = limit is not None and fact.amount is not None and limit.judge(fact.amount).position == "high"
        text = "by number past its band: cut more kernels" if above else "roast on, and look again soon"
        return Meaning("notice" if above else "none", f"Lighter than the target{number}: {text}", _upper(detail))
    status, text = ("notice", "On target") if fact.what == "there" else ("caution", "Darker than the target")
    return Meaning(status, f"{text}{number}: pull it now. {PULL}", _upper(detail), says_what_to_do=True)


def _upper(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _inspection(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    """The gravest of what was found. Clean only where all that is asked is said and well, without words."""
    assert isinstance(fact, Remark)
    at = max(now, fact.at)
    stage = stage_at(all_stages(history), fact.at)
    name = stage.name if stage is not None else None
    amiss = amiss_in_batch(fact, ergot_share(history, at), stage=name, is_mouldy=is_mouldy(history, at))
    if amiss:
        return Meaning(*in_one(amiss), says_what_to_do=True)
    if fact.text or fact.note:
        return Meaning("none", "Look & smell kept, with your words", NOT_JUDGED)
    if fact.quality not in ("measured", "estimated"):
        return Meaning("none", f"{KINDS[fact.kind].word} kept: {_quality_word(fact)}.")
    left = not_said(fact, name or "charged")
    if left:
        return Meaning("none", "Nothing amiss in what was said", f"Not said: {', '.join(left)}.")
    return Meaning("fine", "Looked, clean")


def _stage(history: History, fact: Fact, now: datetime, words: Words) -> Meaning:
    follow = _with_next("", history, now, words)
    return Meaning("none", f"{KINDS[fact.kind].word} {words.at(fact.at)}, hour {history.hour(fact.at):.0f}", follow)


_SHARE_WORDS = {"chit_count": "Chits", "squeeze_test": "White core in"}
"""How a share is called, where the word of what was counted won't do."""

TELLERS: Mapping[str, Callable[[History, Fact, datetime, Words], Meaning]] = {
    "reading": _reading,
    "stage": _stage,
    "moisture": _moisture,
    "share": _tally,
    "rub_out": _rub_out,
    "growth": _growth,
    "skimmings": _skimmings,
    "outturn": _outturn,
    "sprinkled": _sprinkled,
    "roast_colour": _roast_colour,
    "inspection": _inspection,
}
"""By the name that a kind gives of its teller; those of malt tests are in malt/tests.py."""
