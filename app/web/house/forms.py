"""The forms of what is said about the house, its vessels and its instruments: an entry, and what it is about."""

from __future__ import annotations

from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from wtforms import StringField, ValidationError
from wtforms.validators import Length

from app import ports
from app.judgement.facts.shapes import Subject
from app.store.house import HOUSE
from app.web.entries.forms import EntryForm, form_class
from app.web.entries.times import local_text
from app.web.house.guidance import ABOUT, HINTS, LABELS


class HouseForm(EntryForm):
    """An entry with the name of its vessel or instrument; without one it is about the house."""

    about = StringField(validators=[Length(max=60, message="At most 60 characters.")])

    def validate_about(self, field: Any) -> None:
        if self.kind.name in ABOUT and ABOUT[self.kind.name].is_needed and not self.subject_name:
            raise ValidationError(f"Name the {ABOUT[self.kind.name].label.lower()} as it is named in its readings.")

    @property
    def subject_name(self) -> str:
        return str(self.about.data or "").strip()

    @property
    def subject(self) -> Subject:
        about = ABOUT.get(self.kind.name)
        return Subject(about.type, self.subject_name) if about is not None and self.subject_name else HOUSE


@lru_cache(maxsize=16)
def _form_class(kind: str, system: str) -> type[HouseForm]:
    return type(f"House{kind.title()}Form", (HouseForm, form_class(kind, system)), {})


def house_form(kind: str, sent: Any, *, system: str, zone: ZoneInfo, now: Any, about: str = "") -> HouseForm:
    """The form of an entry about the house: what was sent, or blank. about: the vessel or instrument, where known."""
    clock = local_text(now, zone)
    blank = {"id": ports.new_id(), "at": clock, "earliest": clock, "latest": clock, "about": about}
    form = _form_class(kind, system)(sent, data=blank)
    form.zone, form.now = zone, now
    if kind in ABOUT:
        form.about.label.text = ABOUT[kind].label
    for name, text in LABELS.get(kind, {}).items():
        form._fields[name].label.text = text
    for name, text in HINTS.get(kind, {}).items():
        form._fields[name].description = text
    return form
