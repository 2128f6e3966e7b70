"""What an entry means where somebody can be hurt: a look at a lot, the air of the room, and any that is corrected."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from flask import current_app
from sqlalchemy.orm import Session

from app.judgement.batch_at import batch_at
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Analysis, Fact, Reading, Remark
from app.judgement.flags.limits import AIR_HOLDS, GASES, OPEN_NOTHING, room_remedy, room_verdict, room_words, smoulders
from app.judgement.history.guard import judged_alone
from app.judgement.malt.looks import NOT_JUDGED, amiss_in_lot, in_one, not_said
from app.judgement.meaning.meaning import meaning
from app.judgement.upkeep.water import GRAVITY, RULES, gravest, water_figures
from app.judgement.wording import Words
from app.store.history import get_history, load_histories
from app.store.house import list_scorched
from app.store.lots import get_lot, load_lot_stories
from app.web.words.facts import Said
from app.web.words.figures import unbroken

HARMS = {
    spec.target.removeprefix("found."): spec
    for spec in KINDS["water_analysis"].fields.values()
    if any(bound.status == "act" for bound in RULES[spec.target.removeprefix("found.")].above)
}
"""The figures of an analysis beyond which one may not steep in the water at all."""


def look_words(fact: Remark, whole_kg: float) -> Said:
    """A look at a lot of which so much was taken in: sound only where nothing that was said is amiss."""
    amiss = amiss_in_lot(fact, (fact.ergot_kg or 0.0) / whole_kg if whole_kg > 0.0 else None)
    if amiss:
        status, text, detail = in_one(amiss)
        return Said(status, f"{text}.", detail)
    if fact.text or fact.note:
        return Said("none", "Kept, with your words.", NOT_JUDGED)
    if fact.quality not in ("measured", "estimated"):
        return Said("none", f"Kept: {fact.quality.replace('_', ' ')}.")
    left = not_said(fact, "lot")
    if left:
        return Said("none", "Nothing amiss in what was said.", f"Not said: {', '.join(left)}.")
    return Said("fine", "Looks and smells sound.")


def anything_smoulders(session: Session, now: datetime) -> bool:
    """Whether scorch or smoke stands open in any batch of the house."""
    histories = load_histories(session, list_scorched(session)).values()
    return any(judged_alone(history, lambda each: smoulders(batch_at(each, now))) for history in histories)


def air_words(fact: Reading, words: Words, is_shut: Callable[[], bool]) -> Said:
    """A gas in the room against the limit for people. is_shut: whether anything smoulders, so that nothing is opened
    for the gas; asked only where something would be.
    """
    verdict, gas = room_verdict(fact), GASES[fact.kind]
    if verdict is None:
        return Said("none", f"{gas.word} in the room: not read")
    if verdict.is_fine and fact.value is not None:
        shown = unbroken(words.quantity("co2", fact.value))
        within = f"Within the limit for a working day, {gas.limit.high_caution:.0f} ppm."
        return Said("fine", f"{gas.word} in the room {shown}", within)
    remedy = OPEN_NOTHING if is_shut() else room_remedy(fact, verdict)
    return Said(verdict.severity or "caution", room_words(fact, verdict), remedy)


def last_airs(told: Sequence[Fact], words: Words, is_shut: Callable[[], bool]) -> list[tuple[Said, Reading]]:
    """Of each gas the last that was read in the room, in words, with its fact, as long as it tells anything of the air
    now. told: the standing facts, by time.
    """
    assert words.now is not None
    since = words.now - AIR_HOLDS
    read = [
        fact for fact in told if isinstance(fact, Reading) and fact.kind in GASES and room_verdict(fact) is not None
    ]
    read = [fact for fact in read if fact.at > since]
    return [(air_words(fact, words, is_shut), fact) for fact in {fact.kind: fact for fact in read}.values()]


def air_answer(fact: Reading, words: Words, is_shut: Callable[[], bool]) -> Said:
    """The same as the answer to whoever has just read it: what to do comes first."""
    said = air_words(fact, words, is_shut)
    if said.status not in ("caution", "act"):
        return said
    return Said(said.status, said.detail, f"{said.text}. {GASES[fact.kind].caution.short}")


def water_answer(fact: Analysis, words: Words) -> Said:
    """What an analysis of the water found that one must act on, or that nothing was found."""
    figures = water_figures(fact, words)
    worst = gravest(figures)
    if worst is None:
        return Said("none", "Kept, without a figure.")
    if worst.status in ("none", "fine"):
        unsought = [spec.word for key, spec in HARMS.items() if key not in fact.found]
        if unsought:
            return Said("none", "Nothing found speaks against steeping", f"Not looked for: {', '.join(unsought)}.")
        return Said(worst.status, "Nothing in it speaks against steeping")
    beyond = [each for each in figures if GRAVITY.index(each.status) >= GRAVITY.index("notice")]
    return Said(
        worst.status, f"{worst.word} {worst.shown}", " ".join(f"{each.word}: {each.meaning}" for each in beyond)
    )


def grave_words(session: Session, fact: Fact, words: Words) -> Said | None:
    """What an entry that was kept means, of whatever it is about, where that is a caution or graver.

    It is kept already: whatever goes wrong here, whoever said it must hear that it is.
    """
    try:
        said = _said(session, fact, words)
    except Exception:
        current_app.logger.exception("what fact %s means can't be said", fact.id)
        return None
    return said if said is not None and said.status in ("caution", "act") else None


def _said(session: Session, fact: Fact, words: Words) -> Said | None:
    assert words.now is not None
    if fact.subject.type == "batch":
        history = get_history(session, fact.subject.id)
        told = history.by_id(fact.id)
        meant = meaning(history, told, words.now, words) if told is not None else None
        return Said(meant.status, meant.text, meant.detail) if meant is not None else None
    if isinstance(fact, Remark) and fact.kind == "inspection" and fact.subject.type == "lot":
        (story,) = load_lot_stories(session, [get_lot(session, fact.subject.id)])
        return look_words(fact, story.taken_in_kg)
    if isinstance(fact, Reading) and fact.kind in GASES:
        now = words.now
        return air_answer(fact, words, lambda: anything_smoulders(session, now))
    if isinstance(fact, Analysis):
        return water_answer(fact, words)
    return None
