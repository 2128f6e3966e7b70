"""From a posted form to a kept fact, or back to the form with what is wrong or what should be asked first."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from app.errors import Conflict, KeptOtherwise, Rejected
from app.judgement.facts import Fact
from app.judgement.fields import BadValues
from app.judgement.history import History
from app.judgement.kinds import KINDS, MALT_TESTS
from app.judgement.records import values_from_typed
from app.judgement.refusals import refused_meter
from app.judgement.slips import INSISTED, Question, questions
from app.judgement.stages import ENDED, all_stages
from app.judgement.wording import Words
from app.operations.facts import record_fact
from app.web.entries.forms import EntryForm

FUTURE_ALLOWED = timedelta(minutes=5)


@dataclass(frozen=True)
class Answer:
    """What came of a posted entry: a fact; or the form again, with errors or with questions; or what stands already."""

    form: EntryForm
    fact: Fact | None = None
    is_new: bool = True
    questions: tuple[Question, ...] = ()
    current: Fact | None = None

    @property
    def current_words(self) -> str:
        """What stands already, in a word or two; empty where nothing does."""
        if self.current is None:
            return ""
        typed = " ".join(self.current.typed.get(name, "") for name in ("value", "gross", "net", "text"))
        return f"{KINDS[self.current.kind].word} {' '.join(typed.split())[:60]}".strip()


def keep_entry(
    session: Session, form: EntryForm, history: History | None, subject: tuple[str, str], entered_by: str | None
) -> Answer:
    """Keep what a form says, unless it is wrong or should be asked about first. Does not commit."""
    if not form.validate():
        return Answer(form)
    record = form.record(*subject, entered_by)
    wrong = _refused(form, history, record)
    if wrong:
        return Answer(put_errors(form, wrong))
    body = form.body()
    chosen = str(form.insist.data or "")
    if chosen != "1":
        asked = _questions(form, history, record)
        offered = {f"alternative{place}": question.alternative for place, question in enumerate(asked)}
        if offered.get(chosen):
            record = record | {"typed": record["typed"] | offered[chosen]}
        elif asked:
            return Answer(form, questions=tuple(asked))
    elif record["typed"]:
        record = record | {"typed": record["typed"] | {INSISTED: "1"}}
    try:
        kept = record_fact(session, record, now=form.now, body=body)
    except (KeptOtherwise, Conflict) as error:
        return Answer(form, current=error.current)
    except Rejected as error:
        return Answer(put_errors(form, error.fields))
    return Answer(form, kept.fact, kept.is_new)


def _refused(form: EntryForm, history: History | None, record: dict[str, Any]) -> dict[str, str]:
    """What can't be kept as things stand with the batch: a meter on warm grain or on a roast."""
    if form.kind.name != "moisture_test":
        return {}
    values = values_from_typed(form.kind, record["typed"], record["quality"])
    return refused_meter(form.kind.name, values, record.get("method"), history, form.span()[1])


def put_errors(form: EntryForm, fields: dict[str, str]) -> EntryForm:
    """Tie each message to its field, or to the form where it has no such field."""
    for name, message in fields.items():
        if name in form._fields and name != "id":
            form._fields[name].errors = [message]
        else:
            form.form_errors = [*form.form_errors, message]
    return form


def _questions(form: EntryForm, history: History | None, record: dict[str, Any]) -> list[Question]:
    earliest, latest = form.span()
    found = _time_questions(history, earliest, latest, form)
    try:
        values = values_from_typed(form.kind, form.typed(), str(form.quality.data))
    except BadValues:
        return found
    programme = history.programme_at(latest) if history is not None else None
    return [*found, *questions(form.kind.name, values, form.typed(), history, programme, latest)]


def _time_questions(history: History | None, earliest: datetime, latest: datetime, form: EntryForm) -> list[Question]:
    """A time in the future, before the batch, or after its end is asked about, and kept when insisted on."""
    words = Words(zone=form.zone, now=form.now)
    begun = all_stages(history) if history is not None else []
    found = []
    if latest > form.now + FUTURE_ALLOWED:
        found.append(f"{words.clock(latest)} is still to come. Is that the time you mean?")
    first = history.facts[0].at if history is not None and history.facts else None
    if first is not None and latest < first:
        found.append(
            f"{words.clock(latest)} is before the batch began ({words.clock(first)}). Is that the time you mean?"
        )
    if (
        begun
        and begun[-1].name in ENDED
        and earliest > begun[-1].starts_at
        and form.kind.name not in ("note", *MALT_TESTS)
    ):
        found.append(f"The batch was {begun[-1].name} at {words.clock(begun[-1].starts_at)}. Keep this all the same?")
    question = Question(field="when", message="", alternative={}, alternative_words="", as_typed_words="Keep it so")
    return [replace(question, message=message) for message in found]


def is_stage_kind(name: str) -> bool:
    return KINDS[name].shape_name == "stage"
