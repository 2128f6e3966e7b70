"""From a posted form to a kept fact, or back to the form with what is wrong or what should be asked first."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from app.errors import Conflict, KeptOtherwise, Rejected
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Weighing
from app.judgement.history.guard import judged_alone
from app.judgement.history.history import History
from app.judgement.slips.meter import refused_here
from app.judgement.slips.questions import INSISTED, Question
from app.judgement.wording import Words
from app.operations.facts import record_fact
from app.web.entries.asking import questions_about
from app.web.entries.forms import EntryForm
from app.web.request.insisted import chosen_of, digest_of

TIMES = {"earliest_at": "when", "latest_at": "when"}
"""How the form calls a time of the record."""


@dataclass(frozen=True)
class Answer:
    """What came of a posted entry: a fact; or the form again, with errors or with questions; or what stands already.

    about: names the values that the questions are about.
    """

    form: EntryForm
    fact: Fact | None = None
    is_new: bool = True
    questions: tuple[Question, ...] = ()
    current: Fact | None = None
    about: str = ""

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
    wrong = _refused(form, history)
    if wrong:
        return Answer(put_errors(form, wrong))
    body = form.body()
    about = digest_of({name: text for name, text in body.items() if name not in ("id", "insist")})
    chosen = chosen_of(form.insist.data, about)
    try:
        new = form.fact(subject, entered_by)
        # Of what is insisted on, only a weight can be more than there is.
        is_asked = chosen != "1" or isinstance(new, Weighing)
        asked = questions_about(new, history, Words(zone=form.zone, now=form.now)) if is_asked else []
        impossible = {each.field: each.message for each in asked if not each.can_be}
        if impossible and (chosen == "1" or not any(each.alternative for each in asked)):
            return Answer(put_errors(form, impossible))
        if chosen != "1":
            offered = {f"alternative{place}": question.alternative for place, question in enumerate(asked)}
            if offered.get(chosen):
                new = form.fact(subject, entered_by, offered[chosen])
            elif asked:
                return Answer(form, questions=tuple(asked), about=about)
        elif new.typed:
            new = replace(new, typed={**new.typed, INSISTED: "1"})
        kept = record_fact(session, new, now=form.now, body=body)
    except (KeptOtherwise, Conflict) as error:
        return Answer(form, current=error.current)
    except Rejected as error:
        return Answer(put_errors(form, error.fields))
    return Answer(form, kept.fact, kept.is_new)


def _refused(form: EntryForm, history: History | None) -> dict[str, str]:
    """What can't be kept as things stand with the batch: a meter on warm grain or on a roast."""
    method = form._fields.get("method")
    if history is None or form.kind.name != "moisture_test" or method is None:
        return {}
    told, at = (form.kind.name, form.values, method.data), form.span()[1]
    return judged_alone(history, lambda sound: refused_here(sound, at, *told))


def put_errors(form: EntryForm, fields: dict[str, str]) -> EntryForm:
    """Tie each message to its field, or to the form where it has no such field."""
    for name, message in fields.items():
        name = TIMES.get(name, name)
        if name in form._fields and name != "id":
            form._fields[name].errors = [message]
        else:
            form.form_errors = [*form.form_errors, message]
    return form
