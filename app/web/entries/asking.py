"""What is asked about an entry before it is kept: by a page of its form, and by the sync of a phone just written on."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from app.judgement.facts.kinds import ARRIVALS, MALT_TESTS
from app.judgement.facts.shapes import Fact
from app.judgement.flags.keeping import still_hot
from app.judgement.forecasts.unforeseen import unforeseen
from app.judgement.history.guard import judged_alone
from app.judgement.history.history import History
from app.judgement.history.stages import ENDED, all_stages
from app.judgement.malt.dryness import too_wet
from app.judgement.slips.dating import begun_at, impossible_span
from app.judgement.slips.questions import DECIMAL, Question, questions
from app.judgement.wording import Words

FUTURE_ALLOWED = timedelta(minutes=5)
NUMBERS = ("gross", "net", "value")
"""The fields of which the forecast tells what they should come to."""


def questions_about(new: Fact, history: History | None, words: Words) -> list[Question]:
    """Questions about times first, then about values; none for an ordinary entry.

    Nothing is asked about an entry that will be refused for its time. Of a batch that can't be judged less is asked:
    the entry that puts it right must find its way in.
    """
    if history is None:
        return _questions(new, None, words)
    return judged_alone(history, lambda each: _questions(new, each, words))


def _questions(new: Fact, history: History | None, words: Words) -> list[Question]:
    assert words.now is not None
    begins_at = begun_at(history) if history is not None and new.kind not in ARRIVALS else None
    if impossible_span(new.earliest_at, new.latest_at, words.now, begins_at):
        return []
    programme = history.programme_at(new.latest_at) if history is not None else None
    about_values = questions(new, history, programme, new.latest_at)
    # What comes near the forecast is likelier meant than what is merely usual; how a number is to be read goes first.
    is_open = all(each.field in NUMBERS and each.can_be and each.as_typed_words != DECIMAL for each in about_values)
    if history is not None and is_open:
        about_values = unforeseen(new, history, words) or about_values
    return [*_time_questions(new, history, words), *_malt_questions(new, history, words), *about_values]


def _time_questions(new: Fact, history: History | None, words: Words) -> list[Question]:
    """A time in the future, before the batch, or after its end is asked about, and kept when insisted on."""
    assert words.now is not None
    latest = new.latest_at
    begun = all_stages(history) if history is not None else []
    found = []
    if latest > words.now + FUTURE_ALLOWED:
        found.append(f"{words.clock(latest)} is still to come. Is that the time you mean?")
    first = history.facts[0].at if history is not None and history.facts else None
    if first is not None and latest < first:
        found.append(
            f"{words.clock(latest)} is before the batch began ({words.clock(first)}). Is that the time you mean?"
        )
    has_ended = begun and begun[-1].name in ENDED and new.earliest_at > begun[-1].starts_at
    if has_ended and new.kind not in ("note", *MALT_TESTS):
        found.append(f"The batch was {begun[-1].name} at {words.clock(begun[-1].starts_at)}. Keep this all the same?")
    question = Question(field="when", message="", alternative={}, alternative_words="", as_typed_words="Keep it so")
    return [replace(question, message=message) for message in found]


def _malt_questions(new: Fact, history: History | None, words: Words) -> list[Question]:
    """Malt that is still hot, or clearly too wet to keep, is finished only when somebody insists."""
    if history is None or new.kind != "finished":
        return []
    found = []
    if hot := hot_words(history, new.latest_at, words):
        found.append(f"{hot} Is it finished all the same?")
    if wet := too_wet(history, new.latest_at):
        figure = words.percent(wet.estimate.moisture_wb, wet.estimate.half_width)
        found.append(f"As last known it is too wet to keep: {figure}. Is it finished all the same?")
    return [Question("when", message, {}, "", "Keep it so") for message in found]


def hot_words(history: History, at: datetime, words: Words) -> str:
    """That the grain was last read too hot for a sack; empty where it was not."""
    hot = still_hot(history, at)
    if hot is None:
        return ""
    read, limit = (words.temperature(each) for each in (hot[1], hot[2].bound or 0.0))
    return f"Last read at {read}: above {limit} it is too hot for a sack."
