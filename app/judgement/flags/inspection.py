"""What was seen and smelt: mould, off smell, ergot, and what nobody is sure of. And bags that rootlets have knit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from app.judgement import cautions
from app.judgement.facts import Fact, Remark, Weighing
from app.judgement.flags import wording
from app.judgement.flags.base import Case, Flag, Message, Rule
from app.judgement.moisture import charged
from app.judgement.stages import Stage

LOOK_AGAIN = timedelta(hours=6)
ERGOT_LIMIT = 0.0002
"""0.2 g/kg of raw grain, European Union (rye since July 2025) [P]."""

ROOT_HAIRS = (
    "Root hairs look like mould: white, only at the rootlets' tips, gone when sprayed, no smell. Grey, green, black or "
    "pink, on the husk or on broken corns, or musty: that is mould."
)
KNIT = frozenset({"strands", "felted"})


def _looks(case: Case) -> list[Remark]:
    """Inspections of the lots before they were charged, and of the batch, in order of time."""
    lots = [fact for lot in case.history.lots.values() for fact in lot.facts if fact.at <= case.now]
    looks = [fact for fact in lots if isinstance(fact, Remark) and fact.kind == "inspection"]
    return sorted([*looks, *case.history.of_shape(Remark, "inspection")], key=lambda look: (look.at, look.id))


def _of_lot(look: Remark) -> str:
    return " in the lot" if look.subject.type == "lot" else ""


def mould(case: Case) -> Iterator[Flag]:
    """Mould stays, whatever a later look says: it takes an answer to close the flag, or the fact struck out."""
    found = [look for look in _looks(case) if look.findings.get("mould") == "yes"]
    if not found:
        return
    where = f" ({found[0].place})" if found[0].place else ""
    title = f"Mould seen{_of_lot(found[0])}{where}, {case.span_words(found[0].at, found[-1].at)}"
    remedy = "Keep it apart and wet; bag it; don't kiln it for food. " + ROOT_HAIRS
    yield case.flag(
        "mould", "act", found,
        Message(title, "Mould can poison whoever eats it and whoever breathes its dust.", remedy),
        "common practice", ends_at=_abandoned_at(case), caution=cautions.MOULD, place=found[0].place, cause="mould",
    )  # fmt: skip


def _abandoned_at(case: Case) -> datetime | None:
    return next((stage.starts_at for stage in case.stages if stage.name == "abandoned"), None)


def off_smell(case: Case) -> Iterator[Flag]:
    """Musty or otherwise off; sour too, once out of the steep. A later clean look ends it, unless it was musty."""
    run: list[Remark] = []
    for look in [*_looks(case), None]:
        smell = look.findings.get("smell") if look else None
        if look is not None and _is_off(case, look):
            run.append(look)
        elif run and (look is None or (smell == "clean" and not _was_musty(run))):
            yield _smell_flag(case, run, look)
            run = []


def _is_off(case: Case, look: Remark) -> bool:
    smell = look.findings.get("smell")
    if smell == "sour":
        stage = case.stage_at(look.at)
        return stage is not None and stage.name not in ("charged", "immersion", "air_rest")
    return smell in ("musty", "off")


def _was_musty(run: Sequence[Remark]) -> bool:
    return any(look.findings.get("smell") == "musty" for look in run)


def _smell_flag(case: Case, run: Sequence[Remark], ended_by: Remark | None) -> Flag:
    words = {"musty": "musty", "off": "off", "sour": "sour"}
    smells = list(dict.fromkeys(words[look.findings["smell"]] for look in run if look.findings.get("smell") in words))
    title = f"It smells {' and '.join(smells)}{_of_lot(run[0])}, {case.span_words(run[0].at, run[-1].at)}"
    is_sour = smells == ["sour"]
    meaning = (
        "Lactic and acetic bacteria are growing: it has stood too warm and too wet."
        if is_sour
        else "A musty or foul smell is mould or rot until shown otherwise."
    )
    remedy = "Spread it thin, cool it, air it. Look for mould from arm's length; don't sniff again."
    return case.flag(
        "off_smell", "act", run, Message(title, meaning, remedy), "common practice",
        ends_at=ended_by.at if ended_by else _abandoned_at(case),
        caution=None if is_sour else cautions.MOULD, place=run[0].place, cause="mould" if _was_musty(run) else "",
    )  # fmt: skip


def not_sure(case: Case) -> Iterator[Flag]:
    """Nobody was sure: keep it apart, look again in six hours. Ends with a look that is sure."""
    run: list[Remark] = []
    for look in [*_looks(case), None]:
        answers = (look.findings.get("mould"), look.findings.get("smell")) if look else ()
        if look is not None and "not_sure" in answers:
            run.append(look)
        elif run:
            yield _not_sure_flag(case, run, look)
            run = []


def _not_sure_flag(case: Case, run: Sequence[Remark], ended_by: Remark | None) -> Flag:
    due_at = run[-1].at + LOOK_AGAIN
    is_due = ended_by is None and case.now >= due_at
    aspect = "mould" if any(look.findings.get("mould") == "not_sure" for look in run) else "the smell"
    title = f"Not sure about {aspect}{_of_lot(run[0])}, {case.span_words(run[0].at, run[-1].at)}"
    remedy = "Look again now" if is_due else f"Look again at {case.hour_words(due_at)}, six hours after"
    remedy += f", and keep it apart until then. {ROOT_HAIRS}"
    return case.flag(
        "not_sure", "caution", run,
        Message(title, "It may be mould: mould has grown in six hours, root hairs have not.", remedy),
        "common practice",
        ends_at=ended_by.at if ended_by else case.ended_at, caution=cautions.MOULD, place=run[0].place, cause="mould",
    )  # fmt: skip


def ergot(case: Case) -> Iterator[Flag]:
    """Any ergot is to be picked out; above the limit for raw grain the charge is rejected."""
    found = [look for look in _looks(case) if (look.ergot_kg or 0.0) > 0.0 or look.findings.get("ergot") == "yes"]
    if not found:
        return
    weighed = [look for look in found if look.subject.type == "batch" and look.ergot_kg]
    ergot_kg = sum(look.ergot_kg or 0.0 for look in weighed)
    whole = charged(case.history)
    share = ergot_kg / whole.as_is_kg if whole and ergot_kg else None
    is_rejected = share is not None and share > ERGOT_LIMIT
    figure = f"{1000.0 * share:.2f} g/kg of the charge" if share is not None else "not weighed against the charge"
    title = f"Ergot: {wording.mass(ergot_kg)}, {figure}" if ergot_kg else "Ergot found: weigh it"
    remedy = (
        "Reject the charge: keep it from food and feed."
        if is_rejected
        else "Pick it all out with gloves, and weigh it."
    )
    yield case.flag(
        "ergot", "act" if is_rejected else "caution", found,
        Message(title, "Its alkaloids are poisonous, and neither steeping nor kilning surely destroys them.", remedy),
        cautions.ERGOT.source, ends_at=_abandoned_at(case), caution=cautions.ERGOT, worst=share, unit="fraction",
    )  # fmt: skip


def knit_bag(case: Case) -> Iterator[Flag]:
    """A test bag weighed after rootlets knit: it no longer drains and grows like the charge."""
    looks = [look for look in case.history.of_shape(Remark, "inspection") if look.findings.get("matting") in KNIT]
    if not looks:
        return
    late = [bag for bag in case.history.of_shape(Weighing, "test_bag") if bag.at > looks[0].at]
    if not late:
        return
    facts: list[Fact] = [late[0], *late[1:], looks[0]]
    title = f"Test bag weighed after the rootlets had knit, {case.span_words(late[0].at, late[-1].at)}"
    meaning = "Rootlets hold water between them and grow through the bag: its weight tells too much moisture."
    yield case.flag(
        "knit_bag", "notice", facts, Message(title, meaning, "Weigh the whole charge, or take an oven moisture."),
        "common practice", ends_at=_kilned_at(case) or case.ended_at, place=late[0].vessel,
    )  # fmt: skip


def _kilned_at(case: Case) -> datetime | None:
    kilned: list[Stage] = case.stages_named("kilning")
    return kilned[0].starts_at if kilned else None


RULES = (
    Rule("mould", "Mould", mould),
    Rule("off_smell", "Off smell", off_smell),
    Rule("not_sure", "Not sure", not_sure),
    Rule("ergot", "Ergot", ergot),
    Rule("knit_bag", "Test bag knit", knit_bag),
)
