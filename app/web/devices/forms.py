"""The form at the desk that makes a pairing code."""

from __future__ import annotations

from collections.abc import Sequence

from wtforms import Form, SelectField

from app.store.devices import MAY_LOG, MAY_MANAGE
from app.store.people import Person
from app.web.request.choice_fields import RadioField

ROLES = (
    (MAY_LOG, "may log: see everything, keep readings, correct, withdraw, answer flags"),
    (MAY_MANAGE, "may manage: also programmes, people, phones, calendars, and the record as a whole"),
)


class CodeForm(Form):
    role = RadioField("The phone", choices=ROLES, default=MAY_LOG, validate_choice=False)
    person = SelectField(
        "Whose phone", validate_choice=False, description="Who is at its screen at first; it can be changed there."
    )

    def offer(self, people: Sequence[Person]) -> CodeForm:
        self.person.choices = [("", "nobody’s in particular"), *((each.id, each.name) for each in people)]
        return self
