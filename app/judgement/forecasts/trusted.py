"""What is reckoned with: every standing fact but those that look like a slip, until somebody says they are none.

A hot reading on the kiln is reckoned with whatever it looks like: it is asked about beside, for a fire does not wait.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from app.judgement.facts.shapes import Fact, Reading
from app.judgement.forecasts.kept import Fits
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages, stage_at
from app.judgement.slips.questions import slips

AT_THE_FIRE = ("grain_temperature", "air_on_temperature", "air_off_temperature", "set_point")
HOT_C = 60.0
"""Where enzymes begin to die, from memory: below it no reading tells of a fire."""


def doubted(history: History) -> tuple[Fact, ...]:
    """The facts that were kept unasked, as one waiting in a phone is, and look like another unit or a slip."""
    return history.once(slips)


def trusted(history: History) -> History:
    """The same history without what was typed and is doubted; itself where nothing is. Curves are fitted to this."""
    return history.once(_trusted)


def known_and_trusted(history: History, now: datetime) -> History:
    """As far as it had gone by now: a fact of the future has no say yet, and neither has one that is doubted then."""
    set_aside = _set_aside(history, now)
    kept = tuple([fact for fact in history.facts if fact.at <= now and fact.id not in set_aside])
    if len(kept) == len(history.facts):
        return history
    if kept == trusted(history).facts:
        return trusted(history)
    return _with(history, kept, history.fits.of_the_undoubted if history.fits is not None else None)


def _trusted(history: History) -> History:
    # A slip is one of the hand: a value that came without what was typed, as from a logger or a file, was never typed.
    typed = {fact.id for fact in doubted(history) if fact.typed}
    set_aside = _set_aside(history, None) & typed if typed else set()
    if not set_aside:
        return history
    # These are what the batch's own fits are made of.
    return _with(history, tuple(fact for fact in history.facts if fact.id not in set_aside), history.fits)


def _set_aside(history: History, now: datetime | None) -> set[str]:
    """The ids of the doubted facts of which nobody has said by now that it was a false alarm."""
    answered = {
        history.root_id(answer.episode_id)
        for answer in history.answers
        if answer.rule == "slip" and answer.answer == "false_alarm" and (now is None or answer.at <= now)
    }
    return {
        fact.id
        for fact in doubted(history)
        if history.root_id(fact.id) not in answered and not is_at_the_fire(fact, history)
    }


def is_at_the_fire(fact: Fact, history: History) -> bool:
    """Whether it says that something on the kiln is hot."""
    if not isinstance(fact, Reading) or fact.kind not in AT_THE_FIRE or (fact.value or 0.0) < HOT_C:
        return False
    stage = stage_at(all_stages(history), fact.at)
    return stage is not None and stage.name in ("stewing", "kilning", "cooling")


def _with(history: History, facts: tuple[Fact, ...], fits: Fits | None = None) -> History:
    part = replace(history, facts=facts, fits=fits)
    # What was looked at once need not be looked at again: without the slips nothing of it is doubted.
    part.remember(slips, ())
    return part
